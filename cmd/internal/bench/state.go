package bench

import (
	"fmt"
	"image/jpeg"
	"net/http"
	"os"
	"slices"
	"strings"
	"time"

	"stripgap/calib/quantity"
	"stripgap/clearance"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/folder"
	"stripgap/cmd/internal/pipeline"
	"stripgap/vision"
)

// buildShown is the build as the page shows it.
type buildShown struct {
	Name     string         `json:"name"`
	Cautions []string       `json:"cautions"`
	Bearings []bearingShown `json:"bearings"`
	Hints    []string       `json:"hints"`
	Notes    []string       `json:"notes"`
}

// bearingShown is one bearing. State is "todo", "step", "good" or "outside", and
// Word says it.
type bearingShown struct {
	Name      string         `json:"name"`
	Group     string         `json:"group"`
	State     string         `json:"state"`
	Word      string         `json:"word"`
	Clearance string         `json:"clearance,omitempty"`
	Verdicts  []verdictShown `json:"verdicts"`
	Next      string         `json:"next"`
	Flags     []string       `json:"flags"`
	Prepare   []string       `json:"prepare"`
	Positions []float64      `json:"positions"` // where strips are laid; none: one place
	Readings  []readingShown `json:"readings"`
	Waiting   []photoShown   `json:"waiting"` // read, and neither accepted nor taken again
}

// verdictShown judges by one pair of limits.
type verdictShown struct {
	State string `json:"state"` // "good", "outside" or "step"
	Text  string `json:"text"`
}

// readingShown is a reading that stands.
type readingShown struct {
	Number   int           `json:"number"`
	Text     string        `json:"text"`
	Position *float64      `json:"position,omitempty"`
	Picture  *pictureShown `json:"picture,omitempty"`
}

// pictureShown is a picture and its size in pixels, so that the page keeps its place
// free and no button moves under a finger when it comes.
type pictureShown struct {
	URL    string `json:"url"`
	Width  int    `json:"width"`
	Height int    `json:"height"`
}

// showPicture is the picture of that file, or nil where there is none to show.
func showPicture(url, path string) *pictureShown {
	f, err := os.Open(path)
	if err != nil {
		return nil
	}
	defer f.Close()
	size, err := jpeg.DecodeConfig(f)
	if err != nil {
		return nil
	}
	return &pictureShown{url, size.Width, size.Height}
}

// photoShown is what came of a photo that was sent.
type photoShown struct {
	ID       string          `json:"id"`
	Bearing  string          `json:"bearing"`
	Position *float64        `json:"position,omitempty"`
	Photos   int             `json:"photos"`
	Refused  *trouble        `json:"refused,omitempty"`
	Picture  *pictureShown   `json:"picture,omitempty"`
	Sight    *pipeline.Sight `json:"sight,omitempty"`
	Mean     string          `json:"mean,omitempty"`
	Ends     []endShown      `json:"ends,omitempty"`
	Taper    string          `json:"taper,omitempty"`
	Verdicts []verdictShown  `json:"verdicts,omitempty"`
	Next     string          `json:"next,omitempty"`
	Flags    []string        `json:"flags,omitempty"`
	Second   string          `json:"second,omitempty"` // why a photo from the other side would help
	// FirstStays says of two photos refused that the second alone is to be taken again.
	FirstStays bool `json:"first_stays,omitempty"`
}

type endShown struct {
	Name string     `json:"name"`
	Text string     `json:"text"`
	Card [2]float64 `json:"card"`
}

// cautions go before everything else.
var cautions = []string{
	"The engine maker's manual comes first: its limits, its torques, its way of measuring. A reading is an estimate.",
	"Do not turn the shaft while a strip is in. Take every trace of the strip away before the final assembly.",
	"Torque-to-yield bolts are used once: do not spend the final set on measuring.",
	"Cleaning agents burn, and hurt skin and lungs: no flame, gloves on, room aired.",
}

func (s *Server) showBuild(w http.ResponseWriter, r *http.Request) {
	// The person may have changed build.toml; with an error in it the build stays as
	// it was, and the page says so.
	changed := s.config.Folder.Reload()
	v := s.config.Folder.View()
	status, err := v.Build.Status(v.Journal)
	if err != nil {
		s.fail(w, err)
		return
	}
	out := buildShown{Name: v.Build.Name, Cautions: cautions, Bearings: []bearingShown{}, Hints: []string{}, Notes: append([]string{}, v.Notes...)}
	if changed != nil {
		out.Notes = append(out.Notes, changed.Error())
	}
	for _, h := range status.Hints {
		out.Hints = append(out.Hints, h.Text)
	}
	standing := v.Journal.Standing()
	for _, b := range status.Bearings {
		shown := showBearing(v, b, standing)
		if shown.Waiting, err = s.waiting(b.Name); err != nil {
			s.fail(w, err)
			return
		}
		out.Bearings = append(out.Bearings, shown)
	}
	reply(w, http.StatusOK, out)
}

