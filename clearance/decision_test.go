package clearance

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"stripgap/calib/quantity"
)

// example holds the figures of one JCGM 106:2012 example; the file's status field
// says which inputs are from memory.
type example struct {
	Y, U, TL, TU float64
	Published    float64 `json:"pc_pub"`
	Recomputed   float64 `json:"pc"`
}

func reference(t *testing.T, into any) {
	t.Helper()
	data, err := os.ReadFile("../testdata/reference/jcgm106.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

func TestConformityExamples(t *testing.T) {
	var ref struct {
		Upper example `json:"ex_upper_7.3"`
		Lower example `json:"ex_lower_7.3"`
		Two   example `json:"ex_two_sided_7.4"`
	}
	reference(t, &ref)
	for name, c := range map[string]struct {
		e example
		l Limits
	}{
		"7.3 upper": {ref.Upper, Limits{-inf, ref.Upper.TU}},
		"7.3 lower": {ref.Lower, Limits{ref.Lower.TL, inf}},
		"7.4":       {ref.Two, Limits{ref.Two.TL, ref.Two.TU}},
	} {
		p, err := Conformity(quantity.Value{X: c.e.Y, U: c.e.U}, c.l)
		if err != nil {
			t.Fatal(err)
		}
		near(t, name, p, c.e.Recomputed, 1e-12)
		near(t, name+" published", p, c.e.Published, 0.005)
	}
}

// JCGM 106:2012 9.5.4: parts with a gamma-distributed error (mean 1, sd 0.5 um)
// against an upper limit of 2 um, measured with u = 0.25 um. The consumer's risk,
// the probability of a part beyond the limit being found inside, is integrated
// over the rule Decide applies.
func TestConsumerRisk(t *testing.T) {
	var ref struct {
		E struct {
			TU            float64
			NonConforming float64 `json:"p_nonconf"`
			RiskAt2       float64 `json:"consumer_risk_at_AU_2"`
			Target        float64 `json:"target_risk"`
			AU            float64
			Sigma         float64 `json:"um"`
		} `json:"risk_9.5.4"`
	}
	reference(t, &ref)
	e := ref.E
	prior := distuv.Gamma{Alpha: 4, Beta: 4}
	near(t, "parts beyond the limit", 1-prior.CDF(e.TU), e.NonConforming, 1e-9)

	risk := func(guard float64) float64 {
		d, err := Decide(quantity.Value{X: 1, U: e.Sigma}, guard, Limits{-inf, e.TU})
		if err != nil {
			t.Fatal(err)
		}
		var sum float64
		const step = 1e-4
		for x := e.TU + step/2; x < 10; x += step {
			sum += prior.Prob(x) * below((d.Accept.Hi-x)/e.Sigma) * step
		}
		return sum
	}
	near(t, "risk of simple acceptance", risk(0), e.RiskAt2, 1e-5)
	near(t, "risk with the guard band", risk(e.TU-e.AU), e.Target, 1e-6)
}

// Guard band by ISO 14253-1, limits 20 and 50 um, U 4 um (ours).
func TestDecide(t *testing.T) {
	two := Limits{0.020, 0.050}
	for _, c := range []struct {
		x    float64
		l    Limits
		want Verdict
	}{
		{0.035, two, Inside}, {0.0241, two, Inside}, {0.0459, two, Inside},
		{0.0239, two, CannotTell}, {0.0161, two, CannotTell}, {0.0461, two, CannotTell}, {0.0539, two, CannotTell},
		{0.0159, two, Outside}, {0.0541, two, Outside},
		{0.001, Limits{-inf, 0.05}, Inside}, {0.052, Limits{-inf, 0.05}, CannotTell}, {0.055, Limits{-inf, 0.05}, Outside},
		{9, Limits{0.02, inf}, Inside}, {0.021, Limits{0.02, inf}, CannotTell}, {0.015, Limits{0.02, inf}, Outside},
	} {
		d, err := Decide(quantity.Value{X: c.x, U: 0.002}, 0.004, c.l)
		if err != nil {
			t.Fatal(err)
		}
		if d.Verdict != c.want || d.Guard != 0.004 || d.Accept.Lo > d.Accept.Hi {
			t.Errorf("%v in %v: %+v, want %s", c.x, c.l, d, c.want)
		}
		simple, err := Decide(quantity.Value{X: c.x, U: 0.002}, 0, c.l)
		if err != nil {
			t.Fatal(err)
		}
		if (simple.Verdict == Inside) != c.l.Contains(c.x) || simple.Verdict == CannotTell {
			t.Errorf("%v in %v: simple acceptance says %s", c.x, c.l, simple.Verdict)
		}
	}
	d, err := Decide(quantity.Value{X: 0.035, U: 0.01}, 0.02, two)
	if err != nil || d.Verdict != CannotTell || d.Accept.Lo <= d.Accept.Hi {
		t.Errorf("uncertainty as wide as the limits: %+v, %v", d, err)
	}
}

// A verdict of inside or outside at k = 2 is wrong for at most 2.3 % of readings
// of a bearing just on its limit (one tail of the normal distribution), and the
// conformity agrees with how often the true value is within (seeded).
func TestWrongVerdictsAreRare(t *testing.T) {
	r := rand.New(rand.NewPCG(14, 253))
	l := Limits{0.020, 0.050}
	const n, u = 100000, 0.001
	inside, outside := 0, 0
	for range n {
		d, err := Decide(quantity.Value{X: 0.050 + u*r.NormFloat64(), U: u}, 2*u, l)
		if err != nil {
			t.Fatal(err)
		}
		switch d.Verdict {
		case Inside:
			inside++
		case Outside:
			outside++
		}
	}
	tail := below(-2) // 0.0228; the counts' own sd is 0.0005
	near(t, "found inside", float64(inside)/n, tail, 0.002)
	near(t, "found outside", float64(outside)/n, tail, 0.002)

	v := quantity.Value{X: 0.0495, U: u}
	p, err := Conformity(v, l)
	if err != nil {
		t.Fatal(err)
	}
	within := 0
	for range n {
		if l.Contains(v.X + v.U*r.NormFloat64()) {
			within++
		}
	}
	near(t, "conformity", p, float64(within)/n, 0.006) // 4 sd
}

// Conformity far out in either tail keeps its digits: it mirrors.
func TestConformityTails(t *testing.T) {
	for _, z := range []float64{1, 5, 10, 20} {
		above, err1 := Conformity(quantity.Value{X: 2 + z, U: 1}, Limits{1, 2})
		under, err2 := Conformity(quantity.Value{X: 1 - z, U: 1}, Limits{1, 2})
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		want := below(-z) - below(-z-1)
		if !(want > 0) || math.Abs(above/want-1) > 1e-9 || math.Abs(under/want-1) > 1e-9 {
			t.Errorf("%v sd beyond: %v above, %v below, want %v", z, above, under, want)
		}
	}
}

func TestDecideRefuses(t *testing.T) {
	good, limits := quantity.Value{X: 0.03, U: 0.001}, Limits{0.02, 0.05}
	for name, c := range map[string]struct {
		v     quantity.Value
		guard float64
		l     Limits
	}{
		"no uncertainty":  {quantity.Value{X: 0.03}, 0.002, limits},
		"NaN value":       {quantity.Value{X: math.NaN(), U: 1}, 0.002, limits},
		"infinite u":      {quantity.Value{X: 0.03, U: inf}, 0.002, limits},
		"negative guard":  {good, -0.001, limits},
		"NaN guard":       {good, math.NaN(), limits},
		"reversed limits": {good, 0.002, Limits{0.05, 0.02}},
		"equal limits":    {good, 0.002, Limits{0.02, 0.02}},
		"no limits":       {good, 0.002, Limits{-inf, inf}},
		"zero limits":     {good, 0.002, Limits{}},
		"NaN limit":       {good, 0.002, Limits{math.NaN(), 0.05}},
		"upside down":     {good, 0.002, Limits{inf, -inf}},
	} {
		if d, err := Decide(c.v, c.guard, c.l); err == nil {
			t.Errorf("%s: %+v", name, d)
		}
	}
}

func TestJudge(t *testing.T) {
	p, s := strip()
	r := read(t, p, s)
	d, err := r.Judge(Limits{0.030, 0.060}, quantity.Coverage{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "guard band", d.Guard, 2*r.Clearance.U, 1e-15)
	if d.Verdict != Inside || d.Conformity < 0.999 {
		t.Errorf("decision %+v", d)
	}
	// The limit one u above the reading.
	if d, err = r.Judge(Limits{0.030, r.Clearance.X + r.Clearance.U}, quantity.Coverage{}); err != nil || d.Verdict != CannotTell {
		t.Errorf("limit within the uncertainty: %+v, %v", d, err)
	}
	near(t, "conformity one u inside", d.Conformity, 0.8413, 5e-5) // normal table

	s.RangeLo = 0.06
	r = read(t, p, s)
	if d, err := r.Judge(Limits{0.030, 0.060}, quantity.Coverage{}); !errors.Is(err, ErrOutOfRange) || !strings.Contains(err.Error(), "0.060..0.076 mm") {
		t.Errorf("out of range: %+v, %v", d, err)
	}
}
