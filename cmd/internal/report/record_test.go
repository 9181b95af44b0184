package report

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"
)

// fixedRecord is a made-up build with every state a bearing can be in.
func fixedRecord() Record {
	newLimits := func(m Mark, word, detail string) *RecordVerdict {
		return &RecordVerdict{m, word, detail, ptr(0.030), ptr(0.056)}
	}
	service := func(m Mark, word string) *RecordVerdict {
		return &RecordVerdict{m, word, "", nil, ptr(0.070)}
	}
	figure := func(mm, expanded float64) *RecordFigure { return &RecordFigure{mm, expanded} }
	first, second := fixedReading(2, 1, 0.0415, 0.0182), fixedReading(3, 2, 0.0411, 0.0167)
	first.Picture = fixedPicture()
	second.Missing = "photos/second.jpg is gone"
	back := fixedReading(6, 1, 0.0501, 0.0004)
	back.Set = "withdrawn: the shaft was turned"
	en := -1.84
	return Record{
		Build: "Four-cylinder, made up", Note: "a test", By: "nobody", Coverage: 2,
		Date:       time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC),
		TaperLimit: 0.0127, Doubts: []string{"Mains, limits_new: a slip?"},
		Strips: []string{"0.025 to 0.076 mm"}, Room: "20 °C",
		Groups: []RecordGroup{{Name: "main", Bearings: []string{"M1", "M2", "M3", "M4", "M5"},
			New: "0.030..0.056 mm (1.18..2.20 thou)", Service: "..0.070 mm (..2.76 thou)",
			Torque: "30 N m (22.1 lbf ft), 60 N m (44.3 lbf ft), then 45°", BoltNote: "bolts may be used twice"}},
		Hints:       []string{"The shells of M3 and M5 explain the readings 40 times better if swapped."},
		Preparation: []RecordTick{{"parts clean and dry", true}, {"room at 18 to 21 degC", false}},
		Unplaced: []RecordRefusal{{Photos: []string{"photos/dark.jpg"}, Message: "no card is seen in the photo",
			Remedy: "lay the card beside the strip"}},
		Bearings: []RecordBearing{
			{Name: "M1", Group: "main", State: MarkGood, StateWord: "in order", Next: "Nothing more.",
				Clearance: figure(0.0426, 0.0010), Taper: figure(0.0020, 0.0007),
				New: newLimits(MarkGood, "inside", ""), Service: service(MarkGood, "inside"),
				Readings: []RecordReading{fixedReading(1, 1, 0.0426, 0.0020)},
				Parts: &RecordParts{Bore: RecordFigure{59.02, 0.004}, Wall: RecordFigure{1.988, 0.002},
					Journal: RecordFigure{54.999, 0.004}, Predicted: RecordFigure{0.045, 0.007}, En: ptr(-0.34)}},
			{Name: "M2", Group: "main", State: MarkWatch, StateWord: "tapered", Next: "See the grinder.",
				Clearance: figure(0.0413, 0.0009), Taper: figure(0.0167, 0.0008), TaperWord: "confirmed",
				New: newLimits(MarkGood, "inside", ""), Service: service(MarkGood, "inside"),
				Readings: []RecordReading{first, second}, Notes: []string{"The second strip confirms the first."}},
			{Name: "M3", Group: "main", State: MarkBad, StateWord: "too loose", Next: "Fit other shells.",
				Clearance: figure(0.0634, 0.0018), Taper: figure(-0.0022, 0.0017),
				New: newLimits(MarkBad, "outside", "too large"), Service: service(MarkGood, "inside"),
				Readings: []RecordReading{fixedReading(4, 1, 0.0634, -0.0022)},
				Parts: &RecordParts{Bore: RecordFigure{59.02, 0.004}, Wall: RecordFigure{1.988, 0.002},
					Journal: RecordFigure{54.968, 0.004}, Predicted: RecordFigure{0.076, 0.007}, En: &en},
				Refused: []RecordRefusal{{Photos: []string{"photos/main3-first-try.jpg"}, Message: "the photo is not sharp",
					Remedy: "tap the strip to focus"}}},
			{Name: "<script>alert(1)</script>", Group: "main", State: MarkWatch, StateWord: "cannot tell", Next: "Read two photos.",
				Clearance: figure(0.0555, 0.0020), Taper: figure(0.0010, 0.0012),
				New: newLimits(MarkWatch, "cannot tell", "69 % likely inside"), Service: service(MarkGood, "inside"),
				Readings: []RecordReading{fixedReading(5, 1, 0.0555, 0.0010), back}},
			{Name: "M5", Group: "main", State: MarkMissing, StateWord: "not measured", Next: "Lay a strip and take a photo."},
		},
	}
}