// waiting shows the readings of a bearing that wait for a word, so that they are
// found again by a page that was closed, and by another phone.
func (s *Server) waiting(bearing string) ([]photoShown, error) {
	list := []photoShown{}
	journal := s.config.Folder.View().Journal
	for _, got := range s.held.all() {
		if got.outcome.Reading == nil || got.job.Bearing != bearing {
			continue
		}
		if _, accepted := journal.ReadingOf(got.job.Photos[0].SHA256); accepted {
			continue
		}
		shown, err := s.shown(got)
		if err != nil {
			return nil, err
		}
		list = append(list, shown)
	}
	return list, nil
}

func showBearing(v folder.View, b build.BearingStatus, standing []build.Reading) bearingShown {
	group, _, _ := v.Build.Find(b.Name)
	out := bearingShown{Name: b.Name, Group: b.Group, Next: b.Next.Text, Verdicts: verdicts(b),
		Flags: texts(b.Flags), Prepare: prepare(v.Build, group, b.Name),
		Positions: append([]float64{}, group.Positions...), Readings: []readingShown{}}
	out.State, out.Word = state(b)
	if c := b.Clearance; c != nil {
		out.Clearance = lengths(c.MM, c.Expanded)
	}
	for _, r := range standing {
		if m, err := r.Measured(); err == nil && r.Bearing == b.Name {
			shown := readingShown{Number: r.Number, Position: r.Position, Text: lengths(m.Clearance.Mean, m.Clearance.Expanded)}
			if r.Picture != "" {
				shown.Picture = showPicture(fmt.Sprintf("/api/readings/%d/picture", r.Number), v.Path(r.Picture))
			}
			out.Readings = append(out.Readings, shown)
		}
	}
	return out
}

// state is what a bearing's next step means for it.
func state(b build.BearingStatus) (code, word string) {
	switch {
	case len(b.Readings) == 0:
		return "todo", "to do"
	case b.Next.Code == build.StepDone:
		return "good", "inside its limits"
	case b.Next.Code == build.StepOutside:
		return "outside", "outside its limits"
	case b.Next.Code == build.StepWorn:
		return "step", "inside the service limits only"
	}
	return "step", "one more step"
}

// verdicts judges a bearing by each pair of limits it has.
func verdicts(b build.BearingStatus) []verdictShown {
	out := []verdictShown{}
	add := func(limits string, j *build.Judgement) {
		if j == nil {
			return
		}
		v := verdictShown{State: "step", Text: limits + ": " + string(j.Verdict)}
		switch j.Verdict {
		case clearance.Inside:
			v.State = "good"
		case clearance.Outside:
			v.State = "outside"
			v.Text += ", " + j.Side
		default:
			v.Text += ", inside with a probability of " + quantity.Chance(j.Conformity)
		}
		out = append(out, v)
	}
	add("limits for new parts", b.New)
	add("service limits", b.Service)
	return out
}

func texts(notes []build.Note) []string {
	out := []string{}
	for _, n := range notes {
		text := n.Text
		if text == "" {
			text = flagText(n.Code)
		}
		out = append(out, text)
	}
	return out
}

// flagText is what a flag means; its code where nobody says.
func flagText(code string) string {
	if code == vision.FlagSurfaceAssumed { // the command line's words name its options
		return code + ": how strip and card lie to one another was not told, so the uncertainty allows for it; write strip_on, and journal_diameter where it is round, into build.toml."
	}
	if text, ok := pipeline.FlagText(code); ok {
		return text
	}
	return code
}

// prepare lists what to do before the photo of a strip in this bearing.
func prepare(b *build.Build, g *build.Group, bearing string) []string {
	list := []string{}
	for _, p := range b.Preparation {
		if !p.Done {
			list = append(list, p.What)
		}
	}
	list = append(list, "Lay the strip along the journal at "+bearing+", clear of oil holes and grooves; fit the cap the right way round.")
	tighten := slices.Concat(g.Torque, g.Angle)
	if len(tighten) > 0 {
		list = append(list, "Tighten: "+strings.Join(tighten, ", then ")+".")
	} else {
		list = append(list, "Tighten as the maker's manual says.")
	}
	if g.BoltNote != "" {
		list = append(list, g.BoltNote)
	}
	return append(list, "Do not turn the shaft. Take the cap straight off.",
		"Lay the tag "+bearing+" within 5 mm of the strip, beside it, its arrow towards the engine's front.",
		"Hold the phone square above both, a hand's width away, without a hard light.")
}

