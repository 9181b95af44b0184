package report

import (
	"bytes"
	_ "embed" // the template and its style are part of the program
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	"io"
	"math"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"

	"github.com/disintegration/imaging"

	"stripgap/calib/quantity"
)

//go:embed record.html
var recordTemplate string

//go:embed record.css
var recordStyle string

// recordPage is made when it is first needed: every start of the program would wait
// for it.
var recordPage = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("record").Funcs(recordFuncs).Parse(recordTemplate))
})

var recordFuncs = template.FuncMap{
	"mm":   func(f RecordFigure) string { return atDecimals(f, quantity.MM, 4) },
	"thou": func(f RecordFigure) string { return atDecimals(f, quantity.Thou, 2) },
	"plus": signed,
	"end4": func(mm float64) string { return fmt.Sprintf("%.4f", mm) },
	"date": func(t time.Time) string { return t.Format("2 January 2006") },
	"day":  func(t time.Time) string { return t.Format("2006-01-02") },
	"list": func(s []string) string { return strings.Join(s, ", ") },
	"en":   func(x *float64) string { return fmt.Sprintf("%.2f", *x) },
	"minus": func(a *RecordFigure, b RecordFigure) RecordFigure {
		return RecordFigure{a.MM - b.MM, math.Hypot(a.Expanded, b.Expanded)}
	},
	"within": func(en *float64) bool { return math.Abs(*en) <= 1 },
	"taperLimit": func(mm float64) string {
		return quantity.FormatLength(mm, quantity.MM, 4) + " (" + quantity.FormatLength(mm, quantity.Thou, 2) + ")"
	},
	"inCSS":    inCSS,
	"range2":   limitRange,
	"dict":     dict,
	"cautions": func() []string { return recordCautions },
	"lastLook": func() []string { return recordLastLook },
}

// HTML writes the record as one page that needs nothing else: no script, and every
// picture, plot and style in it. The same record gives the same bytes.
func HTML(w io.Writer, r Record) error {
	var b bytes.Buffer
	if err := recordPage().Execute(&b, pageOf(r)); err != nil {
		return fmt.Errorf("record: %w", err)
	}
	_, err := w.Write(b.Bytes())
	return err
}

// page is the record with what the template draws of it.
type page struct {
	Record
	Style  template.CSS
	Counts []markCount
	// Unsettled are the bearings that are not in order, in their order.
	Unsettled []RecordBearing
	Flags     []string // that every reading has
	Shown     []shownBearing
	Lost      []shownRefusal
}

type markCount struct {
	Mark Mark
	N    int
	Word string
}

// shownBearing is a bearing with its drawings.
type shownBearing struct {
	RecordBearing
	ID      string
	Plot    *profilePlot
	Stand   *standPlot
	Photos  []shownPhoto
	Budget  *budgetTable
	Flags   []string // of its readings, without those that every reading has
	Refused []shownRefusal
}

// Many reports more pictures than fit beside a plot.
func (s shownBearing) Many() bool { return len(s.Photos) > 2 }

// shownPhoto is a reading's picture, or why there is none.
type shownPhoto struct {
	RecordReading
	Source template.URL // data URI; empty when there is no picture
}

type shownRefusal struct {
	RecordRefusal
	Source template.URL
}

func pageOf(r Record) page {
	p := page{Record: r, Style: template.CSS(recordStyle), Counts: countMarks(r.Bearings), Unsettled: unsettled(r.Bearings), Flags: commonFlags(r.Bearings)}
	for i, b := range r.Bearings {
		s := shownBearing{RecordBearing: b, ID: fmt.Sprintf("bearing-%d", i+1),
			Plot: plotOf(b), Stand: standOf(b, r.Bearings), Budget: budgetOf(b), Refused: shownRefusals(b.Refused)}
		for _, reading := range b.Readings {
			s.Photos = append(s.Photos, showReading(reading))
			for _, f := range reading.Flags {
				if !slices.Contains(p.Flags, f) && !slices.Contains(s.Flags, f) {
					s.Flags = append(s.Flags, f)
				}
			}
		}
		p.Shown = append(p.Shown, s)
	}
	p.Lost = shownRefusals(r.Unplaced)
	return p
}

// commonFlags lists the flags that every reading of two or more has, so that they
// are told once.
func commonFlags(bearings []RecordBearing) (common []string) {
	n := 0
	for _, b := range bearings {
		for _, r := range b.Readings {
			if n++; n == 1 {
				common = slices.Clone(r.Flags)
			}
			common = slices.DeleteFunc(common, func(f string) bool { return !slices.Contains(r.Flags, f) })
		}
	}
	if n < 2 {
		return nil
	}
	return common
}

func showReading(r RecordReading) shownPhoto {
	s := shownPhoto{RecordReading: r}
	if len(r.Picture) == 0 {
		return s
	}
	source, err := dataURI(r.Picture)
	if err != nil {
		s.Missing = "the picture cannot be shown: " + err.Error()
	}
	s.Source = source
	return s
}

func shownRefusals(list []RecordRefusal) (out []shownRefusal) {
	for _, r := range list {
		s := shownRefusal{RecordRefusal: r}
		if len(r.Picture) > 0 {
			s.Source, _ = dataURI(r.Picture) // the words say all that is needed
		}
		out = append(out, s)
	}
	return out
}

func unsettled(bearings []RecordBearing) []RecordBearing {
	return slices.DeleteFunc(slices.Clone(bearings), func(b RecordBearing) bool { return b.State == MarkGood })
}