// fixedReading has a straight profile of 17 stations, one dropped.
func fixedReading(number, strip int, mean, taper float64) RecordReading {
	r := RecordReading{Number: number, Strip: strip, Photos: []string{"photos/p.jpg"}, Lot: "thin",
		Clearance: RecordFigure{mean, 0.001}, Taper: RecordFigure{taper, 0.0008},
		Ends:   [2]RecordEnd{{"front", mean + taper/2}, {"rear", mean - taper/2}},
		Budget: []RecordTerm{{"edge noise", 0.00008, false}, {"strip section area", 0.00049, true}},
		Flags:  []string{"The sheet was never checked."}}
	if taper > 0.0127 {
		r.Flags = append(r.Flags, "The ends differ.")
	}
	for i := range 17 {
		at := float64(8 - i)
		r.Profile = append(r.Profile, RecordStation{At: at, MM: mean + taper*at/16, Half: 0.0011, Dropped: i == 11})
	}
	return r
}

// fixedPicture is a small picture, a gradient.
func fixedPicture() []byte {
	img := image.NewGray(image.Rect(0, 0, 64, 40))
	for y := range 40 {
		for x := range 64 {
			img.Set(x, y, color.Gray{uint8(4 * x)})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		panic(err)
	}
	return b.Bytes()
}

func recordText(t *testing.T, r Record) string {
	t.Helper()
	var b strings.Builder
	if err := HTML(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestRecordGolden(t *testing.T) {
	golden(t, "record.html", recordText(t, fixedRecord()))
}

// walk calls f for every element of the page.
func walk(n *html.Node, f func(*html.Node)) {
	if n.Type == html.ElementNode {
		f(n)
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		walk(c, f)
	}
}

func attribute(n *html.Node, key string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val, true
		}
	}
	return "", false
}

// words is an element's text.
func words(n *html.Node) string {
	var b strings.Builder
	var read func(*html.Node)
	read = func(n *html.Node) {
		if n.Type == html.TextNode {
			b.WriteString(n.Data + " ")
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			read(c)
		}
	}
	read(n)
	return strings.Join(strings.Fields(b.String()), " ")
}

// TestRecordStandsAlone checks that the page runs nothing and fetches nothing.
func TestRecordStandsAlone(t *testing.T) {
	text := recordText(t, fixedRecord())
	doc, err := html.Parse(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	pictures := 0
	walk(doc, func(n *html.Node) {
		switch n.Data {
		case "script", "iframe", "object", "embed", "base", "form":
			t.Errorf("the page has a <%s>", n.Data)
		case "link":
			t.Error("the page links another file")
		}
		for _, a := range n.Attr {
			if strings.HasPrefix(a.Key, "on") {
				t.Errorf("%s has %s", n.Data, a.Key)
			}
			local := strings.HasPrefix(a.Val, "#") || strings.HasPrefix(a.Val, "data:image/jpeg;base64,")
			if (a.Key == "src" || a.Key == "href" || a.Key == "srcset") && !local {
				t.Errorf("%s points to %q", n.Data, a.Val)
			}
			if a.Key == "src" {
				pictures++
			}
		}
	})
	if pictures != 1 {
		t.Errorf("%d pictures, want that of the one reading that has one", pictures)
	}
	for _, bad := range []string{"@import", "url(", "ZgotmplZ", "<no value>", "%!"} {
		if strings.Contains(text, bad) {
			t.Errorf("the page contains %q", bad)
		}
	}
}

// TestRecordEscapes puts markup into every string of a record.
func TestRecordEscapes(t *testing.T) {
	const bad = `Demo: a\b
</style></title></svg>"'<script>alert(1)</script>`
	r := fixedRecord()
	r.Build, r.Note, r.By, r.Room = bad, bad, bad, bad
	r.Strips, r.Hints, r.Sheets, r.Doubts = []string{bad}, []string{bad}, []string{bad}, []string{bad}
	r.Preparation = []RecordTick{{bad, false}}
	r.Groups[0] = RecordGroup{bad, []string{bad}, bad, bad, bad, bad}
	r.Unplaced = []RecordRefusal{{Photos: []string{bad}, Message: bad, Remedy: bad}}
	for i := range r.Bearings {
		b := &r.Bearings[i]
		b.Name, b.Group, b.Note, b.StateWord, b.Next, b.TaperWord, b.Notes = bad, bad, bad, bad, bad, bad, []string{bad}
		if b.New != nil {
			b.New.Word, b.New.Detail = bad, bad
		}
		b.Positions = []RecordPosition{{bad, nil}}
		b.Refused = r.Unplaced
		for j := range b.Readings {
			x := &b.Readings[j]
			x.Position, x.Photos, x.Lot, x.Missing, x.Set = bad, []string{bad}, bad, bad, bad
			x.Ends[0].Name, x.Ends[1].Name, x.Budget[0].Name = bad, bad, bad
		}
	}
	text := recordText(t, r)
	doc, err := html.Parse(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(text, "ZgotmplZ") {
		t.Error("a part was left out instead of escaped")
	}
	seen := 0
	walk(doc, func(n *html.Node) {
		if n.Data == "script" {
			t.Error("a script got into the page")
		}
		if n.Data == "h1" || n.Data == "title" {
			seen++
			if !strings.Contains(words(n), `"'<script>alert(1)</script>`) {
				t.Errorf("%s: the name reads %q", n.Data, words(n))
			}
		}
	})
	if seen < 2 {
		t.Error("no title and heading found")
	}
}

// TestRecordAccessible checks what a screen reader and a keyboard need.
func TestRecordAccessible(t *testing.T) {
	doc, err := html.Parse(strings.NewReader(recordText(t, fixedRecord())))
	if err != nil {
		t.Fatal(err)
	}
	ids := map[string]int{}
	level := 0
	walk(doc, func(n *html.Node) {
		if id, ok := attribute(n, "id"); ok {
			ids[id]++
		}
		switch n.Data {
		case "html":
			if lang, _ := attribute(n, "lang"); lang != "en" {
				t.Errorf("language %q", lang)
			}
		case "img":
			if alt, _ := attribute(n, "alt"); alt == "" {
				t.Error("a picture without words")
			}
		case "svg":
			_, hidden := attribute(n, "aria-hidden")
			label, _ := attribute(n, "aria-label")
			if !hidden && label == "" {
				t.Error("a drawing without words")
			}
		case "th":
			if scope, _ := attribute(n, "scope"); scope == "" {
				t.Errorf("table head %q has no scope", words(n))
			}
		case "h1", "h2", "h3", "h4":
			now := int(n.Data[1] - '0')
			if now > level+1 {
				t.Errorf("heading %q jumps from level %d to %d", words(n), level, now)
			}
			level = now
		case "input":
			if n.Parent.Data != "label" {
				t.Error("a box to tick without a label")
			}
		}
	})
	walk(doc, func(n *html.Node) {
		for _, key := range []string{"aria-labelledby", "href"} {
			v, ok := attribute(n, key)
			if target := strings.TrimPrefix(v, "#"); ok && ids[target] != 1 {
				t.Errorf("%s of %s points to %q, which is there %d times", key, n.Data, v, ids[target])
			}
		}
	})
}

// TestRecordContrast computes the contrast of every text colour on every ground
// it is used on by the formula of WCAG 2.2 (relative luminance, contrast ratio);
// level AA asks for 4.5.
func TestRecordContrast(t *testing.T) {
	colour := map[string]string{}
	for line := range strings.Lines(recordStyle) {
		if name, value, ok := strings.Cut(strings.TrimSpace(line), ": #"); ok && strings.HasPrefix(name, "--") {
			colour[name[2:]] = strings.TrimSuffix(value, ";")
		}
	}
	luminance := func(hex string) (sum float64) {
		for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
			var v int
			for _, c := range hex[2*i : 2*i+2] {
				v = 16*v + strings.IndexRune("0123456789abcdef", c)
			}
			c := float64(v) / 255
			if c <= 0.04045 {
				c /= 12.92
			} else {
				c = math.Pow((c+0.055)/1.055, 2.4)
			}
			sum += weight * c
		}
		return sum
	}
	colour["white"] = "ffffff"
	for _, text := range []string{"ink", "soft"} {
		for _, ground := range []string{"white", "good", "watch", "bad"} {
			a, b := colour[text], colour[ground]
			if a == "" || b == "" {
				t.Fatalf("no colour %s or %s", text, ground)
			}
			if ratio := (luminance(b) + 0.05) / (luminance(a) + 0.05); ratio < 4.5 {
				t.Errorf("%s on %s: contrast %.2f, want 4.5", text, ground, ratio)
			}
		}
	}
}

// TestRecordPictures checks that a broken picture is told and a large one shrunk.
func TestRecordPictures(t *testing.T) {
	r := fixedRecord()
	r.Bearings[0].Readings[0].Picture = []byte("no picture")
	if text := recordText(t, r); !strings.Contains(text, "the picture cannot be shown") {
		t.Error("a broken picture is not told")
	}
	img := image.NewGray(image.Rect(0, 0, 3000, 2000))
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	source, err := dataURI(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if len(source) > 20000 {
		t.Errorf("a plain picture takes %d bytes", len(source))
	}
}
