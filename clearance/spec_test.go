package clearance

import (
	"math"
	"strings"
	"testing"

	"stripgap/calib/quantity"
)

var inf = math.Inf(1)

func TestParseLimits(t *testing.T) {
	for s, want := range map[string]Limits{
		"0.020..0.050mm":       {0.02, 0.05},
		"0.8..2.0thou":         {0.8 * 0.0254, 2 * 0.0254},
		"0.0010..0.0030 in":    {0.001 * 25.4, 0.003 * 25.4},
		" 20 .. 50 um ":        {0.02, 0.05},
		"0.0010in..0.0762mm":   {0.001 * 25.4, 0.0762},
		"..0.0045 in":          {-inf, 0.0045 * 25.4},
		"0.02mm..":             {0.02, inf},
		"0..0.05mm":            {0, 0.05},
		"0.0254 mm..0.0762 mm": {0.0254, 0.0762},
	} {
		l, err := ParseLimits(s)
		if err != nil {
			t.Errorf("%q: %v", s, err)
			continue
		}
		if !same(l.Lo, want.Lo) || !same(l.Hi, want.Hi) {
			t.Errorf("%q: got %v, want %v", s, l, want)
		}
	}
	// TM 10-4320-344-24 prints both: 0.0010-0.0030 in and 0.0254-0.0762 mm.
	in, err1 := ParseLimits("0.0010..0.0030 in")
	mm, err2 := ParseLimits("0.0254..0.0762 mm")
	if err1 != nil || err2 != nil || !same(in.Lo, mm.Lo) || !same(in.Hi, mm.Hi) {
		t.Errorf("%v, %v differ from %v, %v", in, err1, mm, err2)
	}
}

func same(a, b float64) bool { return a == b || math.Abs(a-b) < 1e-15 }

func TestParseLimitsRefuses(t *testing.T) {
	for s, want := range map[string]string{
		"0.050..0.020mm": "reversed", "0.02..0.02mm": "the same", "0.020..0.050": "no unit",
		"0.020-0.050 mm": "low..high", "0.05 mm": "low..high", "": "low..high", "..": "no limit",
		"-0.01..0.05mm": "negative", "0.02..": "no unit", "0.02...0.05.mm": "not a decimal",
		"a..0.05mm": "does not start", "0.02..b": "does not start", "0,02..0,05mm": "decimal point",
		"0.02..0.05cm": "unknown unit", "2thou..0.01mm": "reversed", "0.02..0.03..0.04mm": "not a decimal",
	} {
		l, err := ParseLimits(s)
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), s) {
			t.Errorf("%q: got %v and error %v, want %q", s, l, err, want)
		}
	}
}

func TestLimitsFormat(t *testing.T) {
	for want, l := range map[string]Limits{"0.020..0.050 mm": {0.02, 0.05}, "..0.050 mm": {-inf, 0.05}, "0.020 mm..": {0.02, inf}} {
		if got := l.Format(quantity.MM, 3); got != want {
			t.Errorf("%v: got %q, want %q", l, got, want)
		}
		back, err := ParseLimits(want)
		if err != nil || back != l {
			t.Errorf("%q read back as %v, %v", want, back, err)
		}
	}
}

func FuzzParseLimits(f *testing.F) {
	for _, s := range []string{"0.020..0.050mm", "..2 thou", "1in..", "0..0", "..mm", "1..3thou=0.0254..0.0762mm", "..2thou (..0.051mm)"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		l, err := ParseLimits(s)
		if err != nil {
			return
		}
		if l.Check() != nil || l.Lo < 0 && !math.IsInf(l.Lo, -1) {
			t.Fatalf("%q read as %v", s, l)
		}
	})
}
