package clearance

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"stripgap/calib/quantity"
)

// strip is an invented reading: a strand of 0.300 mm crushed to about 1.5 mm, a
// fifth wider at the rear. Sizes of the terms are those the design expects of one
// phone photo.
func strip() (WidthProfile, Section) {
	p := WidthProfile{
		Mean: 1.5,
		Terms: []WidthTerm{
			{Name: "edge noise", U: 0.002, Kind: Own, DoF: 40},
			{Name: "processing residual", U: 0.004, Kind: Offset},
			{Name: "print scale", U: 0.0075, Kind: Scale},
		},
		Ends:   [2]End{{"front", 1.35}, {"rear", 1.65}},
		TaperU: 0.006,
		Bow:    quantity.Value{X: 0.02, U: 0.004},
	}
	for i := range 11 {
		x := float64(i)/10 - 0.5
		p.Stations = append(p.Stations, Station{At: 20 * x, Width: 1.5 + 0.3*x, U: 0.007})
	}
	return p, Section{Area: quantity.Value{X: round(0.3), U: 0.0007}, RangeLo: 0.025, RangeHi: 0.076}
}

func read(t *testing.T, p WidthProfile, s Section) Reading {
	t.Helper()
	r, err := FromProfile(p, s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestReading(t *testing.T) {
	p, s := strip()
	r := read(t, p, s)
	near(t, "mean", r.Clearance.X, mid(t, 1.5, round(0.3)), 0)
	near(t, "taper", r.Taper.X, mid(t, 1.35, round(0.3))-mid(t, 1.65, round(0.3)), 0)
	if !(r.Taper.X > 0) { // the front is narrower, so its gap is larger
		t.Errorf("taper %v has the wrong sign", r.Taper.X)
	}
	if r.Ends[0].Name != "front" || r.Ends[1].Name != "rear" || r.Ends[0].Clearance.X-r.Ends[1].Clearance.X != r.Taper.X {
		t.Errorf("ends %+v do not give the taper %v", r.Ends, r.Taper.X)
	}
	if len(r.Profile) != 11 || len(r.Flags) != 0 {
		t.Errorf("%d stations, flags %v", len(r.Profile), r.Flags)
	}
	near(t, "first station", r.Profile[0].Clearance.X, r.Ends[0].Clearance.X, 1e-12)
	near(t, "its noise", r.Profile[0].Clearance.U, -gapAt(t, 1.35).ByWidth*0.007, 1e-12)
	near(t, "bow", r.Bow.X, bowOfParabola(t, 1.5, -0.3, 0.02), 1e-7)
	c := r.Clearance.X
	near(t, "u(bow)", r.Bow.U, c/1.5*0.004, 2e-6) // c/w is dc/dw but for 1.5 % of edge shape

	terms := map[string]quantity.Term{}
	for _, b := range r.Budget.Terms() {
		terms[b.Name] = b
	}
	// c nearly A/w, so relative terms carry over; bounds from the closed forms.
	near(t, "scale", terms["print scale"].U, c*0.005, 2e-6)
	near(t, "area", terms[TermArea].U, c*0.0007/round(0.3), 4e-6)
	near(t, "temperature", terms[TermTemperature].U, c*0.001/math.Sqrt(3), 1e-6)
	near(t, "edge shape", terms[TermEdgeShape].U, c*bulge*c/1.5/2/math.Sqrt(3), 2e-6)
	for name, want := range map[string]bool{"edge noise": false, "processing residual": true, "print scale": true, TermArea: true, TermEdgeShape: true, TermTemperature: true} {
		if got, ok := terms[name]; !ok || got.Common != want {
			t.Errorf("term %q: %+v, common should be %v", name, got, want)
		}
	}
	if terms["edge noise"].DoF != 40 {
		t.Errorf("degrees of freedom lost: %+v", terms["edge noise"])
	}
}

// bowOfParabola lays a parabola of sagitta b and a taper t about a mean width m
// over 10001 places and takes the clearance at the middle and both ends.
func bowOfParabola(t *testing.T, m, taper, b float64) float64 {
	const n = 10000
	var sum float64
	for i := 0; i <= n; i++ {
		x := float64(i)/n - 0.5
		sum -= 4 * b * x * x / (n + 1)
	}
	at := func(x float64) float64 { return mid(t, m-sum-4*b*x*x-taper*x, round(0.3)) }
	return at(0) - (at(-0.5)+at(0.5))/2
}

// The propagated uncertainties are claims: seeded Monte Carlo of the whole model,
// drawing every input, must agree within 2 % (the sampling error of a standard
// deviation from 60 000 draws is 0.3 %, the rest is what the first order leaves).
func TestUncertaintyByMonteCarlo(t *testing.T) {
	p, s := strip()
	want := read(t, p, s)
	r := rand.New(rand.NewPCG(100, 101))
	var mean, taper, front, rear spread
	for range 60000 {
		own, offset, scale := 0.002*r.NormFloat64(), 0.004*r.NormFloat64(), 1+0.005*r.NormFloat64()
		tilt := 0.006 * r.NormFloat64()
		area := s.Area.X + s.Area.U*r.NormFloat64() + 0.001*s.Area.X*(2*r.Float64()-1)
		shape := r.Float64() // 0 square edges, 1 half-round
		gap := func(w float64) float64 {
			w = w*scale + offset + own
			return square(w, area).gap*(1-shape) + halfRound(w, area).gap*shape
		}
		f, b := gap(1.35+tilt/2), gap(1.65-tilt/2)
		mean.add(gap(1.5))
		front.add(f)
		rear.add(b)
		taper.add(f - b)
	}
	near(t, "mean u", want.Clearance.U/mean.sd(), 1, 0.02)
	near(t, "taper u", want.Taper.U/taper.sd(), 1, 0.02)
	near(t, "front u", want.Ends[0].Clearance.U/front.sd(), 1, 0.02)
	near(t, "rear u", want.Ends[1].Clearance.U/rear.sd(), 1, 0.02)
	near(t, "mean", want.Clearance.X, mean.mean(), 0.05*want.Clearance.U)
	near(t, "taper", want.Taper.X, taper.mean(), 0.05*want.Taper.U)
	// Both ends taken as independent would overstate the taper by far.
	if loose := math.Hypot(want.Ends[0].Clearance.U, want.Ends[1].Clearance.U); loose < 1.5*taper.sd() {
		t.Errorf("independent ends give %v, correlated ones %v: the example shows no covariance", loose, taper.sd())
	}
}

// Each kind of error alone, against the model's own response to one standard
// uncertainty of it, so that a small term cannot hide behind the large ones. What
// is left without any is the edge shape.
func TestEndUncertaintyTermByTerm(t *testing.T) {
	bare, s := strip()
	bare.Terms, bare.TaperU, s.Area.U = nil, 0, 1e-12
	room, oven := 20.0, 71.0 // 50 K above room, so 1 % of area either way
	s.Temperature = &room
	shape := read(t, bare, s)
	area := s.Area.X
	for name, c := range map[string]struct {
		change func(*WidthProfile, *Section)
		moved  func(w, k float64) float64 // the gap at width w, k standard uncertainties off
	}{
		"own":    {func(p *WidthProfile, _ *Section) { p.Terms = []WidthTerm{{"x", 0.01, Own, 0}} }, func(w, k float64) float64 { return mid(t, w+0.01*k, area) }},
		"offset": {func(p *WidthProfile, _ *Section) { p.Terms = []WidthTerm{{"x", 0.01, Offset, 0}} }, func(w, k float64) float64 { return mid(t, w+0.01*k, area) }},
		"scale":  {func(p *WidthProfile, _ *Section) { p.Terms = []WidthTerm{{"x", 0.015, Scale, 0}} }, func(w, k float64) float64 { return mid(t, w*(1+0.01*k), area) }},
		"taper":  {func(p *WidthProfile, _ *Section) { p.TaperU = 0.02 }, func(w, k float64) float64 { return mid(t, w+0.01*k, area) }},
		"area":   {func(_ *WidthProfile, s *Section) { s.Area.U = 0.01 * area }, func(w, k float64) float64 { return mid(t, w, area*(1+0.01*k)) }},
		"heat":   {func(_ *WidthProfile, s *Section) { s.Temperature = &oven }, func(w, k float64) float64 { return mid(t, w, area*(1+0.01*k/math.Sqrt(3))) }},
	} {
		p, section := bare, s
		c.change(&p, &section)
		r := read(t, p, section)
		for i, e := range p.Ends {
			u, u0 := r.Ends[i].Clearance.U, shape.Ends[i].Clearance.U
			want := (c.moved(e.Width, -1) - c.moved(e.Width, 1)) / 2
			near(t, name+" at the "+e.Name, math.Sqrt(u*u-u0*u0)/math.Abs(want), 1, 1e-3)
		}
	}
}

type spread struct{ n, sum, square float64 }

func (s *spread) add(x float64) { s.n++; s.sum += x; s.square += x * x }
func (s spread) mean() float64  { return s.sum / s.n }
func (s spread) sd() float64    { return math.Sqrt(s.square/s.n - s.mean()*s.mean()) }

// With equal ends every common error cancels in the taper.
func TestCommonErrorsCancelInTheTaper(t *testing.T) {
	p, s := strip()
	p.Ends[0].Width, p.Ends[1].Width = 1.5, 1.5
	r := read(t, p, s)
	near(t, "taper", r.Taper.X, 0, 0)
	near(t, "u", r.Taper.U, -gapAt(t, 1.5).ByWidth*p.TaperU, 1e-15)
	near(t, "common part", r.TaperBudget.CommonU(), 0, 0)
}

func gapAt(t *testing.T, w float64) Gap {
	t.Helper()
	g, err := FromWidth(w, round(0.3))
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func TestStationsKeepTheirReasons(t *testing.T) {
	p, s := strip()
	p.Stations[3].Dropped = "glare"
	p.Stations[3].Width = math.NaN()
	p.Stations[4].Width = 0.2 // narrower than the strand
	r := read(t, p, s)
	if r.Profile[3].Dropped != "glare" || r.Profile[4].Dropped != NotCrushed || r.Profile[5].Dropped != "" {
		t.Errorf("stations %+v", r.Profile[3:6])
	}
}

func TestRangeIsFlagged(t *testing.T) {
	p, s := strip()
	for _, c := range []struct {
		lo, hi float64
		flags  int
	}{
		{0.025, 0.076, 0}, {0.048, 0.076, 1}, {0.025, 0.047, 1},
		{0.025, 0.050, 1}, // the front end alone is outside
		{0.044, 0.076, 1}, // the rear end alone
	} {
		s.RangeLo, s.RangeHi = c.lo, c.hi
		if r := read(t, p, s); len(r.Flags) != c.flags || c.flags == 1 && r.Flags[0] != FlagOutOfRange {
			t.Errorf("range %v to %v, reading %v and %+v: flags %v", c.lo, c.hi, r.Clearance.X, r.Ends, r.Flags)
		}
	}
}

// Section area changes 0.1 % in 5 K outside 18-21 degC.
func TestTemperatureTerm(t *testing.T) {
	_, s := strip()
	for degC, relative := range map[float64]float64{18: 0, 19.5: 0, 21: 0, 26: 0.001, 13: 0.001, 31: 0.002} {
		s.Temperature = &degC
		near(t, "relative half-width", s.thermalU()*math.Sqrt(3)/s.Area.X, relative, 1e-12)
	}
	s.Temperature = nil
	near(t, "unstated", s.thermalU()*math.Sqrt(3)/s.Area.X, 0.001, 1e-12)
}

func TestFromProfileRefuses(t *testing.T) {
	nan := math.NaN()
	cold := -300.0
	for name, change := range map[string]func(*WidthProfile, *Section){
		"mean":          func(p *WidthProfile, _ *Section) { p.Mean = nan },
		"end":           func(p *WidthProfile, _ *Section) { p.Ends[1].Width = 0 },
		"end names":     func(p *WidthProfile, _ *Section) { p.Ends[1].Name = "front" },
		"no end name":   func(p *WidthProfile, _ *Section) { p.Ends[0].Name = "" },
		"taper u":       func(p *WidthProfile, _ *Section) { p.TaperU = -1 },
		"bow":           func(p *WidthProfile, _ *Section) { p.Bow.X = nan },
		"term u":        func(p *WidthProfile, _ *Section) { p.Terms[0].U = nan },
		"term kind":     func(p *WidthProfile, _ *Section) { p.Terms[0].Kind = 7 },
		"term name":     func(p *WidthProfile, _ *Section) { p.Terms[0].Name = TermArea },
		"taper's name":  func(p *WidthProfile, _ *Section) { p.Terms[0].Name = TermTaper },
		"station":       func(p *WidthProfile, _ *Section) { p.Stations[2].Width = nan },
		"station place": func(p *WidthProfile, _ *Section) { p.Stations[2].At = math.Inf(1) },
		"huge bow":      func(p *WidthProfile, _ *Section) { p.Bow.X = 2 },
		"no area":       func(_ *WidthProfile, s *Section) { s.Area = quantity.Value{} },
		"area u":        func(_ *WidthProfile, s *Section) { s.Area.U = 0 },
		"range":         func(_ *WidthProfile, s *Section) { s.RangeLo = 0.1 },
		"no range":      func(_ *WidthProfile, s *Section) { s.RangeLo, s.RangeHi = 0, 0 },
		"range past d":  func(_ *WidthProfile, s *Section) { s.RangeHi = 0.31 },
		"temperature":   func(_ *WidthProfile, s *Section) { s.Temperature = &cold },
	} {
		p, s := strip()
		change(&p, &s)
		if r, err := FromProfile(p, s); err == nil {
			t.Errorf("%s: read as %+v", name, r.Clearance)
		}
	}
	p, s := strip()
	p.Ends[0].Width = 0.2
	if _, err := FromProfile(p, s); !errors.Is(err, ErrNotCrushed) || !strings.Contains(err.Error(), "front end") {
		t.Errorf("uncrushed front end: %v", err)
	}
	p.Ends[0].Width, p.Mean = 1.35, 0.2
	if _, err := FromProfile(p, s); !errors.Is(err, ErrNotCrushed) {
		t.Errorf("uncrushed strip: %v", err)
	}
}
