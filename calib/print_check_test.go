package calib

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// TestCheckBars: the bars' lengths are the drawing's, 150 and 200 mm; the inch is
// 25.4 mm exactly.
func TestCheckBars(t *testing.T) {
	for _, c := range []struct {
		across, down, u string
		x, y, rel       float64
	}{
		{"150 mm", "200mm", "", 1, 1, 0.1 / 150},
		{"149.55 mm", "199.8 mm", "0.03 mm", 0.997, 0.999, 0.03 / 150},
		{"5.9055 in", "7.874 in", "0.001 in", 149.9997 / 150, 199.9996 / 200, 0.0254 / 150},
		{"157.5 mm", "190 mm", "50 um", 1.05, 0.95, 0.05 / 150}, // the ends of what is used
	} {
		got, err := CheckBars(c.across, c.down, c.u)
		if err != nil {
			t.Errorf("%+v: %v", c, err)
			continue
		}
		p := got.Print()
		if math.Abs(p.X-c.x) > 1e-12 || math.Abs(p.Y-c.y) > 1e-12 || math.Abs(p.U-c.rel) > 1e-12 {
			t.Errorf("%+v gives %+v", c, p)
		}
	}
}

// TestCheckBarsSlips: what goes wrong at a bench is told with the figure meant.
func TestCheckBarsSlips(t *testing.T) {
	for _, c := range []struct{ across, down, u, want string }{
		{"149.6", "199.8 mm", "", `across: length "149.6": no unit; write mm, um, in or thou after the number; probably 149.6 mm`},
		{"149.6 mm", "7.87", "", `probably 7.87 in`},
		{"5.89 mm", "199.8 mm", "", `across: "5.89 mm" is not near the bar's 150 mm; probably 5.89 in`},
		{"149.6 in", "199.8 mm", "", `probably 149.6 mm`},
		{"14.96 cm", "199.8 mm", "", `unknown unit "cm"; write mm, um, in or thou; probably 149.6 mm`},
		{"14.96 mm", "199.8 mm", "", `probably 149.6 mm`},
		{"149.6 mm", "1998 mm", "", `down: "1998 mm" is not near the bar's 200 mm; probably 199.8 mm`},
		{"194.6 mm", "199.8 mm", "", `across: "194.6 mm" is the length of the other bar; this one is 150 mm long`},
		{"149.6 mm", "919.8 mm", "", `probably 199.8 mm`},
		{"199.8 mm", "149.6 mm", "", `the figures are swapped: across is the bar of 150 mm and down that of 200 mm; probably across "149.6 mm" and down "199.8 mm"`},
		{"199.8 mm", "199.8 mm", "", `across: "199.8 mm" is the length of the other bar`},
		{"141 mm", "188 mm", "", `across: "141 mm" is 94 % of the bar's 150 mm, and a print more than 5 % off is not used`},
		{"-150 mm", "200 mm", "", `across: "-150 mm"`},
		{"", "200 mm", "", `across: length "": does not start with a number`},
		{"150,2 mm", "200 mm", "", `write a decimal point, not a comma; probably 150.2 mm`},
		{"150 mm", "200 mm", "0.03", `u: length "0.03": no unit`},
		{"150 mm", "200 mm", "0 mm", `u: 0 mm must be above 0 and at most 1 mm`},
		{"150 mm", "200 mm", "2 mm", `u: 2 mm must be above 0 and at most 1 mm`},
	} {
		_, err := CheckBars(c.across, c.down, c.u)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q %q %q: %v, want %q", c.across, c.down, c.u, err, c.want)
		}
	}
}

func TestParseThickness(t *testing.T) {
	for text, want := range map[string]float64{"1.2 mm": 1.2, "0.05in": 1.27, "5 mm": 5, "120 um": 0.12} {
		if mm, err := ParseThickness(text); err != nil || math.Abs(mm-want) > 1e-12 {
			t.Errorf("%q: %v mm, %v", text, mm, err)
		}
	}
	for text, want := range map[string]string{"1.2": "no unit", "": "does not start with a number", "1,2 mm": "decimal point",
		"-1 mm": "must be above 0 and at most 5 mm: board, glue and paper together", "0 mm": "above 0", "5.1 mm": "at most 5 mm"} {
		if mm, err := ParseThickness(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v mm, %v, want %q", text, mm, err, want)
		}
	}
}

