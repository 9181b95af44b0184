package folder

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"stripgap/clearance/build"
	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/wholefile"
	"stripgap/cmd/internal/worker"
	"stripgap/vision"
)

// Refusal codes of photos that were read but belong to no bearing, or not as they
// say. They are stable.
const (
	codeNoBearing    = "no-bearing"
	codeOtherBuild   = "tag-of-another-build"
	codeOtherBearing = "tag-of-another-bearing"
	codeUnknown      = "unknown-bearing"
	codePosition     = "position"
	codeNoClearance  = "no-clearance"
)

// Outcome is what came of a job: a reading, or a refusal.
type Outcome struct {
	Reading *build.Reading
	Refused *build.Refused
	// PictureErr says why the picture could not be written; the reading stands.
	PictureErr error
}

// Read reads one job with read, which was told Settings, and assigns what came of
// it. Nothing is written but the picture; Keep does that.
func (v View) Read(j Job, lots Lots, read func(pipeline.Task) pipeline.Entry) (Outcome, error) {
	task := v.Task(j)
	tell := func(bearing string) error {
		s, err := v.setting(bearing, j.Given, lots)
		task.Setting = &s
		return err
	}
	if j.Bearing != "" {
		if err := tell(j.Bearing); err != nil {
			return Outcome{}, err
		}
	}
	e := read(task)
	// Only the tag tells the bearing, and only with that is it known what else the
	// photo's name means.
	if _, _, known := v.Build.Find(tag(e.Result)); j.Bearing == "" && known && j.differs() {
		if err := tell(tag(e.Result)); err != nil {
			return Outcome{}, err
		}
		e = read(task)
	}
	out := v.assign(j, e.Result, lots)
	out.PictureErr = e.PictureErr
	return out, nil
}

func tag(r pipeline.Result) string {
	if r.Card == nil {
		return ""
	}
	return r.Card.Bearing
}

// assign finds the bearing of a result and makes it a reading, or a refusal.
func (v View) assign(j Job, r pipeline.Result, lots Lots) Outcome {
	bearing := j.Bearing
	if bearing == "" {
		bearing = tag(r)
	}
	refuse := func(code, remedy, format string, args ...any) Outcome {
		return Outcome{Refused: &build.Refused{Photos: j.Photos, Bearing: bearing,
			Code: code, Message: fmt.Sprintf(format, args...), Remedy: remedy}}
	}
	if r.Outcome != pipeline.OutcomeRead {
		return refuse(r.Refusal.Code, r.Refusal.Remedy, "%s", r.Refusal.Message)
	}
	if why := v.stranger(j, r); why != nil {
		return refuse(why.Code, why.Remedy, "%s", why.Message)
	}
	group, _, known := v.Build.Find(bearing)
	switch {
	case bearing == "":
		return refuse(codeNoBearing, "lay the bearing's tag beside the strip, begin the photo's name with the bearing's, or say --bearing",
			"neither a tag nor the photo's name says which bearing this is")
	case !known:
		return refuse(codeUnknown, "correct the name in build.toml or the photo's",
			"the tag says %s, which is not in build.toml", bearing)
	}
	if why, remedy := wrongPosition(group, j.Position); why != "" {
		return refuse(codePosition, remedy, "%s", why)
	}
	if r.Clearance == nil {
		return refuse(codeNoClearance, "name the strip lot in build.toml", "without a strip lot only the width is known")
	}
	reading, err := v.reading(j, bearing, r, lots)
	if err != nil {
		return refuse(codeNoClearance, "look at build.toml and the strip lots", "%v", err)
	}
	if j.By == "" {
		reading.Assigned = build.ByTag
	}
	return Outcome{Reading: &reading}
}

// stranger refuses a tag that contradicts the photo's name, and one from a sheet
// that was not printed for this build. A person who says the bearing knows better
// than the sheet.
func (v View) stranger(j Job, r pipeline.Result) *vision.Refusal {
	name := tag(r)
	if name == "" {
		return nil
	}
	if j.Bearing != "" && build.Key(j.Bearing) != build.Key(name) {
		return &vision.Refusal{Code: codeOtherBearing,
			Message: fmt.Sprintf("the tag beside the strip says %s, but the photo was given to %s", name, j.Bearing),
			Remedy:  "look which bearing it is; take the photo again with its own tag, or correct the photo's name"}
	}
	ours := slices.ContainsFunc(v.Journal.Sheets(), func(s build.Sheet) bool { return s.Serial == r.Card.Serial })
	if !ours && j.By != build.ByHand {
		return &vision.Refusal{Code: codeOtherBuild,
			Message: fmt.Sprintf("the tag %s is of sheet %s, which was not printed for this build", name, r.Card.Serial),
			Remedy:  "use this build's tags (build tags); if the sheet is this build's, say so with build tags --sheet " + r.Card.Serial + " and read --again"}
	}
	return nil
}

