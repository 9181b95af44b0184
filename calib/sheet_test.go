package calib

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// fullSheet is a page with as many tags as it holds.
func fullSheet(t *testing.T, paper string) *Sheet {
	t.Helper()
	var bearings []string
	for i := range 24 {
		bearings = append(bearings, fmt.Sprintf("MAIN%d", i))
	}
	return newTestSheet(t, paper, bearings...)
}

func TestSheetHoldsWhatWasAsked(t *testing.T) {
	for _, c := range []struct {
		bearings []string
		small    int
	}{{nil, 8}, {[]string{"M1", "M2", "BE1"}, 3}} {
		s := newTestSheet(t, "a4", c.bearings...)
		if s.Cards[0].Layout.Name != "bench" || len(s.Cards) != 1+c.small {
			t.Errorf("%v: %d cards, the first a %s", c.bearings, len(s.Cards), s.Cards[0].Layout.Name)
		}
		for i, name := range c.bearings {
			if card := s.Cards[1+i]; card.Layout.Name != "rider" || card.Bearing != name {
				t.Errorf("card %d is a %s of %q, want %q", 1+i, card.Layout.Name, card.Bearing, name)
			}
		}
	}
}

// Printers leave up to 8 mm white at the edges (common practice, no source).
func TestSheetKeepsItsMargins(t *testing.T) {
	for paper, size := range paperSizes {
		outlines, err := fullSheet(t, paper).Outlines()
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range outlines {
			b := outlineBox(o)
			if room := min(b.x0, b.y0, size[0]-b.x1, size[1]-b.y1); room < 8 {
				t.Errorf("%s: print %.2f mm from the edge: %+v", paper, room, b)
			}
		}
	}
}

// Nothing but a card's own print lies on it, and nothing lies on the check bars
// or within 5 mm beyond their ends, where a calliper's jaws go.
func TestSheetKeepsElementsApart(t *testing.T) {
	for paper := range paperSizes {
		s := fullSheet(t, paper)
		kept := map[string]box{} // ground that is nobody else's
		loose := map[string]box{}
		for i, c := range s.Cards {
			w, h := c.Layout.Width/2, c.Layout.Height/2
			kept["card "+c.Bearing] = box{c.Centre.X - w, c.Centre.Y - h, c.Centre.X + w, c.Centre.Y + h}
			for j, tick := range c.ticks() {
				loose[fmt.Sprintf("tick %d of card %d", j, i)] = outlineBox(tick)
			}
		}
		for _, b := range s.CheckBars {
			ground := outlineBox(b.outline()).grown(5, 0)
			if b.Name == "down" {
				ground = outlineBox(b.outline()).grown(0, 5)
			}
			kept["bar "+b.Name] = ground
		}
		for _, n := range s.Notes {
			o, err := n.outline()
			if err != nil {
				t.Fatal(err)
			}
			loose[n.Text] = outlineBox(o)
		}
		for name, ground := range kept {
			for other, b := range kept {
				if name != other && ground.overlaps(b) {
					t.Errorf("%s: %q overlaps %q", paper, name, other)
				}
			}
			for other, b := range loose {
				if ground.overlaps(b) {
					t.Errorf("%s: %q stands on %q", paper, other, name)
				}
			}
		}
		for name, a := range loose {
			for other, b := range loose {
				if name != other && a.overlaps(b) {
					t.Errorf("%s: %q overlaps %q", paper, name, other)
				}
			}
		}
	}
}

func outlineBox(o Outline) box {
	b := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, ring := range o.Rings {
		for _, q := range ring {
			b = box{min(b.x0, q.X), min(b.y0, q.Y), max(b.x1, q.X), max(b.y1, q.Y)}
		}
	}
	return b
}

