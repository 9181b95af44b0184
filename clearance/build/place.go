package build

import (
	"math"
	"slices"
	"time"

	"stripgap/calib/quantity"
	"stripgap/clearance"
)

// strip is what one strip told: the surest of its readings.
type strip struct {
	reading Reading
	told    Measured
	gauged  clearance.Gauged
	outside bool // of the range the strip is made for, so that it may not be judged
}

// place is all strips laid at one place of a bearing, and what they say together.
type place struct {
	position *float64
	readings []int
	strips   []strip // in order of their numbers
	valid    []strip // those inside their own range
	// settled holds for two valid strips or more, indices into valid.
	settled clearance.Settled
	// clearance and taper are known where one valid strip stands alone or several
	// agree.
	known            bool
	clearance, taper quantity.Value
}

// newPlace settles the readings of one place.
func newPlace(position *float64, readings []Reading) (*place, error) {
	p := &place{position: position}
	for _, r := range readings {
		p.readings = append(p.readings, r.Number)
		told, err := r.Measured()
		if err != nil {
			return nil, err
		}
		g, err := r.Gauged()
		if err != nil {
			return nil, err
		}
		p.take(strip{r, told, g, slices.Contains(told.Flags, clearance.FlagOutOfRange)})
	}
	slices.SortStableFunc(p.strips, func(a, b strip) int { return a.reading.Strip - b.reading.Strip })
	for _, s := range p.strips {
		if !s.outside {
			p.valid = append(p.valid, s)
		}
	}
	return p, p.settle()
}

// take adds a reading: a new strip, or one read before, of which the surer reading
// counts.
func (p *place) take(s strip) {
	i := slices.IndexFunc(p.strips, func(o strip) bool { return o.reading.Strip == s.reading.Strip })
	switch {
	case i < 0:
		p.strips = append(p.strips, s)
	case s.outside == p.strips[i].outside && s.gauged.Clearance.U < p.strips[i].gauged.Clearance.U, p.strips[i].outside && !s.outside:
		p.strips[i] = s
	}
}

func (p *place) settle() error {
	switch len(p.valid) {
	case 0:
		return nil
	case 1:
		p.known, p.clearance, p.taper = true, p.valid[0].gauged.Clearance, p.valid[0].gauged.Taper
		return nil
	}
	var list []clearance.Gauged
	for _, s := range p.valid {
		list = append(list, s.gauged)
	}
	var err error
	p.settled, err = clearance.Settle(list, clearance.Laying)
	p.known, p.clearance, p.taper = p.settled.Agreed, p.settled.Clearance, p.settled.Taper
	return err
}

// members are the strips that the place's clearance rests on.
func (p *place) members() []strip {
	if len(p.valid) < 2 {
		return p.valid
	}
	var out []strip
	for _, i := range p.settled.Members {
		out = append(out, p.valid[i])
	}
	return out
}

// apart are the strips set aside by the others.
func (p *place) apart() []strip {
	var out []strip
	for _, i := range p.settled.Apart {
		out = append(out, p.valid[i])
	}
	return out
}

// surest is the member with the smallest uncertainty; there must be one.
func surest(members []strip) strip {
	return slices.MinFunc(members, func(a, b strip) int {
		switch {
		case a.gauged.Clearance.U < b.gauged.Clearance.U:
			return -1
		case a.gauged.Clearance.U > b.gauged.Clearance.U:
			return 1
		}
		return a.reading.Number - b.reading.Number
	})
}

// findTaper judges the place's taper. That of several strips has their laying in its
// uncertainty already.
func (p *place) findTaper(limit float64) clearance.TaperFinding {
	if len(p.valid) == 1 {
		return findTaper(p.taper, limit, clearance.Laying)
	}
	return findTaper(p.taper, limit, 0)
}

func findTaper(taper quantity.Value, limit, laying float64) clearance.TaperFinding {
	f, err := clearance.FindTaper(taper, limit, laying)
	if err != nil { // strips and limit were checked when they were taken in
		panic(err)
	}
	return f
}

// estimate is a value for showing.
func estimate(v quantity.Value, k float64) *Estimate {
	return &Estimate{MM: v.X, U: v.U, Expanded: k * v.U, Coverage: k}
}

// judge decides on a clearance by the group's limits.
func judge(v quantity.Value, k float64, g *Group) (newParts, service *Judgement, err error) {
	d, err := g.Spec().Decide(v, k*v.U)
	if err != nil {
		return nil, nil, err
	}
	return judgement(v, d.New, g.New), judgement(v, d.Service, g.Service), nil
}

func judgement(v quantity.Value, d *clearance.Decision, l *Limits) *Judgement {
	if d == nil {
		return nil
	}
	j := &Judgement{Verdict: d.Verdict, Conformity: d.Conformity,
		Lo: side(l.Lo), Hi: side(l.Hi), AcceptLo: side(d.Accept.Lo), AcceptHi: side(d.Accept.Hi)}
	if d.Verdict == clearance.Outside {
		j.Side = "too large"
		if v.X < l.Lo {
			j.Side = "too small"
		}
	}
	return j
}

// endBeyond tells of the end that lies beyond a limit that the place's clearance keeps,
// in mm with its standard uncertainty.
func (p *place) endBeyond(j *Judgement, l *Limits, k float64) (end quantity.Value, found bool) {
	if j == nil {
		return end, false
	}
	d := clearance.Decision{Verdict: j.Verdict}
	for _, half := range [2]float64{p.taper.X / 2, -p.taper.X / 2} {
		end = quantity.Value{X: p.clearance.X + half, U: math.Hypot(p.clearance.U, p.taper.U/2)}
		if d.EndOutside(end, k, l.Limits) {
			return end, true
		}
	}
	return end, false
}

// side is a limit, or nil where there is none on that side.
func side(x float64) *float64 {
	if math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// worse returns the judgement that says less good of a bearing.
func worse(a, b *Judgement) *Judgement {
	rank := func(j *Judgement) int {
		switch {
		case j == nil:
			return -1
		case j.Verdict == clearance.Inside:
			return 0
		case j.Verdict == clearance.CannotTell:
			return 1
		}
		return 2
	}
	if rank(b) > rank(a) || rank(b) == rank(a) && b != nil && b.Conformity < a.Conformity {
		return b
	}
	return a
}

// soonest is the shortest time in which somebody could take off a cap, clean both
// faces, lay a strip, tighten and take off the cap again. Estimate, no source.
const soonest = 3 * time.Minute

// tooSoon finds two readings that count as two strips, that nobody said are two,
// and whose photos were taken sooner after one another than strips can be laid.
func (p *place) tooSoon() (first, second int, found bool) {
	for i, a := range p.strips {
		for _, b := range p.strips[:i] {
			ta, err1 := time.Parse(takenLayout, a.told.Taken)
			tb, err2 := time.Parse(takenLayout, b.told.Taken)
			if err1 == nil && err2 == nil && ta.Sub(tb).Abs() < soonest && !a.reading.StripTold && !b.reading.StripTold {
				return b.reading.Number, a.reading.Number, true
			}
		}
	}
	return 0, 0, false
}

// takenLayout is how a result tells when its photo was taken.
const takenLayout = "2006-01-02T15:04:05"
