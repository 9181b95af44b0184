package build

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"stripgap/calib/quantity"
)

// anyName stands for the check of a tag's code, which refuses a percent sign.
func anyName(name string) error {
	if strings.Contains(name, "%") {
		return fmt.Errorf("%q cannot be on a tag", name)
	}
	return nil
}

// full is a build with everything in it. Its figures are invented.
const full = `name = "invented"
temperature = "68 degF"
strip_lot = "thin"
preparation = [
  { done = true, what = "clean" },
  { done = false, what = "dry" },
]
[[group]]
name = "mains"
kind = "mains"
limits_new = "0.020..0.051 mm"
limits_new_also = "0.0008..0.0020 in"
limits_service = "..0.070 mm"
strip_on = "shell"
journal_diameter = "55 mm"
positions = ["0 deg", "60 deg", "120 deg"]
torque = ["20 N m", "48 lbf ft"]
angle = ["90 deg"]
bore_u = "0.003 mm"
journal_u = "0.002 mm"
[[group.bearing]]
name = "M1"
bore = "59.045 mm"
shell_wall = "2.000 mm"
shell_wall_u = "0.001 mm"
journal = "55.005 mm"
[[group.bearing]]
name = "M2"
bore = "55.040 mm"
bore_u = "0.004 mm"
journal = "55.000 mm"
[[group]]
name = "big ends"
strip_lot = "thick"
strip_file = "lots.toml"
[[group.bearing]]
name = "ROD 1"
note = "reground"
`

func TestParse(t *testing.T) {
	b, err := Parse([]byte(full), "build.toml", anyName)
	if err != nil {
		t.Fatal(err)
	}
	// 68 degF is 20 degC exactly.
	if b.Name != "invented" || math.Abs(*b.Temperature-20) > 1e-12 || b.TaperLimit != 0.0127 || b.Coverage != 2 {
		t.Errorf("%+v", b)
	}
	if len(b.Preparation) != 2 || !b.Preparation[0].Done || b.Preparation[1].What != "dry" {
		t.Errorf("preparation %+v", b.Preparation)
	}
	g := b.Groups[0]
	// Both figures round to one another; the finer printed is kept: 0.001 mm against
	// 0.0001 in = 0.00254 mm.
	if g.New.Lo != 0.020 || g.New.Hi != 0.051 || !math.IsInf(g.Service.Lo, -1) || len(g.New.Printed) != 2 {
		t.Errorf("limits %+v %+v", g.New, g.Service)
	}
	if g.Diameter != 55 || g.On != OnShell || !slices.Equal(g.Positions, []float64{0, 60, 120}) {
		t.Errorf("%+v", g)
	}
	// By the exact factor 1.3558179483314004: 20 N m is 14.751 lbf ft, 48 lbf ft is
	// 65.079 N m.
	if !slices.Equal(g.Torque, []string{"20 N m (14.8 lbf ft)", "65.08 N m (48 lbf ft)"}) || !slices.Equal(g.Angle, []string{"90 deg"}) {
		t.Errorf("%q %q", g.Torque, g.Angle)
	}
	p := g.Bearings[0].Parts
	if p == nil || p.Bore != (quantity.Value{X: 59.045, U: 0.003}) || p.Wall != (quantity.Value{X: 2, U: 0.001}) || p.Journal != (quantity.Value{X: 55.005, U: 0.002}) {
		t.Errorf("parts %+v", p)
	}
	if p := g.Bearings[1].Parts; p == nil || p.Bore.U != 0.004 || p.Wall != (quantity.Value{}) {
		t.Errorf("a bore over the shells: %+v", p)
	}
	if got := b.StripOf(&b.Groups[0]); got != (Strip{Lot: "thin"}) {
		t.Errorf("strip %+v", got)
	}
	if got := b.StripOf(&b.Groups[1]); got != (Strip{"thick", "lots.toml"}) {
		t.Errorf("strip %+v", got)
	}
	if got := b.Names(); !slices.Equal(got, []string{"M1", "M2", "ROD 1"}) {
		t.Errorf("%q", got)
	}
	if len(b.Doubts) != 0 {
		t.Errorf("doubts %q", b.Doubts)
	}
	if _, _, ok := b.Find("M3"); ok {
		t.Error("M3 is found")
	}
}

