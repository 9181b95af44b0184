package report

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"stripgap/calib/quantity"
	"stripgap/clearance"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/pipeline"
)

// RecordSource is what a record is filled from.
type RecordSource struct {
	Build   *build.Build
	Journal build.Journal
	Status  build.Status
	By      string    // who measured; may be empty
	Date    time.Time // of the record
	// Picture returns a picture of the folder by the name that a reading gives it.
	Picture func(name string) ([]byte, error)
	// RefusedPicture returns the picture of a photo that was refused; nil, or
	// nothing, where none is kept.
	RefusedPicture func(build.Photo) []byte
}

// NewRecord fills a record from a build. It judges nothing: verdicts, flags and next
// steps are the status's. A reading whose result cannot be understood is an error.
func NewRecord(s RecordSource) (Record, error) {
	b := s.Build
	r := Record{Build: b.Name, Note: b.Note, By: s.By, Date: s.Date, Coverage: b.Coverage, TaperLimit: b.TaperLimit}
	if r.Build == "" {
		r.Build = "Build " + b.ID
	}
	if b.Temperature != nil {
		r.Room = fmt.Sprintf("%.3g °C (%.3g °F)", *b.Temperature, quantity.FahrenheitFromCelsius(*b.Temperature))
	}
	for _, g := range b.Groups {
		r.Groups = append(r.Groups, recordGroup(g))
	}
	for _, p := range b.Preparation {
		r.Preparation = append(r.Preparation, RecordTick(p))
	}
	for _, h := range s.Status.Hints {
		if h.Code == build.StepOrder {
			r.Hints = append(r.Hints, sentence(h.Text))
		} else {
			r.Doubts = append(r.Doubts, sentence(h.Text))
		}
	}
	for _, d := range b.Doubts {
		r.Doubts = append(r.Doubts, sentence(d))
	}
	for _, st := range s.Status.Bearings {
		x, err := s.bearing(st)
		if err != nil {
			return Record{}, err
		}
		r.Bearings = append(r.Bearings, x)
	}
	r.Strips = s.lots()
	var err error
	if r.Sheets, err = s.sheets(); err != nil {
		return Record{}, err
	}
	r.Unplaced = s.refusals(func(bearing string) bool {
		_, _, known := b.Find(bearing)
		return !known
	})
	return r, nil
}

func recordGroup(g build.Group) RecordGroup {
	out := RecordGroup{Name: g.Name, New: limitsBoth(g.New), Service: limitsBoth(g.Service), BoltNote: g.BoltNote}
	steps := slices.Clone(g.Torque)
	for _, a := range g.Angle {
		steps = append(steps, "then "+strings.Replace(a, " deg", "°", 1))
	}
	out.Torque = strings.Join(steps, ", ")
	for _, x := range g.Bearings {
		out.Bearings = append(out.Bearings, x.Name)
	}
	return out
}

// limitsBoth prints limits in both units, the printed figures where there are both.
func limitsBoth(l *build.Limits) string {
	if l == nil {
		return ""
	}
	if len(l.Printed) == 2 {
		return limitWords(l.Printed[0]) + " (" + limitWords(l.Printed[1]) + ")"
	}
	return limitWords(l.Format(quantity.MM, 4)) + " (" + limitWords(l.Format(quantity.Thou, 2)) + ")"
}

// limitWords turns "0.020..0.050 mm" into "0.020 to 0.050 mm" and "..0.07 mm" into
// "up to 0.07 mm".
func limitWords(s string) string {
	lo, hi, ok := strings.Cut(s, "..")
	lo, hi = strings.TrimSpace(lo), strings.TrimSpace(hi)
	switch {
	case !ok:
		return s
	case lo == "":
		return "up to " + hi
	case hi == "":
		return "from " + lo
	}
	return lo + " to " + hi
}

// lots lists the strip lots that readings were made with, each once.
func (s RecordSource) lots() (lines []string) {
	for _, r := range s.Journal.Standing() {
		area, u := quantity.Round(r.Lot.Area, s.Build.Coverage*r.Lot.AreaU)
		line := fmt.Sprintf("%s, section area %s ± %s mm²", r.Lot.Name, area, u)
		if !slices.Contains(lines, line) {
			lines = append(lines, line)
		}
	}
	return lines
}