func TestNewSheetRefuses(t *testing.T) {
	many := strings.Split(strings.Repeat("M,", 24)+"M", ",")
	for _, c := range []struct {
		paper, serial string
		bearings      []string
		says          string
	}{
		{"a3", testSerial, nil, "unknown paper"},
		{"a4", "A7X4N3", nil, "check character"},
		{"a4", testSerial, many, "25 bearings"},
		{"a4", testSerial, []string{"M1", "M1"}, "twice"},
		{"a4", testSerial, []string{"M1", ""}, "empty"},
		{"a4", testSerial, []string{"m1"}, `'m'`},
		{"a4", testSerial, []string{"MAIN BEARING"}, "too long for its place"},
	} {
		if s, err := NewSheet(c.paper, c.serial, c.bearings); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("NewSheet(%q, %q, %q) = %v, %v; want an error with %q", c.paper, c.serial, c.bearings, s, err, c.says)
		}
	}
	if _, err := NewCard(Bench(), testSerial, "M1"); err == nil || !strings.Contains(err.Error(), "bench card") {
		t.Errorf("a bench card took a bearing: %v", err)
	}
}

func TestWritePNGRefusesResolutions(t *testing.T) {
	s := newTestSheet(t, "a4")
	for _, dpi := range []int{0, -600, 149, 2401} {
		var b bytes.Buffer
		if err := s.WritePNG(&b, dpi); err == nil || b.Len() > 0 {
			t.Errorf("%d dpi: wrote %d bytes, %v", dpi, b.Len(), err)
		}
	}
}

// The file states the resolution it is drawn at, within half a pixel per metre.
func TestPNGStatesItsResolution(t *testing.T) {
	s, err := NewCard(Rider(), testSerial, "")
	if err != nil {
		t.Fatal(err)
	}
	for _, dpi := range []int{150, 300, 600, 1200, 2400} {
		r := drawnPNG(t, s, dpi)
		if math.Abs(r.scale*1000-float64(dpi)/0.0254) > 0.5 || r.scale != PixelsPerMM(dpi) {
			t.Errorf("%d dpi: file states %g pixels a mm", dpi, r.scale)
		}
		if b := r.grey.Bounds(); b.Dx() != int(math.Round(24*r.scale)) || b.Dy() != int(math.Round(12*r.scale)) {
			t.Errorf("%d dpi: %v", dpi, b)
		}
	}
}

// A drawing in bands is the same as one in a single piece: the same page moved by
// whole pixels crosses the bands elsewhere and must not change.
func TestBandsLeaveNoTrace(t *testing.T) {
	outlines, err := newTestSheet(t, "a4").Outlines()
	if err != nil {
		t.Fatal(err)
	}
	const scale, shift = 8, 4 // pixels per mm, mm: 32 pixels, half a band
	moved := make([]Outline, len(outlines))
	for i, o := range outlines {
		for _, ring := range o.Rings {
			var r []SheetPoint
			for _, p := range ring {
				r = append(r, SheetPoint{p.X, p.Y + shift})
			}
			moved[i].Rings = append(moved[i].Rings, r)
		}
	}
	a, b := newBands(outlines, scale, 210*scale, 280*scale), newBands(moved, scale, 210*scale, 297*scale)
	worst := 0
	for y := range 280 * scale {
		there := b.row(y + shift*scale)
		for x, k := range a.row(y) {
			worst = max(worst, abs(int(k)-int(there[x])))
		}
	}
	if worst > 1 { // rounding of coordinates
		t.Errorf("bands differ by %d levels", worst)
	}
}

// ISO 32000-1 12.2: PrintScaling None asks the print dialog for actual size.
func TestPDFForPrinting(t *testing.T) {
	var b bytes.Buffer
	if err := newTestSheet(t, "a4").WritePDF(&b); err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(b.Bytes(), []byte("/PrintScaling /None")) {
		t.Error("the PDF does not ask for actual size")
	}
	tool, err := exec.LookPath("pdfinfo")
	if err != nil {
		t.Skip("pdfinfo (Debian poppler-utils) is not installed")
	}
	for paper, size := range paperSizes {
		path := filepath.Join(t.TempDir(), "page.pdf")
		writeTo(t, path, newTestSheet(t, paper).WritePDF)
		out, err := exec.Command(tool, path).CombinedOutput()
		if err != nil || bytes.Contains(out, []byte("rror")) {
			t.Fatalf("pdfinfo: %v: %s", err, out)
		}
		m := regexp.MustCompile(`Page size: +([0-9.]+) x ([0-9.]+) pts`).FindSubmatch(out)
		if m == nil {
			t.Fatalf("pdfinfo says no page size: %s", out)
		}
		for i := range 2 {
			points, err := strconv.ParseFloat(string(m[1+i]), 64)
			if mm := points * 25.4 / 72; err != nil || math.Abs(mm-size[i]) > 0.001 { // pdfinfo prints six digits
				t.Errorf("%s: side %d is %s points, %.4f mm, want %g", paper, i, m[1+i], mm, size[i])
			}
		}
	}
}

