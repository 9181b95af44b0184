package calib

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"stripgap/calib/quantity"
	"stripgap/calib/strictfile"
)

// Lot is what is known of one lot of gauging strip.
type Lot struct {
	Name string
	Note string // where the figures come from, for people
	// SectionArea of the uncrushed strand in mm2 with its standard uncertainty.
	SectionArea quantity.Value
	// RangeLo and RangeHi in mm are the clearances the strip is made for.
	RangeLo, RangeHi float64
	Learnt           LotOrigin
}

// LotOrigin is how a lot's section area was learnt, for people; all of it may be
// empty.
type LotOrigin struct {
	How       string   // such as "photos of an unused strand"
	On        string   // the day, as 2026-11-25
	Agreement string   // of the points with one another
	Points    []string // each photo, bar or gauge with its residual
}

// AreaFromDiameter returns the section area in mm2 of a round strand whose
// diameter in mm is known with a standard uncertainty: A = pi d^2/4, and to first
// order u(A) = pi d u(d)/2.
func AreaFromDiameter(d quantity.Value) quantity.Value {
	return quantity.Value{X: math.Pi * d.X * d.X / 4, U: math.Pi * d.X * d.U / 2}
}

// maxStrand bounds a strand's diameter in mm. The largest strips measure about
// half a millimetre (common practice, no source), so more is a slip of the unit.
const maxStrand = 5.0

// lotFormat is a file of lots; a lot takes about 200 bytes.
var lotFormat = strictfile.Format{What: "a file of strip lots", MaxBytes: 1 << 20, Quoted: true}

// lotEntry is a lot as it is written. Figures are text because each carries its
// unit.
type lotEntry struct {
	Name         string   `toml:"name"`
	Note         string   `toml:"note,omitempty"`
	SectionArea  string   `toml:"section_area,omitempty"`
	SectionAreaU string   `toml:"section_area_u,omitempty"`
	Diameter     string   `toml:"diameter,omitempty"`
	DiameterU    string   `toml:"diameter_u,omitempty"`
	RangeLo      string   `toml:"range_lo"`
	RangeHi      string   `toml:"range_hi"`
	How          string   `toml:"how,omitempty"`
	Learnt       string   `toml:"learnt,omitempty"`
	Agreement    string   `toml:"agreement,omitempty"`
	Points       []string `toml:"points,omitempty"`
}

// ParseLots reads a file of strip lots, one [[lot]] table each:
//
//	[[lot]]
//	name = "thin"
//	note = "five readings of an unused strand, 2 um micrometer"
//	diameter = "0.300 mm"      # or section_area = "0.0707 mm2"
//	diameter_u = "0.002 mm"    # or section_area_u = "0.0010 mm2"
//	range_lo = "0.025 mm"
//	range_hi = "0.076 mm"
//
// Beside these, how, learnt (a day), agreement and points may tell how the area
// was learnt, for people. The uncertainties are standard uncertainties and, like the range, always asked
// for. file names the data in errors, which read file:line:column. Refused are
// unknown or repeated keys, figures without unit, two lots of one name, a missing
// or impossible value, and data without a lot or over 1 MiB.
func ParseLots(data []byte, file string) ([]Lot, error) {
	var doc struct {
		Lot []lotEntry `toml:"lot"`
	}
	at, err := lotFormat.Decode(data, file, &doc)
	if err != nil {
		return nil, err
	}
	if len(doc.Lot) == 0 {
		return nil, fmt.Errorf("%s: no strip lot; begin one with [[lot]]", file)
	}
	named := map[string]bool{}
	lots := make([]Lot, len(doc.Lot))
	for i, e := range doc.Lot {
		lot, key, err := e.lot()
		if err == nil && named[lot.Name] {
			key, err = "name", fmt.Errorf("a lot of this name stands above; give each its own")
		}
		if err != nil {
			return nil, fmt.Errorf("%s: lot %s: %s: %w", at.Of("lot", i, key), e.title(i), key, err)
		}
		named[lot.Name] = true
		lots[i] = lot
	}
	return lots, nil
}

// FindLot returns the lot of the name, or the only lot when the name is empty.
func FindLot(lots []Lot, name string) (Lot, error) {
	if name == "" && len(lots) == 1 {
		return lots[0], nil
	}
	var names []string
	for _, l := range lots {
		if l.Name == name {
			return l, nil
		}
		names = append(names, fmt.Sprintf("%q", l.Name))
	}
	if name == "" {
		return Lot{}, fmt.Errorf("strip lot: name one of %s", strings.Join(names, ", "))
	}
	return Lot{}, fmt.Errorf("strip lot %q: not among %s", name, strings.Join(names, ", "))
}

func (e lotEntry) title(i int) string {
	if e.Name == "" {
		return fmt.Sprint(i + 1)
	}
	return fmt.Sprintf("%q", e.Name)
}