// wrongPosition says what is wrong with where round the journal a strip was laid,
// and what to do; nothing where all is well.
func wrongPosition(g *build.Group, at *float64) (why, remedy string) {
	switch {
	case at == nil && len(g.Positions) > 0:
		return fmt.Sprintf("strips of the %s are laid at several positions, and nothing says which this is", g.Name),
			"write it into the photo's name, as in M1-90deg.jpg, or say --position"
	case at != nil && len(g.Positions) == 0:
		return fmt.Sprintf("the position %g deg is told, but build.toml has no positions for the %s", *at, g.Name),
			"add them to the group, as in positions = [\"0 deg\", \"90 deg\"], and read --again, or leave this one out"
	case at != nil && !slices.Contains(g.Positions, *at):
		return fmt.Sprintf("the position %g deg is not among those of the %s in build.toml", *at, g.Name),
			"correct the photo's name or --position, or add it to the group's positions and read --again"
	}
	return "", ""
}

// reading makes the record of a result.
func (v View) reading(j Job, bearing string, r pipeline.Result, lots Lots) (build.Reading, error) {
	group, _, _ := v.Build.Find(bearing)
	s, err := v.setting(bearing, j.Given, lots)
	if err != nil {
		return build.Reading{}, err
	}
	r.Photos = nil
	for _, p := range j.Photos {
		r.Photos = append(r.Photos, photosDir+"/"+p.Name)
	}
	text, err := json.Marshal(r)
	if err != nil {
		return build.Reading{}, err
	}
	on := j.On
	if on == "" {
		on = group.On
	}
	return build.Reading{
		Bearing: bearing, Position: j.Position, Strip: j.Strip, StripTold: j.Strip > 0, Assigned: j.By, Photos: j.Photos,
		Picture: PictureName(j.Photos[0]), On: on, OnTold: j.On != "", Diameter: 2 * s.Surface.Radius, Temperature: s.Temperature,
		Lot: build.Lot{Name: s.Lot.Name, Area: s.Lot.SectionArea.X, AreaU: s.Lot.SectionArea.U,
			RangeLo: s.Lot.RangeLo, RangeHi: s.Lot.RangeHi},
		Result: text,
	}, nil
}

// passing are refusals that say nothing of the photo, but of the program at that
// moment: the photo stays new.
var passing = map[string]bool{pipeline.CodeInterrupted: true, worker.CodeNoStart: true, worker.CodeTooSlow: true}

// Keep writes down what came of a job and returns the reading as it was accepted,
// with its numbers; of a refusal the zero Reading. A reading whose picture did not
// fit on the disk is not kept: the photo stays new, to be read when there is room.
func (f *Folder) Keep(o Outcome) (build.Reading, error) {
	if o.Refused != nil {
		if passing[o.Refused.Code] {
			return build.Reading{}, nil
		}
		return build.Reading{}, f.Refuse(*o.Refused)
	}
	if o.PictureErr != nil {
		if err := f.roomForPictures(); err != nil {
			return build.Reading{}, err
		}
	}
	// The picture's name is to outlast a power cut no less than the line that tells it.
	if pictures := f.View().Path(picturesDir); o.PictureErr == nil {
		if err := syncFolder(pictures); err != nil {
			return build.Reading{}, unwritable(pictures, err)
		}
	}
	return f.Accept(*o.Reading)
}

// roomForPictures reports why no picture can be written, nil where the fault must
// be another.
func (f *Folder) roomForPictures() error {
	path := f.View().Path(picturesDir + "/.stripgap-try")
	defer os.Remove(path)
	const picture = 1 << 20 // more than one takes
	if err := wholefile.Write(path, make([]byte, picture)); err != nil {
		return unwritable(filepath.Dir(path), err)
	}
	return nil
}
