package folder

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"stripgap/calib"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/pipeline"
	"stripgap/vision"
)

// Lots finds the strip lot that a build names.
type Lots func(build.Strip) (calib.Lot, error)

// Settings is what the build tells a reader of each bearing. An error names the
// key of build.toml that has to change.
func (v View) Settings(lots Lots) (map[string]pipeline.Setting, error) {
	all := map[string]pipeline.Setting{}
	for _, name := range v.Build.Names() {
		s, err := v.setting(name, Given{}, lots)
		if err != nil {
			return nil, err
		}
		all[name] = s
	}
	return all, nil
}

// LotsChanged tells of standing readings that were made with another section area
// than their lot has now, one sentence each.
func (v View) LotsChanged(lots Lots) []string {
	var notes []string
	for _, r := range v.Journal.Standing() {
		group, _, ok := v.Build.Find(r.Bearing)
		if !ok {
			continue
		}
		lot, err := lots(build.Strip{Lot: r.Lot.Name, File: v.Build.StripOf(group).File})
		if err == nil && lot.SectionArea.X != r.Lot.Area {
			notes = append(notes, fmt.Sprintf("reading %d was made with lot %q at %.4g mm2, which is now %.4g mm2; take it back and read its photo anew to use that",
				r.Number, r.Lot.Name, r.Lot.Area, lot.SectionArea.X))
		}
	}
	return notes
}

// PrintsChanged tells of standing readings that were made before their sheet was
// measured, or by other bars or another thickness than are known of it now, one
// sentence for each sheet.
func (v View) PrintsChanged(prints map[string]calib.PrintScale) []string {
	made := map[string][]string{} // readings by sheet
	for _, r := range v.Journal.Standing() {
		m, err := r.Measured()
		if err != nil { // the journal has refused such a reading
			continue
		}
		was, now := m.Card, prints[m.Card.Serial]
		thick := was.Thickness > 0 && was.Thickness != now.Thickness
		if now.Checked() && (was.Print.X != now.X || was.Print.Y != now.Y || thick) {
			made[m.Card.Serial] = append(made[m.Card.Serial], fmt.Sprint(r.Number))
		}
	}
	var notes []string
	for _, serial := range slices.Sorted(maps.Keys(made)) {
		notes = append(notes, fmt.Sprintf("sheet %s was measured otherwise, or not yet, when these readings were made: %s; take them back and read their photos anew to use what is known now",
			serial, strings.Join(made[serial], ", ")))
	}
	return notes
}

// setting is what is known of a strip in a bearing, with what its photo's name or
// a person says of it.
func (v View) setting(bearing string, g Given, lots Lots) (pipeline.Setting, error) {
	group, _, ok := v.Build.Find(bearing)
	if !ok {
		return pipeline.Setting{}, fmt.Errorf("bearing %q: not in %s", bearing, v.Path(buildFile))
	}
	strip := v.Build.StripOf(group)
	if g.Lot.Named() {
		strip = g.Lot
	}
	lot, err := lots(strip)
	if err != nil {
		return pipeline.Setting{}, fmt.Errorf("%s: group %q: strip_lot: %w", v.Path(buildFile), group.Name, err)
	}
	return pipeline.Setting{Surface: surface(group, g.On), Lot: &lot, Temperature: v.Build.Temperature}, nil
}

// surface tells a reader what the strip lies on. A round one without a diameter is
// one nobody described.
func surface(group *build.Group, on build.Surface) vision.Surface {
	if on == "" {
		on = group.On
	}
	switch {
	case on == build.OnFlat:
		return vision.Surface{Kind: vision.SurfaceFlat}
	case on == build.OnShell && group.Diameter > 0:
		return vision.Surface{Kind: vision.SurfaceShell, Radius: group.Diameter / 2}
	case on == build.OnJournal && group.Diameter > 0:
		return vision.Surface{Kind: vision.SurfaceJournal, Radius: group.Diameter / 2}
	}
	return vision.Surface{}
}

// differs reports whether what is known of a job's strip goes beyond the bearing's
// own setting.
func (g Given) differs() bool { return g.On != "" || g.Lot.Named() }
