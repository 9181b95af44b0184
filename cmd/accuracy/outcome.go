package main

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"stripgap/calib"
	"stripgap/vision"
	"stripgap/vision/synth"
)

// outcome is what became of one photo beside its truth.
type outcome struct {
	trial
	truth *synth.Truth
	code  string // refusal code; "" when read
	why   string // the refusal's message

	layout  string          // of the card found; "" for none
	marks   int             // found
	marksPx float64         // root mean square distance of the marks from their true centres
	bars    *vision.Witness // nil when the bars were not reached

	profile *vision.Profile // also of some refused photos
	flags   []string
	width   deviation // of the mean
	// net is width with the print's scale taken out of the error and out of the
	// uncertainty: what a reader with a measured sheet could see.
	net   deviation
	taper deviation // at the reading's own ends
	// taperPlain is the taper's error, in percent of the mean width, against
	// the truth's own ends.
	taperPlain float64
	endsWrong  bool

	broken error // the renderer failed: no fault of the reading
}

// deviation is measured minus true with the standard uncertainty claimed, both
// in percent of the true mean width.
type deviation struct{ err, u float64 }

// normalised returns the error over its standard uncertainty.
func (d deviation) normalised() float64 { return d.err / d.u }

// coverageFactor is the k of the interval whose coverage is counted.
const coverageFactor = 2

// covered reports whether the expanded interval holds the truth.
func (d deviation) covered() bool { return math.Abs(d.err) <= coverageFactor*d.u }

// read reports whether there is a reading.
func (o *outcome) read() bool { return o.code == "" }

// right reports whether what became of the photo is what should have.
func (o *outcome) right() bool {
	switch {
	case !o.fault():
		return o.read()
	case o.read():
		return slices.ContainsFunc(o.flags, func(f string) bool { return slices.Contains(o.named, f) })
	}
	return slices.Contains(o.want, o.code)
}

// codeCrashed stands for a refusal code when the reading panicked.
const codeCrashed = "crashed"

// try renders a trial's photos, reads them and compares with the first one's truth.
func try(t trial) outcome {
	o := outcome{trial: t}
	var scenes []synth.Scene
	if scenes, o.broken = t.scenes(); o.broken != nil {
		return o
	}
	var photos [][]byte
	for _, s := range scenes {
		photo, truth, err := t.photos.render(s)
		if err != nil {
			o.broken = err
			return o
		}
		if photos = append(photos, photo); o.truth == nil {
			o.truth = truth
		}
	}
	m, err := read(photos, t.tell.options(&scenes[0]))
	if err != nil {
		o.refuse(err)
	}
	if m != nil {
		o.compare(m)
	}
	return o
}

// read decodes and measures a photo, or two of the same strip. A panic becomes an
// error, so that one photo cannot hide what became of the others.
func read(files [][]byte, o vision.Options) (m *vision.Measurement, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v", p)
		}
	}()
	var photos []*vision.Photo
	for _, f := range files {
		p, err := vision.Decode("rendered.jpg", f)
		if err != nil {
			return nil, err
		}
		photos = append(photos, p)
	}
	if len(photos) == 2 {
		return vision.MeasurePair(photos[0], photos[1], o)
	}
	return vision.Measure(photos[0], o)
}

func (o *outcome) refuse(err error) {
	o.code, o.why = codeCrashed, err.Error()
	var r *vision.Refusal
	if errors.As(err, &r) {
		o.code = r.Code
	}
}

// compare fills what was measured against the truth.
func (o *outcome) compare(m *vision.Measurement) {
	if m.Card != nil {
		o.layout = m.Card.Layout.Name
		o.marks, o.marksPx = markError(m.Card.Marks, o.truth.Marks)
	}
	o.bars = m.Bars
	if m.Profile == nil || len(o.truth.Strips) == 0 {
		return
	}
	o.flags = m.Flags
	p, t := m.Profile, &o.truth.Strips[0]
	percent := 100 / t.MeanWidth
	o.profile = p
	o.width = deviation{(p.Mean - t.MeanWidth) * percent, p.U * percent}
	o.net = deviation{o.width.err - o.printError(), withoutTerm(p, printTerm) * percent}
	o.taper = deviation{(p.Taper - trueTaper(p.Ends, t)) * percent, p.TaperU * percent}
	o.taperPlain = (p.Taper - t.Taper) * percent
	o.endsWrong = p.Ends[0].Name != t.Ends[0].Name || along(p.Ends[0].Card, t) > along(p.Ends[1].Card, t)
}

// printTerm is the uncertainty budget's name for the print's scale.
const printTerm = "print scale"

// withoutTerm returns the mean's standard uncertainty without one of its terms,
// mm.
func withoutTerm(p *vision.Profile, name string) float64 {
	u, ok := term(p.Budget, name)
	if !ok { // a mistake of this program
		panic("accuracy: the budget has no term " + name)
	}
	sum := -u * u
	for _, t := range p.Budget {
		sum += t.U * t.U
	}
	return math.Sqrt(max(0, sum))
}

// term returns a term's standard uncertainty, mm; budgets of one photo and of two
// have not all terms in common.
func term(budget []vision.Term, name string) (u float64, ok bool) {
	for _, t := range budget {
		if t.Name == name {
			return t.U, true
		}
	}
	return 0, false
}

// markError returns how many marks were found and the root mean square of their
// distances from the true centres, px.
func markError(found []vision.MarkFound, truth []synth.MarkTruth) (n int, rms float64) {
	sum := 0.0
	for _, f := range found {
		for _, t := range truth {
			if t.Code == f.Mark.Code {
				d := f.Pixel.Sub(t.Pixel).Norm()
				sum += d * d
				n++
			}
		}
	}
	if n == 0 {
		return 0, 0
	}
	return n, math.Sqrt(sum / float64(n))
}

// trueTaper returns the true width line's value at the reading's first end less
// that at its second, mm: a reading that stops short of the strip's tips is
// judged by the length it read.
func trueTaper(ends [2]vision.End, t *synth.StripTruth) float64 {
	return t.WidthSlope * (along(ends[0].Card, t) - along(ends[1].Card, t))
}

// along returns where the place p stands along the true strip, in mm from its
// first end, by its projection on the line between the true ends seen from
// above the card.
func along(p calib.CardPoint, t *synth.StripTruth) float64 {
	a, b := flat(t.Ends[0].Card), flat(t.Ends[1].Card)
	d := b.Sub(a)
	return t.LengthMM * p.Sub(a).Dot(d) / d.Dot(d)
}

func flat(p calib.SpacePoint) calib.CardPoint { return calib.CardPoint{X: p.X, Y: p.Y} }