// shown is what the page needs of a reading or a refusal.
func (s *Server) shown(got *reading) (photoShown, error) {
	out := photoShown{ID: got.id, Bearing: got.job.Bearing, Position: got.job.Position, Photos: len(got.job.Photos), Sight: got.sight}
	if got.outcome.PictureErr == nil {
		// A reading corrected has the same picture file: the time makes it another.
		out.Picture = showPicture(fmt.Sprintf("/api/photos/%s/picture?at=%d", got.id, time.Now().UnixNano()), got.picture)
	}
	for _, e := range got.result.Ends {
		end := endShown{Name: e.Name, Card: e.Card}
		if e.Clearance != nil && got.result.Clearance != nil {
			end.Text = lengths(*e.Clearance, got.result.Clearance.Expanded)
		}
		out.Ends = append(out.Ends, end)
	}
	if why := got.outcome.Refused; why != nil {
		out.Refused = &trouble{why.Code, why.Message, why.Remedy}
		out.FirstStays = out.Photos == 2 && vision.Undisturbed(why.Code) // the first was read before
		return out, nil
	}
	c := got.result.Clearance
	out.Mean = lengths(c.Mean, c.Expanded)
	if ends := got.result.Ends; len(ends) == 2 {
		out.Taper = fmt.Sprintf("%s minus %s: %s", ends[0].Name, ends[1].Name, lengths(c.Taper, c.TaperExpanded))
	}
	b, err := s.wouldBe(got)
	if err != nil {
		return out, err
	}
	out.Verdicts, out.Next, out.Second = verdicts(b), b.Next.Text, otherSide(got, b)
	// What a second photo is asked for needs no flag.
	told := func(code string) bool { return code == vision.FlagSurfaceAssumed && out.Second != "" }
	out.Flags = texts(slices.DeleteFunc(slices.Clone(b.Flags), func(n build.Note) bool { return told(n.Code) }))
	for _, f := range got.result.Flags {
		if told(f) {
			continue
		}
		if text := flagText(f); !slices.ContainsFunc(b.Flags, func(n build.Note) bool { return n.Code == f }) {
			out.Flags = append(out.Flags, text)
		}
	}
	return out, nil
}

// wouldBe is the status of the bearing if the reading were accepted.
func (s *Server) wouldBe(got *reading) (build.BearingStatus, error) {
	v := s.config.Folder.View()
	r := *got.outcome.Reading
	r.Number = v.Journal.NextNumber()
	if r.Strip == 0 {
		r.Strip = v.Journal.NextStrip(r.Bearing, r.Position)
	}
	next, _, err := v.Journal.With(build.Entry{Reading: &r}, time.Now())
	if err != nil {
		return build.BearingStatus{}, err
	}
	status, err := v.Build.Status(next)
	if err != nil {
		return build.BearingStatus{}, err
	}
	for _, b := range status.Bearings {
		if b.Name == r.Bearing {
			return b, nil
		}
	}
	return build.BearingStatus{}, fmt.Errorf("bearing %s is no longer in build.toml", r.Bearing)
}

// otherSide says why a second photo would help, or nothing where it would not: two
// photos solve the strip's height and tilt, so it helps where these are most of
// what is uncertain and the verdict hangs on it.
func otherSide(got *reading, b build.BearingStatus) string {
	settled := true
	for _, j := range []*build.Judgement{b.New, b.Service} {
		if j != nil && j.Verdict == clearance.CannotTell {
			settled = false
		}
	}
	var solved, all float64
	for _, t := range got.result.Budget {
		all += t.U * t.U
		if t.Name == "height" || t.Name == "plane tilt" {
			solved += t.U * t.U
		}
	}
	assumed := slices.Contains(got.result.Flags, vision.FlagSurfaceAssumed)
	if len(got.job.Photos) > 1 || settled && !assumed || solved < all/2 {
		return ""
	}
	return "How high and how tilted the strip lies is most of what is uncertain. A second photo of the same strip and card, untouched, from its other side, settles that: lean some 15 degrees the other way."
}

// lengths tells a length with its expanded uncertainty in both units.
func lengths(mm, expanded float64) string {
	return quantity.Format(mm, expanded, quantity.MM) + " (" + quantity.Format(mm, expanded, quantity.Thou) + ")"
}
