package strictfile

import (
	"strings"
	"testing"
)

type document struct {
	Name  string `toml:"name"`
	Steps []struct {
		What string `toml:"what"`
		Done bool   `toml:"done"`
	} `toml:"steps"`
	Group []struct {
		Name    string `toml:"name"`
		Bearing []struct {
			Name string   `toml:"name"`
			At   []string `toml:"at"`
		} `toml:"bearing"`
		Bore struct {
			Size string `toml:"size"`
		} `toml:"bore"`
	} `toml:"group"`
}

const good = `name = "x"
steps = [
  { what = "clean", done = true },
  # between
  { what = "dry", done = false },
]
[[group]]
name = "a"
[[group.bearing]]
name = "a1"
[[group.bearing]]
  name = "a2"
  at = ["0 deg",
        "90 deg"]
[[group]]
name = "b"
bore.size = "1 mm"
[[group.bearing]]
name = "b1"
`

var format = Format{What: "a file of the test", MaxBytes: 1000, Quoted: true}

func TestPlaces(t *testing.T) {
	var d document
	at, err := format.Decode([]byte(good), "f.toml", &d)
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Group) != 2 || len(d.Group[0].Bearing) != 2 || d.Group[1].Bearing[0].Name != "b1" {
		t.Fatalf("decoded %+v", d)
	}
	for _, c := range []struct {
		path []any
		want string
		has  bool
	}{
		{[]any{"name"}, "f.toml:1:1", true},
		{[]any{"steps", 0, "what"}, "f.toml:3:5", true},
		{[]any{"steps", 1, "done"}, "f.toml:5:19", true},
		{[]any{"group", 0, "name"}, "f.toml:8:1", true},
		{[]any{"group", 0, "bearing", 1, "name"}, "f.toml:12:3", true},
		{[]any{"group", 0, "bearing", 1, "at", 1}, "f.toml:14:9", true},
		{[]any{"group", 1}, "f.toml:15:3", true},
		{[]any{"group", 1, "bore", "size"}, "f.toml:17:1", true},
		{[]any{"group", 1, "bearing", 0, "name"}, "f.toml:19:1", true},
		// What is missing is told by what holds it.
		{[]any{"group", 1, "bearing", 0, "at"}, "f.toml:18:3", false},
		{[]any{"group", 1, "limits"}, "f.toml:15:3", false},
		{[]any{"nothing"}, "f.toml", false},
	} {
		if got := at.Of(c.path...); got != c.want {
			t.Errorf("%v: at %s, want %s", c.path, got, c.want)
		}
		if got := at.Has(c.path...); got != c.has {
			t.Errorf("%v: has %v", c.path, got)
		}
	}
}

// TestWrittenElsewhere: what editors on other systems add is no fault, and moves no
// place.
func TestWrittenElsewhere(t *testing.T) {
	var d document
	at, err := format.Decode([]byte("\xef\xbb\xbf"+strings.ReplaceAll(good, "\n", "\r\n")), "f.toml", &d)
	if err != nil {
		t.Fatal(err)
	}
	if a, b := at.Of("name"), at.Of("group", 0, "bearing", 1, "name"); a != "f.toml:1:1" || b != "f.toml:12:3" || d.Group[1].Name != "b" {
		t.Errorf("%s, %s, %+v", a, b, d)
	}
}

func TestRefused(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"unknown key", "name = \"x\"\n[[group]]\nnam = \"y\"\n", "f.toml:3:1: unknown key group.nam"},
		{"unknown inline key", "steps = [\n {wat = \"x\"}]\n", "f.toml:2:3: unknown key wat"},
		{"repeated key", "name = \"x\"\nname = \"y\"\n", "f.toml:2:1: "},
		{"syntax", "name = \"x\n", "f.toml:1:"},
		{"bare number", "[[group]]\n\n name = 5\n", "f.toml:3:2: name: write the figure in quotes and with its unit"},
		{"bare number deep down", "[[group]]\n[[group.bearing]]\nat = [\"0 deg\",\n 90.5]\n", "f.toml:4:2: at: write the figure in quotes"},
		{"wrong type", "name = true\n", "f.toml:1:"},
		{"too long", strings.Repeat("#", 1001), "f.toml: 1001 bytes; a file of the test is at most 1000"},
	} {
		var d document
		_, err := format.Decode([]byte(c.text), "f.toml", &d)
		if err == nil || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", c.name, err, c.want)
		}
	}
}

// FuzzDecode: whatever the bytes, an error or a document, and an error that names
// the file.
func FuzzDecode(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte("a=[[[[[[[[[[[[1]]]]]]]]]]]]"))
	f.Add([]byte("[a.b.c]\n[[a]]\nx.y={z=[{}]}"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var d document
		if _, err := format.Decode(data, "f.toml", &d); err != nil && !strings.HasPrefix(err.Error(), "f.toml") {
			t.Errorf("%v", err)
		}
	})
}
