package clearance

import (
	"strings"
	"testing"

	"stripgap/calib/quantity"
)

// Limits that public manuals print in both units (tm_clearances.csv, rows E, F, G,
// H and L) agree within their rounding; the finer figures are taken.
func TestParseBothOfPublishedPages(t *testing.T) {
	rows := tm(t)
	for id, c := range map[string]struct {
		in, mm string
		want   Limits // mm
	}{
		"E": {"0.0012..0.0039in", "0.03..0.10mm", Limits{0.0012 * inch, 0.0039 * inch}},
		"F": {"0.0012..0.0042in", "0.030..0.107mm", Limits{0.030, 0.107}},
		"G": {"0.0016..0.0043in", "0.041..0.109mm", Limits{0.041, 0.109}},
		"H": {"0.0012..0.0040in", "0.03..0.10mm", Limits{0.0012 * inch, 0.0040 * inch}},
		"L": {"0.0010..0.0030in", "0.0254..0.0762mm", Limits{0.0254, 0.0762}},
	} {
		for column, i := range map[string]int{"clr_new_min_in": 0, "clr_new_max_in": 1} {
			if figure := strings.Split(strings.TrimSuffix(c.in, "in"), "..")[i]; rows[id][column] != figure {
				t.Fatalf("row %s no longer prints %s but %s", id, figure, rows[id][column])
			}
		}
		for _, figure := range strings.Split(strings.TrimSuffix(c.mm, "mm"), "..") {
			if !strings.Contains(rows[id]["printed_mm"], figure) {
				t.Fatalf("row %s no longer prints %s mm: %s", id, figure, rows[id]["printed_mm"])
			}
		}
		for _, s := range []string{c.in + "=" + c.mm, c.mm + " = " + c.in, c.in + " (" + c.mm + ")"} {
			l, err := ParseLimits(s)
			if err != nil {
				t.Errorf("%s, %q: %v", id, s, err)
				continue
			}
			near(t, id+" lower", l.Lo, c.want.Lo, 1e-12)
			near(t, id+" upper", l.Hi, c.want.Hi, 1e-12)
		}
	}
	if l, err := ParseBoth("..0.0060 in", "..0.152mm"); err != nil || l.Hi != 0.152 { // row M
		t.Errorf("%v, %v", l, err)
	}
	if l, err := ParseLimits("0.8..2 thou = 0.0008..0.0020 inch"); err != nil || l.Hi != 0.002*inch {
		t.Errorf("%v, %v", l, err)
	}
}

// Slips on printed pages (rows I, V and S name theirs) and of our own making.
func TestParseBothNamesTheSlip(t *testing.T) {
	for _, c := range []struct{ first, second, want string }{
		{"..0.00475in", "..0.119mm", "upper: .*0.00469 in or the second 0.1206 mm"},                           // row I and its sister
		{"..0.001in", "..0.05mm", "upper: .*second 0.03 mm; probably a slip of the digit"},                    // row V
		{"..3.4980in", "..88.749mm", "upper: .*second 88.849 mm; probably a slip of the digit in the second"}, // row S
		{"0.0010..0.0030in", "0.0254..0.762mm", "upper: .*second 0.076 mm; probably a slip of the decimal point"},
		{"0.0010..0.0030in", "0.254..0.762mm", "lower: .*second 0.025 mm; probably a slip of the decimal point"},
		{"0.0010..0.0030in", "0.0010..0.0030mm", "lower: .*second 0.0254 mm; probably a slip of the unit"},
		{"1.0..3.0in", "0.0254..0.0762mm", "lower: .*first should be 0.00100 in .*; probably a slip of the unit in the first"},
		{"..0.0030in", "0.0254..0.0762mm", "only one of them has a limit on the lower side"},
		{"0.0010..0.0030in", "0.0254..mm", "does not start with a number"},
		{"0.0010..0.0030", "0.0254..0.0762mm", "no unit"},
		{"0.0030..0.0010in", "0.0254..0.0762mm", "reversed"},
	} {
		l, err := ParseBoth(c.first, c.second)
		if err == nil || !matches(t, c.want, err.Error()) {
			t.Errorf("%s and %s: %v, %v; want %s", c.first, c.second, l, err, c.want)
		}
	}
	for _, s := range []string{"0.02..0.05mm (0.0008..0.0020in", "0.02..0.05mm=", "=0.02..0.05mm", "0.02..0.05mm=0.0008..0.0020in=1..2thou"} {
		if l, err := ParseLimits(s); err == nil {
			t.Errorf("%q: %v", s, l)
		}
	}
}

func TestSpec(t *testing.T) {
	newParts, service := Limits{0.020, 0.050}, Limits{-inf, 0.0762}
	s := Spec{&newParts, &service}
	d, err := s.Decide(quantity.Value{X: 0.060, U: 0.001}, 0.002)
	if err != nil || d.New.Verdict != Outside || d.Service.Verdict != Inside {
		t.Errorf("%+v, %v", d, err)
	}
	if d, err = (Spec{Service: &service}).Decide(quantity.Value{X: 0.077, U: 0.001}, 0.002); err != nil || d.New != nil || d.Service.Verdict != CannotTell {
		t.Errorf("%+v, %v", d, err)
	}
	wide, low, wrong := Limits{0.010, 0.050}, Limits{0.030, 0.080}, Limits{}
	for name, c := range map[string]struct {
		s    Spec
		want string
	}{
		"exchanged":     {Spec{&service, &newParts}, "tighter"},
		"tighter below": {Spec{&wide, &low}, "tighter"},
		"no limits":     {Spec{&wrong, nil}, "new limits"},
		"bad service":   {Spec{nil, &wrong}, "service limits"},
	} {
		if err := c.s.Check(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
		if d, err := c.s.Decide(quantity.Value{X: 0.04, U: 0.001}, 0.002); err == nil {
			t.Errorf("%s: %+v", name, d)
		}
	}
	if err := (Spec{}).Check(); err != nil {
		t.Error(err)
	}
	if d, err := s.Decide(quantity.Value{X: 0.04}, 0.002); err == nil {
		t.Errorf("no uncertainty: %+v", d)
	}
}