func TestSheetCheckOdd(t *testing.T) {
	for _, c := range []struct {
		across, down float64
		want         string
	}{{150, 200, ""}, {149.2, 199.2, ""}, {145.5, 194, "printed at 97.0 %"}, {150, 198, "differ in scale by 1.0 %"}} {
		got := SheetCheck{Across: c.across, Down: c.down}.Odd()
		if (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("%v, %v: %q, want %q", c.across, c.down, got, c.want)
		}
	}
}

func TestSheetFile(t *testing.T) {
	want := []SheetCheck{{"6C3H2P", 149.55, 199.8, 0.03, "2026-11-25", 1.2}, {"WDEYEC", 150, 200, CalliperU, "", 0}}
	data, err := FormatSheets(want)
	if err != nil {
		t.Fatal(err)
	}
	got, err := ParseSheets(data, "sheets.toml")
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("%+v %v", got, err)
	}
	if none, err := ParseSheets(nil, "sheets.toml"); err != nil || none != nil {
		t.Errorf("no data: %v %v", none, err)
	}
	const good = "[[sheet]]\nserial = \"6C3H2P\"\nacross = \"150 mm\"\ndown = \"200 mm\"\nu = \"0.1 mm\"\n"
	for text, want := range map[string]string{
		strings.Replace(good, "6C3H2P", "6C3H2A", 1):     "s.toml:2:1: sheet 1: serial: serial: \"6C3H2A\" has a wrong check character",
		strings.Replace(good, "\"150 mm\"", "150", 1):    "s.toml:3:1: across: write the figure in quotes and with its unit",
		strings.Replace(good, "150 mm", "150", 1):        "s.toml:3:1: sheet 1: across: length \"150\": no unit",
		strings.Replace(good, "150 mm", "120 mm", 1):     "sheet 1: across: 120 mm is not within 5 % of 150 mm",
		strings.Replace(good, "u = \"0.1 mm\"\n", "", 1): "s.toml:1:3: sheet 1: u: missing",
		strings.Replace(good, "u =", "note =", 1):        "s.toml:5:1: unknown key sheet.note",
		good + good:                                      "s.toml:7:1: sheet 2: serial: this sheet stands above; delete one",
		good + "checked = \"25.11.2026\"\n":              "s.toml:6:1: sheet 1: checked: \"25.11.2026\" is not a day",
		good + "thickness = \"1.2\"\n":                   "s.toml:6:1: sheet 1: thickness: length \"1.2\": no unit",
		good + "thickness = \"12 mm\"\n":                 "s.toml:6:1: sheet 1: thickness: \"12 mm\" must be above 0 and at most 5 mm",
		good + "thickness = 1.2\n":                       "s.toml:6:1: thickness: write the figure in quotes and with its unit",
		good + strings.Repeat("#", sheetFormat.MaxBytes): "a file of sheets is at most",
	} {
		if _, err := ParseSheets([]byte(text), "s.toml"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%.80q: %v, want %q", text, err, want)
		}
	}
}

// FuzzParseSheets: whatever is accepted can be written and is then read the same.
func FuzzParseSheets(f *testing.F) {
	f.Add([]byte("[[sheet]]\nserial = \"6C3H2P\"\nacross = \"5.9 in\"\ndown = \"200 mm\"\nu = \"50 um\"\nchecked = \"2026-11-25\"\n"))
	f.Add([]byte("[[sheet]]\nserial = \"6C3H2P\"\nacross = \"5.9 in\"\ndown = \"200 mm\"\nu = \"50 um\"\nthickness = \"0.047in\"\n"))
	f.Add([]byte("sheet = [{serial = \"6C3H2P\"}]"))
	f.Add([]byte("[sheet]\nu = 1"))
	f.Fuzz(func(t *testing.T, data []byte) {
		checks, err := ParseSheets(data, "s.toml")
		if err != nil {
			return
		}
		text, err := FormatSheets(checks)
		if err != nil {
			t.Fatal(err)
		}
		again, err := ParseSheets(text, "again.toml")
		if err != nil || !slices.Equal(again, checks) {
			t.Errorf("%+v is read back as %+v, %v", checks, again, err)
		}
	})
}