// countMarks counts the bearings by state, good first, without the empty ones.
func countMarks(bearings []RecordBearing) (counts []markCount) {
	for _, c := range []markCount{{MarkGood, 0, "in order"}, {MarkWatch, 0, "to look at again"},
		{MarkBad, 0, "not in order"}, {MarkMissing, 0, "not measured"}} {
		for _, b := range bearings {
			if b.State == c.Mark {
				c.N++
			}
		}
		if c.N > 0 {
			counts = append(counts, c)
		}
	}
	return counts
}

// A picture in the record: wide enough to see the traced edges on paper, small
// enough that the record of a whole engine can be sent by mail.
const (
	recordPictureWidth   = 840
	recordPictureHeight  = 1000
	recordPictureQuality = 74
	maxRecordPixels      = 40e6
)

// dataURI returns a picture, scaled down, as an address that holds it. What the
// file says besides its pixels, such as a place, is left out.
func dataURI(picture []byte) (template.URL, error) {
	size, _, err := image.DecodeConfig(bytes.NewReader(picture))
	if err != nil {
		return "", err
	}
	if size.Width*size.Height > maxRecordPixels {
		return "", fmt.Errorf("%d x %d pixels are too many", size.Width, size.Height)
	}
	full, _, err := image.Decode(bytes.NewReader(picture))
	if err != nil {
		return "", err
	}
	small := imaging.Fit(full, recordPictureWidth, recordPictureHeight, imaging.Lanczos)
	var b bytes.Buffer
	if err := imaging.Encode(&b, small, imaging.JPEG, imaging.JPEGQuality(recordPictureQuality)); err != nil {
		return "", err
	}
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(b.Bytes())), nil
}

// atDecimals prints a figure and its expanded uncertainty to fixed decimals, so
// that a column can be read down: 0.1 um in millimetres, a hundredth of a thou. The
// uncertainty is rounded up, never to nothing.
func atDecimals(f RecordFigure, unit quantity.Unit, decimals int) string {
	scale := math.Pow10(decimals)
	expanded := math.Ceil(f.Expanded/unit.MM()*scale-1e-6) / scale
	return fmt.Sprintf("%.*f ± %.*f", decimals, f.MM/unit.MM(), decimals, expanded)
}

// budgetTable is the budgets of a bearing's readings side by side. The terms of one
// reading alone stand in two blocks beside each other, to save paper.
type budgetTable struct {
	Heads  []string
	Blocks []int
	Rows   [][]budgetTerm // a term of each block
}

type budgetTerm struct {
	Name          string
	Common, Total bool
	Cells         []string
}

// budgetOf lines up the readings' budgets by the names of their terms; nil when
// there is none.
func budgetOf(b RecordBearing) *budgetTable {
	t := &budgetTable{}
	var terms []budgetTerm
	total := budgetTerm{Name: "combined", Total: true}
	row := map[string]int{}
	for i, r := range b.Readings {
		t.Heads = append(t.Heads, fmt.Sprintf("no. %d", r.Number))
		var sum float64
		for _, term := range r.Budget {
			j, known := row[term.Name]
			if !known {
				j = len(terms)
				row[term.Name] = j
				terms = append(terms, budgetTerm{Name: term.Name, Common: term.Common})
			}
			terms[j].Cells = append(pad(terms[j].Cells, i), micro(term.U))
			sum = math.Hypot(sum, term.U)
		}
		total.Cells = append(total.Cells, micro(sum))
	}
	if len(terms) == 0 {
		return nil
	}
	for j := range terms {
		terms[j].Cells = pad(terms[j].Cells, len(t.Heads))
	}
	t.lay(append(terms, total))
	return t
}

// lay puts the terms into rows, one or two a row.
func (t *budgetTable) lay(terms []budgetTerm) {
	blocks := 1
	if len(t.Heads) == 1 {
		blocks = 2
	}
	height := (len(terms) + blocks - 1) / blocks
	t.Blocks = make([]int, blocks)
	for i := range height {
		var row []budgetTerm
		for j := i; j < len(terms); j += height {
			row = append(row, terms[j])
		}
		t.Rows = append(t.Rows, row)
	}
}

func micro(mm float64) string { return fmt.Sprintf("%.2f", 1000*mm) }

// pad fills cells up to n with dashes.
func pad(cells []string, n int) []string {
	for len(cells) < n {
		cells = append(cells, "-")
	}
	return cells
}

// dict hands a part of the template more than one thing: names and values in turn.
func dict(pairs ...any) map[string]any {
	m := map[string]any{}
	for i := 0; i+1 < len(pairs); i += 2 {
		m[pairs[i].(string)] = pairs[i+1]
	}
	return m
}

// inCSS is a text as a string of a style sheet. Everything but letters, digits and
// blanks is escaped, so that no name can end the string or the style.
func inCSS(s string) template.CSS {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		if r == ' ' || unicode.IsLetter(r) || unicode.IsDigit(r) {
			b.WriteRune(r)
		} else {
			fmt.Fprintf(&b, "\\%x ", r)
		}
	}
	b.WriteByte('"')
	return template.CSS(b.String())
}

// limitRange prints limits in millimetres; empty without any.
func limitRange(lo, hi *float64) string {
	switch {
	case lo != nil && hi != nil:
		return fmt.Sprintf("%s to %s mm", trimmed(*lo), trimmed(*hi))
	case lo != nil:
		return fmt.Sprintf("from %s mm", trimmed(*lo))
	case hi != nil:
		return fmt.Sprintf("up to %s mm", trimmed(*hi))
	}
	return ""
}

// trimmed prints a limit with at least three decimals and at most four.
func trimmed(mm float64) string { return strings.TrimSuffix(fmt.Sprintf("%.4f", mm), "0") }
