package report

import "time"

// Record is all that a build's record shows: what the template needs, in the
// order it is read. It is filled from a build's status and readings; nothing in it
// is computed from pixels or judged here. Lengths are millimetres.
type Record struct {
	Build    string
	Note     string    // a line under the name, such as whose engine; may be empty
	By       string    // who did it; empty leaves a line to sign
	Date     time.Time // when the record was made
	Coverage float64   // k of every expanded uncertainty
	Strips   []string  // the lots used, a line each
	Sheets   []string  // the sheets of cards used, a line each
	Room     string    // temperature, with unit; empty when not told

	TaperLimit  float64 // mm, difference of the ends that asks for a second strip
	Groups      []RecordGroup
	Bearings    []RecordBearing // front to rear
	Hints       []string        // on parts in another's place
	Doubts      []string        // what looks like a slip in build.toml
	Preparation []RecordTick
	// Unplaced are photos that were refused and whose bearing is not known.
	Unplaced []RecordRefusal
}

// RecordGroup is what holds for bearings with the same limits.
type RecordGroup struct {
	Name     string
	Bearings []string // names, in order
	New      string   // limits in both units; empty when not told
	Service  string
	Torque   string // in both units, with angles; empty when not told
	BoltNote string
}

// RecordTick is a line of the preparation list.
type RecordTick struct {
	What string
	Done bool
}

// Mark is a verdict's or a state's shape. Each has its own outline and shade, so
// that it is told apart without colour.
type Mark string

// The marks, from good to bad.
const (
	MarkGood    Mark = "good"    // a ring with a tick
	MarkWatch   Mark = "watch"   // a diamond with a question mark
	MarkBad     Mark = "bad"     // an octagon with a cross
	MarkMissing Mark = "missing" // a dashed square
)

// RecordFigure is a length with its expanded uncertainty.
type RecordFigure struct{ MM, Expanded float64 }

// RecordVerdict is what the reading says of one pair of limits.
type RecordVerdict struct {
	Mark   Mark
	Word   string // "inside", "outside", "cannot tell", "not judged"
	Detail string // "too large", "63 % likely inside"; may be empty
	Lo, Hi *float64
}

// RecordBearing is one bearing. What is not known is empty or nil.
type RecordBearing struct {
	Name, Group, Note string
	State             Mark
	StateWord         string // the state in two or three words
	Next              string // what to do next, a few words
	Advice            string // more on the next step, sentences; may be empty
	Clearance         *RecordFigure
	Taper             *RecordFigure // first end minus second
	TaperWord         string        // "confirmed", "not repeated"; empty where nothing stands out
	New, Service      *RecordVerdict

	Readings []RecordReading // those that stand, in order
	Refused  []RecordRefusal
	Notes    []string // sentences: repeats, group, roundness, parts, flags
	Parts    *RecordParts
	// Positions are the places round the journal, where there are several.
	Positions []RecordPosition
}

// RecordReading is one strip's reading.
type RecordReading struct {
	Number    int
	Strip     int
	Position  string // round the journal, with unit; empty where there is one place
	Photos    []string
	Lot       string
	When      string // RFC 3339 or empty
	Clearance RecordFigure
	Taper     RecordFigure // first end minus second
	Ends      [2]RecordEnd
	Profile   []RecordStation
	Budget    []RecordTerm
	Picture   []byte   // JPEG or PNG; nil when there is none
	Missing   string   // why there is no picture
	Flags     []string // sentences
	Set       string   // why it does not count, such as withdrawn; empty when it does
}

// RecordEnd is one end of a strip.
type RecordEnd struct {
	Name string
	MM   float64
}

// RecordStation is one slice of the profile. Half is half the width of the band of
// about 95 %.
type RecordStation struct {
	At, MM, Half float64
	Dropped      bool
}

// RecordTerm is one line of an uncertainty budget; U is a standard uncertainty.
type RecordTerm struct {
	Name   string
	U      float64
	Common bool
}

// RecordRefusal is a photo that was not read.
type RecordRefusal struct {
	Photos          []string
	Message, Remedy string
	Picture         []byte
}

// RecordParts is the micrometer route beside the strip.
type RecordParts struct {
	Bore, Wall, Journal RecordFigure // Expanded with the record's coverage
	Predicted           RecordFigure
	En                  *float64 // normalised error; nil without a reading
}

// RecordPosition is one place round a journal.
type RecordPosition struct {
	Name      string
	Clearance *RecordFigure
}