// lot converts an entry; with an error it names the key at fault.
func (e lotEntry) lot() (lot Lot, key string, err error) {
	if strings.TrimSpace(e.Name) == "" {
		return Lot{}, "name", errors.New("missing")
	}
	lot = Lot{Name: e.Name, Note: e.Note, Learnt: LotOrigin{e.How, e.Learnt, e.Agreement, e.Points}}
	if lot.SectionArea, key, err = e.area(); err != nil {
		return Lot{}, key, err
	}
	if lot.RangeLo, err = figure(e.RangeLo, quantity.ParseLength); err != nil {
		return Lot{}, "range_lo", err
	}
	if lot.RangeHi, err = figure(e.RangeHi, quantity.ParseLength); err != nil {
		return Lot{}, "range_hi", err
	}
	if lot.RangeHi <= lot.RangeLo {
		return Lot{}, "range_hi", fmt.Errorf("%s is not above range_lo %s", e.RangeHi, e.RangeLo)
	}
	if !(lot.Diameter() <= maxStrand) {
		return Lot{}, e.sectionKey(), fmt.Errorf("a strand %.4g mm thick is none; check the figure and its unit", lot.Diameter())
	}
	if lot.RangeHi >= lot.Diameter() {
		return Lot{}, "range_hi", fmt.Errorf("%s, but the strand is only %.3f mm thick and would not be crushed", e.RangeHi, lot.Diameter())
	}
	return lot, "", nil
}

// Diameter returns the diameter in mm of a round strand of the lot's area.
func (l Lot) Diameter() float64 { return 2 * math.Sqrt(l.SectionArea.X/math.Pi) }

const lotFileHead = `# Lots of gauging strip. section_area is that of the strand before it is crushed,
# section_area_u its standard uncertainty; range_lo and range_hi are the clearances
# the strip is made for.

`

// FormatLots returns the file that ParseLots reads. A lot that fails Check is an
// error.
func FormatLots(lots []Lot) ([]byte, error) {
	var doc struct {
		Lot []lotEntry `toml:"lot"`
	}
	for _, l := range lots {
		if err := l.Check(); err != nil {
			return nil, err
		}
		doc.Lot = append(doc.Lot, l.entry())
	}
	text, err := toml.Marshal(doc)
	if err != nil {
		return nil, fmt.Errorf("strip lots: %w", err)
	}
	return append([]byte(lotFileHead), text...), nil
}

// Check reports what ParseLots would refuse of the lot.
func (l Lot) Check() error {
	if _, key, err := l.entry().lot(); err != nil {
		return fmt.Errorf("lot %q: %s: %w", l.Name, key, err)
	}
	return nil
}

func (l Lot) entry() lotEntry {
	in := func(x float64, unit string) string { return strconv.FormatFloat(x, 'f', -1, 64) + " " + unit }
	return lotEntry{
		Name: l.Name, Note: l.Note, SectionArea: in(l.SectionArea.X, "mm2"), SectionAreaU: in(l.SectionArea.U, "mm2"),
		RangeLo: in(l.RangeLo, "mm"), RangeHi: in(l.RangeHi, "mm"),
		How: l.Learnt.How, Learnt: l.Learnt.On, Agreement: l.Learnt.Agreement, Points: l.Learnt.Points,
	}
}

func (e lotEntry) sectionKey() string {
	if e.Diameter != "" {
		return "diameter"
	}
	return "section_area"
}

// area returns the section area from whichever of both pairs of keys is given.
func (e lotEntry) area() (v quantity.Value, key string, err error) {
	byArea, byDiameter := e.SectionArea+e.SectionAreaU != "", e.Diameter+e.DiameterU != ""
	switch {
	case byArea && byDiameter:
		return v, "diameter", errors.New("stands beside section_area; keep one of them")
	case byArea:
		return measured("section_area", e.SectionArea, e.SectionAreaU, quantity.ParseArea)
	case byDiameter:
		d, key, err := measured("diameter", e.Diameter, e.DiameterU, quantity.ParseLength)
		return AreaFromDiameter(d), key, err
	}
	return v, "section_area", errors.New("missing; measure it, or give the strand's diameter")
}

// measured reads a figure and its standard uncertainty under key and key_u.
func measured(key, x, u string, parse func(string) (float64, error)) (v quantity.Value, at string, err error) {
	if v.X, err = figure(x, parse); err != nil {
		return v, key, err
	}
	if v.U, err = figure(u, parse); err != nil {
		return v, key + "_u", err
	}
	if v.U >= v.X {
		return v, key + "_u", fmt.Errorf("%s is not below the value itself, %s", u, x)
	}
	return v, "", nil
}

// figure parses a value that must be there and be positive.
func figure(s string, parse func(string) (float64, error)) (float64, error) {
	if s == "" {
		return 0, errors.New("missing")
	}
	x, err := parse(s)
	if err == nil && !(x > 0) {
		err = fmt.Errorf("%q is not positive", s)
	}
	return x, err
}