// What the placements file says is where the ink is.
func TestPlacementsPointAtTheInk(t *testing.T) {
	s := newTestSheet(t, "letter", "M1", "M2")
	var b bytes.Buffer
	if err := s.WritePlacements(&b); err != nil {
		t.Fatal(err)
	}
	var file struct {
		Schema int
		Serial string
		Bars   []struct {
			Length float64    `json:"length_mm"`
			From   [2]float64 `json:"from_sheet_mm"`
			To     [2]float64 `json:"to_sheet_mm"`
		} `json:"check_bars"`
		Cards []struct {
			Layout, Bearing string
			Marks           []struct {
				Code   int
				Centre struct {
					Sheet [2]float64 `json:"sheet_mm"`
				}
			}
			Code struct{ Text string }
		}
	}
	if err := json.Unmarshal(b.Bytes(), &file); err != nil {
		t.Fatal(err)
	}
	if file.Schema != 1 || file.Serial != testSerial || len(file.Cards) != 3 || len(file.Bars) != 2 {
		t.Fatalf("file says %+v", file)
	}
	if got := file.Cards[2].Code.Text; got != testSerial+"/M2" {
		t.Errorf("the second tag's code says %q", got)
	}
	for _, bar := range file.Bars {
		if d := math.Hypot(bar.To[0]-bar.From[0], bar.To[1]-bar.From[1]); math.Abs(d-bar.Length) > slack {
			t.Errorf("a check bar of %g mm has its ends %g mm apart", bar.Length, d)
		}
	}
	r := drawnPNG(t, s, 300)
	reaches := map[string]float64{"bench": 3.1, "rider": 2.05} // mm, just round the teeth
	for _, card := range file.Cards {
		reach := reaches[card.Layout]
		if len(card.Marks) != 6 {
			t.Errorf("%s has %d marks", card.Layout, len(card.Marks))
		}
		for _, m := range card.Marks {
			x, y := m.Centre.Sheet[0], m.Centre.Sheet[1]
			// A tenth of a pixel at 300 dpi.
			if c := r.centroid(x-reach, y-reach, x+reach, y+reach); !(math.Hypot(c.X-x, c.Y-y) < 0.0085) {
				t.Errorf("%s mark %d: ink is centred on %v, not %g, %g", card.Layout, m.Code, c, x, y)
			}
		}
	}
}

// full is a writer that takes some bytes and then fails.
type full struct{ room int }

var errFull = errors.New("full")

func (f *full) Write(p []byte) (int, error) {
	if f.room -= len(p); f.room < 0 {
		return 0, errFull
	}
	return len(p), nil
}

func TestWritersReportTheirWriter(t *testing.T) {
	s := newTestSheet(t, "a4")
	for name, write := range map[string]func(io.Writer) error{
		"pdf": s.WritePDF, "svg": s.WriteSVG, "json": s.WritePlacements,
		"png": func(w io.Writer) error { return s.WritePNG(w, 300) },
	} {
		for _, room := range []int{0, 50, 1000} {
			if err := write(&full{room}); !errors.Is(err, errFull) {
				t.Errorf("%s with room for %d bytes: %v", name, room, err)
			}
		}
	}
}

func BenchmarkWriters(b *testing.B) {
	s, err := NewSheet("a4", testSerial, nil)
	if err != nil {
		b.Fatal(err)
	}
	for name, write := range map[string]func(io.Writer) error{
		"pdf": s.WritePDF, "svg": s.WriteSVG,
		"png600": func(w io.Writer) error { return s.WritePNG(w, 600) },
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if err := write(io.Discard); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