// TestParseRefuses changes one line of the full build at a time.
func TestParseRefuses(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{`name = "invented"`, `nam = "invented"`, `:1:1: unknown key nam`},
		{`kind = "mains"`, `kind = "main"`, `:10:1: kind: "main": must be "mains", "big ends" or "other"`},
		{`strip_on = "shell"`, `strip_on = "bench"`, `:14:1: strip_on: "bench": must be`},
		{`limits_service = "..0.070 mm"`, `limits_service = "..0.070"`, `:13:1: limits_service: limits "..0.070": upper: length "0.070": no unit`},
		{`limits_service = "..0.070 mm"`, `limits_service = 0.070`, `:13:1: limits_service: write the figure in quotes and with its unit`},
		{`"0.020..0.051 mm"`, `"0.051..0.020 mm"`, `:11:1: limits_new: `},
		{`limits_service = "..0.070 mm"`, `limits_service = "0.070..0.020 mm"`, `:13:1: limits_service: limits "0.070..0.020 mm": reversed`},
		{`limits_service = "..0.070 mm"`, `limits_service = "..0.040 mm"`, `:13:1: limits_service: service limits ..0.0400 mm are tighter`},
		{`"0.0008..0.0020 in"`, `"0.0008..0.020 in"`, `:11:1: limits_new: limits "0.020..0.051 mm" and "0.0008..0.020 in": upper: `},
		{`limits_new = "0.020..0.051 mm"`, ``, `:12:1: limits_new_also: stands alone`},
		{`journal_diameter = "55 mm"`, `journal_diameter = "55 in"`, `:15:1: journal_diameter: "55 in" is 1397 mm`},
		{`strip_on = "shell"`, `strip_on = "flat"`, `:15:1: journal_diameter: a flat surface`},
		{`"60 deg"`, `"180 deg"`, `:16:23: positions: "180 deg" is the same diameter as 0 deg`},
		{`"60 deg"`, `"60"`, `:16:23: positions: angle "60": no unit`},
		{`"60 deg"`, `"6o deg"`, `:16:23: positions: angle "6o deg": not a decimal`},
		{`"60 deg"`, `"1..2 deg"`, `:16:23: positions: angle "1..2 deg": not a decimal`},
		{`"60 deg"`, `"360 deg"`, `:16:23: positions: "360 deg": must be`},
		{`"20 N m"`, `"20"`, `:17:1: torque: torque "20": no unit`},
		{`"48 lbf ft"`, `"48 kg"`, `:17:21: torque: `},
		{`angle = ["90 deg"]`, `angle = ["0 deg"]`, `:18:1: angle: "0 deg": must be more than 0`},
		{`temperature = "68 degF"`, `temperature = "68 degC"`, `:2:1: temperature: "68 degC" is not a temperature`},
		{`what = "dry"`, `what = " "`, `:6:19: what: empty`},
		{`name = "M2"`, `name = "M1"`, `:28:1: name: a bearing M1 stands above`},
		{`name = "M2"`, `name = "m-1"`, `:28:1: name: m-1 and M1 above are one name`},
		{`name = "M2"`, `name = "+"`, `:28:1: name: "+" has neither letter nor digit`},
		{`name = "M2"`, `name = "M%"`, `:28:1: name: "M%" cannot be on a tag`},
		{`name = "M2"`, ``, `:27:3: name: missing`},
		{`name = "ROD 1"`, `name = "m 2"`, `:37:1: name: m 2 and M2 above`},
		{`name = "big ends"`, `name = "mains"`, `:33:1: name: a group "mains" stands above`},
		{`name = "big ends"`, ``, `:32:3: name: missing`},
		{`bore_u = "0.003 mm"`, ``, `:21:3: bore_u: missing`},
		{`bore_u = "0.004 mm"`, `bore_u = "0.004 in"`, ``}, // large, but a hundredth is larger
		{`bore_u = "0.004 mm"`, `bore_u = "4 mm"`, `:30:1: bore_u: 4 mm is more than a hundredth`},
		{`bore = "59.045 mm"`, `bore = "59.045"`, `:23:1: bore: length "59.045": no unit`},
		{`bore = "59.045 mm"`, `bore = "-59.045 mm"`, `:23:1: bore: "-59.045 mm" is not positive`},
		{`shell_wall = "2.000 mm"`, ``, `:21:3: shell_wall: missing beside its uncertainty`},
	} {
		if strings.Count(full, c.from) != 1 {
			t.Fatalf("%q stands %d times", c.from, strings.Count(full, c.from))
		}
		_, err := Parse([]byte(strings.Replace(full, c.from, c.to, 1)), "build.toml", anyName)
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: %v", c.to, err)
		case c.want != "" && (err == nil || !strings.HasPrefix(err.Error(), "build.toml"+c.want)):
			t.Errorf("%s for %s:\n got %v\nwant build.toml%s", c.to, c.from, err, c.want)
		}
	}
	for text, want := range map[string]string{
		"":                              "build.toml: no bearings",
		"[[group]]\nname = \"mains\"\n": `build.toml:1:3: group "mains" has no bearings`,
	} {
		if _, err := Parse([]byte(text), "build.toml", anyName); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// TestParseDoubts: what may be so is kept, and told.
func TestParseDoubts(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{`temperature = "68 degF"`, `temperature = "12 degC"`, "the parts are at 12.0 degC"},
		{`limits_service = "..0.070 mm"`, `limits_service = "..0.070 in"`, "mains, limits_service: the upper limit 1.7780 mm"},
		{`bore = "59.045 mm"`, `bore = "69.045 mm"`, "M1: bore less two shell walls less journal is 10.040 mm"},
		{`journal = "55.000 mm"`, ``, "M2: bore and journal are not both measured yet"},
	} {
		b, err := Parse([]byte(strings.Replace(full, c.from, c.to, 1)), "build.toml", anyName)
		if err != nil || len(b.Doubts) != 1 || !strings.HasPrefix(b.Doubts[0], c.want) {
			t.Errorf("%s: %v, %v", c.to, b, err)
		}
	}
}

