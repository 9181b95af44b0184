package calib

import (
	"math"
	"reflect"
	"strings"
	"testing"

	"stripgap/calib/quantity"
)

const goodLots = `# invented figures
[[lot]]
name = "round"
note = "invented"
diameter = "0.300 mm"
diameter_u = "2 um"
range_lo = "1 thou"
range_hi = "0.003 in"

[[lot]]
name = "by area"
section_area = "0.1 mm2"
section_area_u = "0.001 mm2"
range_lo = "0.05 mm"
range_hi = "0.15 mm"
`

func TestParseLots(t *testing.T) {
	lots, err := ParseLots([]byte(goodLots), "lots.toml")
	if err != nil {
		t.Fatal(err)
	}
	if len(lots) != 2 {
		t.Fatalf("%d lots, want 2", len(lots))
	}
	// A = pi 0.3^2/4 = 0.0706858 mm2, u = A 2 u(d)/d: written out by hand.
	wantNear(t, "area", lots[0].SectionArea.X, 0.0706858347, 1e-10)
	wantNear(t, "u(area)", lots[0].SectionArea.U, 0.0706858347*2*0.002/0.3, 1e-10)
	wantNear(t, "range low", lots[0].RangeLo, 0.0254, 1e-15)
	wantNear(t, "range high", lots[0].RangeHi, 0.0762, 1e-15)
	if want := (quantity.Value{X: 0.1, U: 0.001}); lots[1].SectionArea != want {
		t.Errorf("second lot's area %v, want %v", lots[1].SectionArea, want)
	}
	if lots[0].Note != "invented" || lots[1].Name != "by area" {
		t.Errorf("texts lost: %+v", lots)
	}
}

// The area's uncertainty against the difference of areas one u(d) apart.
func TestAreaFromDiameter(t *testing.T) {
	area := func(d float64) float64 { return AreaFromDiameter(quantity.Value{X: d}).X }
	v := AreaFromDiameter(quantity.Value{X: 0.3, U: 0.002})
	wantNear(t, "u", v.U, (area(0.302)-area(0.298))/2, 1e-15)
}

func TestParseLotsRefuses(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"unknown key", `note =`, `colour =`, "lots.toml:4:1: unknown key lot.colour"},
		{"repeated key", `note = "invented"`, `name = "again"`, "lots.toml:4:1"},
		{"not TOML", `note = "invented"`, `note = `, "lots.toml:4:"},
		{"wrong type", `"0.300 mm"`, `0.3`, `lots.toml:5:1: diameter: write the figure in quotes`},
		{"no unit", `"0.300 mm"`, `"0.300"`, `lots.toml:5:1: lot "round": diameter: length "0.300": no unit`},
		{"area unit on a length", `"0.300 mm"`, `"0.300 mm2"`, `lots.toml:5:1: lot "round": diameter: length "0.300 mm2": unknown unit`},
		{"negative", `"0.300 mm"`, `"-0.300 mm"`, "lots.toml:5:1"},
		{"inches for millimetres", `"0.300 mm"`, `"0.300 in"`, `lots.toml:5:1: lot "round": diameter: a strand 7.62 mm thick is none`},
		{"beyond float64's square", `"0.300 mm"`, `"1` + strings.Repeat("0", 200) + ` mm"`, "lots.toml:5:1"},
		{"thick section", `"0.1 mm2"`, `"100 mm2"`, `lots.toml:12:1: lot "by area": section_area: a strand`},
		{"zero uncertainty", `"2 um"`, `"0 um"`, `lots.toml:6:1: lot "round": diameter_u: "0 um" is not positive`},
		{"no uncertainty", `diameter_u = "2 um"`, ``, `lots.toml:2:3: lot "round": diameter_u: missing`},
		{"uncertainty above value", `"2 um"`, `"2 mm"`, "lots.toml:6:1"},
		{"two ways of saying it", `note = "invented"`, `section_area = "0.07 mm2"`, "keep one of them"},
		{"reversed range", `"0.003 in"`, `"0.0005 in"`, `lots.toml:8:1: lot "round": range_hi: 0.0005 in is not above range_lo 1 thou`},
		{"range beyond the strand", `"0.003 in"`, `"0.3 mm"`, "lots.toml:8:1"},
		{"same name twice", `"by area"`, `"round"`, `lots.toml:11:1: lot "round": name: a lot of this name stands above`},
		{"no name", `name = "by area"`, ``, "lots.toml:10:3: lot 2: name: missing"},
		{"no section", `section_area = "0.1 mm2"` + "\n" + `section_area_u = "0.001 mm2"`, ``, "section_area: missing"},
	} {
		text := strings.Replace(goodLots, c.old, c.new, 1)
		if text == goodLots {
			t.Fatalf("%s: nothing replaced", c.name)
		}
		lots, err := ParseLots([]byte(text), "lots.toml")
		if err == nil {
			t.Errorf("%s: read as %+v", c.name, lots)
		} else if !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: error %q, want one line with %q", c.name, err, c.want)
		}
	}
	if _, err := ParseLots([]byte("[lot]\nname = 'one'\n"), "lots.toml"); err == nil || !strings.HasPrefix(err.Error(), "lots.toml:1:2: ") {
		t.Errorf("single table: %v", err)
	}
	for _, text := range []string{"", "# nothing\n", strings.Repeat("#\n", lotFormat.MaxBytes)} {
		if _, err := ParseLots([]byte(text), "lots.toml"); err == nil {
			t.Errorf("%d bytes without a lot were accepted", len(text))
		}
	}
}