// sheets lists the sheets of cards in the photos, whether callipers proved their scale
// when the readings were made, and the cards' thickness where a reading used it.
func (s RecordSource) sheets() (lines []string, err error) {
	for _, r := range s.Journal.Standing() {
		var result pipeline.Result
		if err := json.Unmarshal(r.Result, &result); err != nil {
			return nil, fmt.Errorf("record: reading %d: its result cannot be understood: %w", r.Number, err)
		}
		c := result.Card
		if c == nil || c.Serial == "" {
			continue
		}
		line := c.Serial + ", print not checked"
		if c.PrintChecked {
			line = c.Serial + ", print checked with callipers"
		}
		if c.Thickness > 0 {
			line += fmt.Sprintf(", card %.2f mm thick", c.Thickness)
		}
		if !slices.Contains(lines, line) {
			lines = append(lines, line)
		}
	}
	return lines, nil
}

// bearing fills one bearing.
func (s RecordSource) bearing(st build.BearingStatus) (RecordBearing, error) {
	_, b, known := s.Build.Find(st.Name)
	if !known {
		return RecordBearing{}, fmt.Errorf("record: bearing %q is not in the build", st.Name)
	}
	next, advice, _ := strings.Cut(st.Next.Text, "; ")
	out := RecordBearing{Name: st.Name, Group: st.Group, Note: b.Note, Next: sentence(next), Advice: sentence(advice),
		Clearance: recordFigure(st.Clearance), Taper: recordFigure(st.Taper),
		New: recordVerdict(st.New), Service: recordVerdict(st.Service)}
	out.State, out.StateWord = stateOf(st)
	out.TaperWord = taperWord(st)
	repeats, err := s.repeats(st)
	if err != nil {
		return RecordBearing{}, err
	}
	out.Notes = append(bearingNotes(st), repeats...)
	for _, p := range st.Positions {
		out.Positions = append(out.Positions, RecordPosition{degrees(&p.Position), recordFigure(p.Clearance)})
	}
	for _, r := range s.Journal.Readings() {
		if r.Bearing != st.Name {
			continue
		}
		reading, err := s.reading(r)
		if err != nil {
			return RecordBearing{}, err
		}
		out.Readings = append(out.Readings, reading)
	}
	out.Refused = s.refusals(func(bearing string) bool { return bearing == st.Name })
	if b.Parts != nil && st.Predicted != nil {
		out.Parts = s.parts(*b.Parts, *st.Predicted)
	}
	return out, nil
}

func (s RecordSource) parts(p clearance.Parts, predicted build.Predicted) *RecordParts {
	figure := func(v quantity.Value) RecordFigure { return RecordFigure{v.X, s.Build.Coverage * v.U} }
	return &RecordParts{Bore: figure(p.Bore), Wall: figure(p.Wall), Journal: figure(p.Journal),
		Predicted: *recordFigure(&predicted.Estimate), En: predicted.NormalisedError}
}

func recordFigure(e *build.Estimate) *RecordFigure {
	if e == nil {
		return nil
	}
	return &RecordFigure{e.MM, e.Expanded}
}

// bearingNotes are the flags of the bearing; those without a text are its readings'.
func bearingNotes(st build.BearingStatus) (notes []string) {
	for _, f := range st.Flags {
		if f.Text != "" {
			notes = append(notes, sentence(f.Text))
		}
	}
	if r := st.Round; r != nil && !r.OutOfRound { // the other case has its flag
		notes = append(notes, sentence(roundText(*r)))
	}
	return notes
}

// roundText tells of a journal that is not out of round how far it may be so.
func roundText(r build.Round) string {
	return fmt.Sprintf("the journal reads round within what is uncertain: largest less smallest diameter at most %s (%s)",
		quantity.FormatLength(r.Hi, quantity.MM, 4), quantity.FormatLength(r.Hi, quantity.Thou, 2))
}

// repeats compares each later strip at a place with the first there.
func (s RecordSource) repeats(st build.BearingStatus) (notes []string, err error) {
	first := map[string]build.Reading{}
	for _, r := range s.Journal.Standing() {
		if r.Bearing != st.Name {
			continue
		}
		at := degrees(r.Position)
		one, known := first[at]
		if !known {
			first[at] = r
			continue
		}
		if one.Strip == r.Strip {
			continue
		}
		a, err := one.Gauged()
		if err != nil {
			return nil, err
		}
		b, err := r.Gauged()
		if err != nil {
			return nil, err
		}
		c, err := clearance.Repeated(a, b, clearance.Laying)
		if err != nil {
			return nil, fmt.Errorf("record: readings %d and %d: %w", one.Number, r.Number, err)
		}
		found := c.String()
		if !c.Turned { // what to do next is the status's to say
			found, _, _ = strings.Cut(found, "; ")
		}
		notes = append(notes, sentence(fmt.Sprintf("reading %d against reading %d, of another strip: %s", r.Number, one.Number, found)))
	}
	return notes, nil
}