// TestNewFile: the file as it is written is a build, and so it is when every
// example in it is used.
func TestNewFile(t *testing.T) {
	for _, o := range []Outline{
		{Name: "bench \"A\"", Mains: 5, BigEnds: 4},
		{Mains: 3, Lot: "thin"},
		{BigEnds: 24, Lot: "a", LotFile: "lots.toml"},
	} {
		text, err := NewFile(o)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Parse(text, "build.toml", anyName)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if len(b.Names()) != o.Mains+o.BigEnds || b.Name != o.Name || b.Strip != (Strip{o.Lot, o.LotFile}) || len(b.Preparation) < 5 || len(b.Doubts) != 0 {
			t.Errorf("%+v", b)
		}
		example := regexp.MustCompile(`(?m)^# ([a-z_]+ = ["\[])`)
		used := example.ReplaceAll(text, []byte("$1"))
		if b, err = Parse(used, "build.toml", anyName); err != nil {
			t.Fatalf("with its examples: %v\n%s", err, used)
		}
		if len(b.Doubts) != 0 || b.Groups[0].New == nil || b.Groups[0].Bearings[0].Parts == nil || b.Groups[0].Diameter == 0 {
			t.Errorf("with its examples: %q %+v", b.Doubts, b.Groups[0])
		}
	}
	for _, o := range []Outline{{}, {Mains: -1}, {Mains: 25}, {Mains: 1, Name: "a\nb"}} {
		if text, err := NewFile(o); err == nil {
			t.Errorf("%+v gives %s", o, text)
		}
	}
}

// FuzzParse: whatever the bytes, an error that names the file, or a build whose
// bearings can be told apart.
func FuzzParse(f *testing.F) {
	f.Add([]byte(full))
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := Parse(data, "build.toml", anyName)
		if err != nil {
			if !strings.HasPrefix(err.Error(), "build.toml") {
				t.Error(err)
			}
			return
		}
		seen := map[string]bool{}
		for _, n := range b.Names() {
			if seen[Key(n)] {
				t.Error(errors.New("two bearings of one name"))
			}
			seen[Key(n)] = true
		}
	})
}
