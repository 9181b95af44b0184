package build

import (
	"fmt"
	"slices"
)

// count counts what was tried for the bearing. A photo that was refused first and
// read later was not refused in the end.
func (a *assessment) count(j Journal) {
	refused := map[string]bool{}
	for _, e := range j.Entries {
		switch {
		case e.Reading != nil && e.Reading.Bearing == a.bearing.Name:
			if _, gone := j.Withdrawn(e.Reading.Number); gone {
				a.status.Withdrawn++
			}
			a.refusal = ""
		case e.Refused != nil && e.Refused.Bearing == a.bearing.Name:
			photo := e.Refused.Photos[0].SHA256
			if _, read := j.ReadingOf(photo); read {
				continue
			}
			if !refused[photo] {
				refused[photo] = true
				a.status.Refused++
			}
			a.refusal = e.Refused.Message + "; " + e.Refused.Remedy
		}
	}
}

// gather sorts the standing readings to places.
func (a *assessment) gather(j Journal) error {
	at := map[float64][]Reading{}
	var unplaced []Reading
	lots := map[string]bool{}
	for _, r := range j.Standing() {
		if r.Bearing != a.bearing.Name {
			continue
		}
		lots[r.Lot.Name] = true
		if why := a.changed(r); why != "" {
			a.flag(FlagChanged, "reading %d was made for %s", r.Number, why)
		}
		a.status.Readings = append(a.status.Readings, r.Number)
		if r.Position == nil {
			unplaced = append(unplaced, r)
		} else {
			at[*r.Position] = append(at[*r.Position], r)
		}
	}
	if len(lots) > 1 {
		a.flag(FlagSeveralLots, "its readings are of different strip lots, so also the lots' section areas are compared")
	}
	if len(unplaced) > 0 || len(a.group.Positions) == 0 {
		if err := a.addPlace(nil, unplaced); err != nil {
			return err
		}
	}
	// Positions that were taken out of build.toml after strips were read there still
	// count.
	order := slices.Clone(a.group.Positions)
	for p := range at {
		if !slices.Contains(order, p) {
			order = append(order, p)
		}
	}
	slices.Sort(order)
	for _, p := range order {
		if len(at[p]) == 0 {
			a.missing = append(a.missing, p)
			continue
		}
		if err := a.addPlace(&p, at[p]); err != nil {
			return err
		}
	}
	return nil
}

// changed tells what a reading was made for that build.toml no longer says, empty
// where it does. A pair of photos assumes nothing of the surface.
func (a *assessment) changed(r Reading) string {
	now := a.group
	switch {
	case len(r.Photos) > 1:
	case !r.OnTold && r.On != now.On:
		return fmt.Sprintf("a strip on %q, and build.toml now says %q", r.On, now.On)
	case r.On != OnFlat && r.On != "" && r.Diameter != now.Diameter:
		return fmt.Sprintf("a journal diameter of %s, and build.toml now says %s", diameterText(r.Diameter), diameterText(now.Diameter))
	}
	if t, told := r.Temperature, a.build.Temperature; t != nil && told != nil && *t != *told {
		return fmt.Sprintf("%.1f degC, and build.toml now says %.1f degC", *t, *told)
	}
	return ""
}

func diameterText(mm float64) string {
	if mm == 0 {
		return "none"
	}
	return fmt.Sprintf("%g mm", mm)
}

func (a *assessment) addPlace(position *float64, readings []Reading) error {
	p, err := newPlace(position, readings)
	if err != nil {
		return err
	}
	a.places = append(a.places, p)
	a.status.Strips += len(p.strips)
	return nil
}
