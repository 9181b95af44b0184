package quantity

import (
	"math"
	"strings"
	"testing"
)

// Exact by definition: 1 in = 25.4 mm; 1 ft = 0.3048 m, 1 lbf = 4.4482216152605 N
// (international yard and pound agreement, standard gravity).
func TestExactFactors(t *testing.T) {
	for s, want := range map[string]float64{
		"1 in": 25.4, "1 thou": 0.0254, "1000thou": 25.4, "1 um": 0.001, "1\u00b5m": 0.001,
		"2.5 mm": 2.5, " -0.5 mm ": -0.5, ".001in": 0.0254, "+3.mm": 3,
	} {
		got, err := ParseLength(s)
		if err != nil {
			t.Errorf("%q: %v", s, err)
		}
		near(t, s, got, want, 1e-15*math.Abs(want))
	}
	near(t, "lbf ft", TorqueFromPoundFoot(1), 0.3048*4.4482216152605, 1e-15)
	near(t, "lbf ft", TorqueFromPoundFoot(1), 1.3558179483314004, 0)
	near(t, "back", PoundFootFromTorque(TorqueFromPoundFoot(90)), 90, 1e-13)
}

// 18-21 degC is 64.4-69.8 degF exactly; 55 lb-ft is 74.57 N m (TM 9-4310-397-14,
// whose printed 75 is rounded).
func TestTemperatureAndTorque(t *testing.T) {
	near(t, "18 degC", FahrenheitFromCelsius(18), 64.4, 1e-13)
	near(t, "21 degC", FahrenheitFromCelsius(21), 69.8, 1e-13)
	for s, want := range map[string]float64{"64.4 degF": 18, "69.8\u00b0F": 21, "20 C": 20, "-40 F": -40, "20 degC": 20} {
		got, err := ParseTemperature(s)
		if err != nil {
			t.Errorf("%q: %v", s, err)
		}
		near(t, s, got, want, 1e-13)
	}
	for s, want := range map[string]float64{"55 lb-ft": 74.57, "55 ft-lb": 74.57, "55 lbf ft": 74.57, "74.57 N m": 74.57, "74.57Nm": 74.57} {
		got, err := ParseTorque(s)
		if err != nil {
			t.Errorf("%q: %v", s, err)
		}
		near(t, s, got, want, 0.005)
	}
	if a, err := ParseArea("0.07 mm2"); err != nil || a != 0.07 {
		t.Errorf("area: %v, %v", a, err)
	}
}

func TestParseRefuses(t *testing.T) {
	for s, want := range map[string]string{
		"0.05": "no unit", "": "does not start", "mm": "does not start", "0,05 mm": "decimal point",
		"0.05 cm": "unknown unit", "0.05 MM": "unknown unit", "1e-3 mm": "unknown unit", "0x1p mm": "unknown unit",
		"inf mm": "does not start", "NaN mm": "does not start", "1.2.3 mm": "not a decimal", "1-2 mm": "not a decimal",
		"- mm": "not a decimal", "1_0 mm": "unknown unit", "0.05 mm2": "unknown unit",
	} {
		x, err := ParseLength(s)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v and error %v, want %q", s, x, err, want)
		}
	}
	if _, err := ParseLength(strings.Repeat("9", 400) + " mm"); err == nil {
		t.Error("a number beyond float64 was accepted")
	}
	for _, parse := range []func(string) (float64, error){ParseArea, ParseTorque, ParseTemperature} {
		if x, err := parse("20 mm"); err == nil {
			t.Errorf("a length was read as %v of another kind", x)
		}
	}
}

// TestBothTorques: a figure stands as the maker printed it, and none with an exponent.
// Converted by the exact 1.3558179483314004 N m.
func TestBothTorques(t *testing.T) {
	for s, want := range map[string]string{
		"20 N m":        "20 N m (14.8 lbf ft)",
		"48 lbf ft":     "65.08 N m (48 lbf ft)",
		"118.75 ft-lb":  "161 N m (118.75 lbf ft)",
		"133.25 Nm":     "133.25 N m (98.3 lbf ft)",
		"1400 N m":      "1400 N m (1033 lbf ft)",
		"9500.5 lbf ft": "12881 N m (9500.5 lbf ft)",
		"0.4 N m":       "0.4 N m (0.295 lbf ft)",
		"30.0 N m":      "30 N m (22.1 lbf ft)",
	} {
		if got, err := BothTorques(s); got != want || err != nil {
			t.Errorf("%s: %q, %v, want %q", s, got, err, want)
		}
	}
	if got, err := BothTorques("20 mm"); err == nil {
		t.Errorf("a length is %q", got)
	}
}

func TestFormatLength(t *testing.T) {
	for _, c := range []struct {
		mm       float64
		unit     Unit
		decimals int
		want     string
	}{{0.0508, Thou, 2, "2.00 thou"}, {0.0508, Inch, 4, "0.0020 in"}, {0.0508, MM, 3, "0.051 mm"}, {0.0508, UM, 0, "51 um"}} {
		if got := FormatLength(c.mm, c.unit, c.decimals); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

// What is printed is read back to within its rounding.
func FuzzParseLength(f *testing.F) {
	for _, s := range []string{"0.05 mm", "2thou", "1e5 in", "-.5um", "+ mm"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		x, err := ParseLength(s)
		if err != nil {
			return
		}
		if math.IsNaN(x) {
			t.Fatalf("%q read as %v", s, x)
		}
		if back, err := ParseLength(FormatLength(x, MM, 6)); err != nil || math.Abs(back-x) > 5.1e-7+1e-12*math.Abs(x) {
			t.Fatalf("%q: %v came back as %v, %v", s, x, back, err)
		}
	})
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, tolerance)
	}
}