// recordVerdict shows a judgement; nil where there is none.
func recordVerdict(j *build.Judgement) *RecordVerdict {
	if j == nil {
		return nil
	}
	v := &RecordVerdict{Word: string(j.Verdict), Detail: j.Side, Lo: j.Lo, Hi: j.Hi}
	switch j.Verdict {
	case clearance.Inside:
		v.Mark = MarkGood
	case clearance.Outside:
		v.Mark = MarkBad
	default:
		v.Mark, v.Detail = MarkWatch, quantity.Chance(j.Conformity)+" likely inside"
	}
	return v
}

// reading fills one reading from its result.
func (s RecordSource) reading(r build.Reading) (RecordReading, error) {
	var result pipeline.Result
	if err := json.Unmarshal(r.Result, &result); err != nil {
		return RecordReading{}, fmt.Errorf("record: reading %d: its result cannot be understood: %w", r.Number, err)
	}
	c := result.Clearance
	if c == nil || result.Width == nil || len(result.Ends) != 2 {
		return RecordReading{}, fmt.Errorf("record: reading %d: its result holds no clearance", r.Number)
	}
	out := RecordReading{Number: r.Number, Strip: r.Strip, Position: degrees(r.Position), Lot: r.Lot.Name,
		Clearance: RecordFigure{c.Mean, c.Expanded}, Taper: RecordFigure{c.Taper, c.TaperExpanded}}
	for _, p := range r.Photos {
		out.Photos = append(out.Photos, p.Name)
	}
	for i, e := range result.Ends {
		out.Ends[i].Name = e.Name
		if e.Clearance != nil {
			out.Ends[i].MM = *e.Clearance
		}
	}
	for _, t := range result.Budget {
		out.Budget = append(out.Budget, RecordTerm(t))
	}
	out.Profile = recordProfile(&result)
	for _, f := range result.Flags {
		if f == clearance.FlagTaper {
			continue // what further strips made of it stands in the bearing's notes
		}
		out.Flags = append(out.Flags, flagSentence(f))
	}
	out.Picture, out.Missing = s.picture(r.Picture)
	if reason, ok := s.Journal.Withdrawn(r.Number); ok {
		out.Set = "taken back: " + reason
	}
	return out, nil
}

// picture fetches a reading's picture, or says why there is none.
func (s RecordSource) picture(name string) (data []byte, missing string) {
	if name == "" {
		return nil, "no picture was kept"
	}
	data, err := s.Picture(name)
	if err != nil {
		return nil, "its picture, " + name + ", is not there any more"
	}
	return data, ""
}

// recordProfile is the profile with the band that the picture of `read` shows too:
// each station's own noise and what all have in common, times the coverage.
func recordProfile(r *pipeline.Result) (stations []RecordStation) {
	var common float64
	for _, t := range r.Budget {
		if t.Common {
			common = math.Hypot(common, t.U)
		}
	}
	for _, s := range r.Profile {
		x := RecordStation{At: s.At, Dropped: true}
		if s.Dropped == "" && s.Clearance != nil && s.U != nil {
			own := *s.U * r.Clearance.Mean / r.Width.Mean
			x.MM, x.Half, x.Dropped = *s.Clearance, r.Clearance.Coverage*math.Hypot(own, common), false
		}
		stations = append(stations, x)
	}
	return stations
}

// refusals lists the photos refused for bearings that want asks for and that no
// later try has read.
func (s RecordSource) refusals(want func(bearing string) bool) (list []RecordRefusal) {
	for _, r := range s.Journal.Refusals() {
		if !want(r.Bearing) {
			continue
		}
		out := RecordRefusal{Message: r.Message, Remedy: r.Remedy}
		read := false
		for _, p := range r.Photos {
			out.Photos = append(out.Photos, p.Name)
			_, now := s.Journal.ReadingOf(p.SHA256)
			read = read || now
		}
		if read {
			continue
		}
		if s.RefusedPicture != nil && len(r.Photos) > 0 {
			out.Picture = s.RefusedPicture(r.Photos[0])
		}
		list = append(list, out)
	}
	return list
}

// flagSentence is what a flag means, without its name in front.
func flagSentence(flag string) string {
	text, ok := pipeline.FlagText(flag)
	if !ok {
		return sentence(flag)
	}
	return sentence(strings.TrimPrefix(text, flag+": "))
}

// sentence begins with a capital and ends with a full stop.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return s
	}
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	first, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[size:]
}

func degrees(at *float64) string {
	if at == nil {
		return ""
	}
	return fmt.Sprintf("%g°", *at)
}