func TestFindLot(t *testing.T) {
	lots, err := ParseLots([]byte(goodLots), "lots.toml")
	if err != nil {
		t.Fatal(err)
	}
	if l, err := FindLot(lots, "by area"); err != nil || l.Name != "by area" {
		t.Errorf("by name: %+v, %v", l, err)
	}
	if l, err := FindLot(lots[:1], ""); err != nil || l.Name != "round" {
		t.Errorf("the only lot: %+v, %v", l, err)
	}
	for _, name := range []string{"", "other"} {
		if _, err := FindLot(lots, name); err == nil || !strings.Contains(err.Error(), `"round", "by area"`) {
			t.Errorf("name %q: error %v does not list the lots", name, err)
		}
	}
}

func FuzzParseLots(f *testing.F) {
	f.Add([]byte(goodLots))
	f.Add([]byte(`lot = [{name = "inline"}]`))
	f.Add([]byte("[lot]\nname = 'one'"))
	f.Fuzz(func(t *testing.T, data []byte) {
		lots, err := ParseLots(data, "f")
		for _, l := range lots {
			a := l.SectionArea
			if err != nil || l.Name == "" || !(0 < a.U && a.U < a.X) || !(0 < l.RangeLo && l.RangeLo < l.RangeHi) || a.X > 20 {
				t.Fatalf("accepted %+v with error %v", l, err)
			}
		}
	})
}

func wantNear(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, tolerance)
	}
}

func TestFormatLots(t *testing.T) {
	want := []Lot{
		{Name: "thin", Note: "a note", SectionArea: quantity.Value{X: 0.0713987654321, U: 4e-5}, RangeLo: 0.0254, RangeHi: 0.0762,
			Learnt: LotOrigin{"photos of an unused strand", "2026-11-25", "chi-square 2.1", []string{"a.jpg: +0.3 %", "b.jpg: \"-0.3\" %"}}},
		{Name: "plain", SectionArea: quantity.Value{X: 0.1, U: 0.001}, RangeLo: 0.05, RangeHi: 0.15},
	}
	data, err := FormatLots(want)
	if err != nil {
		t.Fatal(err)
	}
	got, err := ParseLots(data, "strips.toml")
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, %v, want %+v", got, err, want)
	}
	want[1].RangeHi = 0.4
	if _, err := FormatLots(want); err == nil || !strings.Contains(err.Error(), "would not be crushed") {
		t.Errorf("an impossible lot is written: %v", err)
	}
}
