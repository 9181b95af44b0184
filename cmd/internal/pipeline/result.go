package pipeline

import "stripgap/clearance"

// Schema is the version of the JSON contract. It goes up when a field changes
// its meaning or goes away, not when one is added.
const Schema = 1

// Document is what `stripgap read --format json` prints.
type Document struct {
	Schema  int      `json:"schema"`
	Results []Result `json:"results"`
}

// Outcomes of a reading.
const (
	OutcomeRead    = "read"
	OutcomeRefused = "refused"
)

// Result is one reading. Lengths are millimetres in full precision, u is a
// standard uncertainty, U an expanded one. What is not known is absent: without
// a strip lot there is no clearance, without limits no verdict, and a refused
// photo tells what it got to.
type Result struct {
	Photos    []string   `json:"photos"`
	Taken     string     `json:"taken,omitempty"` // the first photo, by its camera's clock: ISO 8601 without zone
	Outcome   string     `json:"outcome"`
	Refusal   *Refusal   `json:"refusal,omitempty"`
	Card      *Card      `json:"card,omitempty"`
	Camera    *Camera    `json:"camera,omitempty"`
	Scale     *float64   `json:"scale_px_per_mm,omitempty"` // at the strip
	Width     *Width     `json:"width,omitempty"`
	Ends      []End      `json:"ends,omitempty"`  // two, first end first
	Plane     *Plane     `json:"plane,omitempty"` // of the strip, from two photos
	Clearance *Clearance `json:"clearance,omitempty"`
	Profile   []Station  `json:"profile,omitempty"`
	Budget    []Term     `json:"budget,omitempty"` // of the clearance, else of the width
	Checks    []Check    `json:"checks,omitempty"`
	Verdict   *Verdict   `json:"verdict,omitempty"` // absent without limits or outside the strip's range
	Flags     []string   `json:"flags,omitempty"`
}

// Refusal says why a photo was not read and what to do about it. Code is stable.
type Refusal struct {
	Code    string `json:"code"`
	Message string `json:"message"`
	Remedy  string `json:"remedy"`
}

// Card is the card found in the photo.
type Card struct {
	Layout       string `json:"layout"`
	Serial       string `json:"serial,omitempty"`
	Bearing      string `json:"bearing,omitempty"` // of a tag
	PrintChecked bool   `json:"print_checked"`
	Print        *Print `json:"print,omitempty"` // of a checked sheet
	// Thickness in mm, where the strip's height was reckoned by it.
	Thickness float64 `json:"thickness_mm,omitempty"`
}

// Print is the scale a card was printed at, true over nominal along its x and y,
// as callipers found it on the sheet's check bars. U is the relative standard
// uncertainty of both.
type Print struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
	U float64 `json:"u"`
}

// Camera tells where the photo's camera was known from before the card's marks
// were fitted: "profile" (learnt of the phone named), "exif", or "assumed" where
// the photo does not say.
type Camera struct {
	From  string `json:"from"`
	Phone string `json:"phone,omitempty"`
}

// Width is the flattened strip's width. Taper is the first end minus the second.
type Width struct {
	Mean   float64 `json:"mean_mm"`
	U      float64 `json:"u_mm"`
	Taper  float64 `json:"taper_mm"`
	TaperU float64 `json:"taper_u_mm"`
}

// End is one end of the strip's used length: "front" and "rear" where the
// card's arrow tells them apart, else "a" and "b".
type End struct {
	Name      string     `json:"name"`
	Card      [2]float64 `json:"card_mm"`
	Width     float64    `json:"width_mm"`
	Clearance *float64   `json:"clearance_mm,omitempty"`
}

// Clearance is the oil clearance. Taper is the first end minus the second, bow
// the middle minus the mean of the ends. Expanded is Coverage times U.
type Clearance struct {
	Mean          float64 `json:"mean_mm"`
	U             float64 `json:"u_mm"`
	Expanded      float64 `json:"U_mm"`
	Coverage      float64 `json:"k"`
	Taper         float64 `json:"taper_mm"`
	TaperExpanded float64 `json:"taper_U_mm"`
	Bow           float64 `json:"bow_mm"`
}

// Station is one slice across the strip. At counts from the middle of the used
// length towards the first end. Dropped names why a slice is left out.
type Station struct {
	At        float64  `json:"at_mm"`
	Width     *float64 `json:"width_mm,omitempty"`
	U         *float64 `json:"u_mm,omitempty"` // of the width: this slice's edge noise alone
	Clearance *float64 `json:"clearance_mm,omitempty"`
	Dropped   string   `json:"dropped,omitempty"`
}

// Term is one line of the uncertainty budget. A common term acts on the whole
// strip alike and does not shrink with averaging.
type Term struct {
	Name   string  `json:"name"`
	U      float64 `json:"u_mm"`
	Common bool    `json:"common"`
}

// Check is one proof that the photo had to give.
type Check struct {
	Name  string  `json:"name"`
	OK    bool    `json:"ok"`
	Value float64 `json:"value"`
	Limit float64 `json:"limit"`
	Unit  string  `json:"unit,omitempty"`
}

// Verdict judges the mean clearance against the limits that were given.
type Verdict struct {
	New     *Judgement `json:"new,omitempty"`
	Service *Judgement `json:"service,omitempty"`
}

// Judgement is "inside", "outside" or "cannot tell", with the probability that
// the true clearance lies within the limits. Accept are the limits drawn in by
// the guard band. A side without a limit is absent.
type Judgement struct {
	Verdict    string   `json:"verdict"`
	Conformity float64  `json:"conformity"`
	Lo         *float64 `json:"lo_mm,omitempty"`
	Hi         *float64 `json:"hi_mm,omitempty"`
	AcceptLo   *float64 `json:"accept_lo_mm,omitempty"`
	AcceptHi   *float64 `json:"accept_hi_mm,omitempty"`
}

// Outside reports whether the reading lies outside any limits it was judged by.
func (r *Result) Outside() bool {
	if r.Verdict == nil {
		return false
	}
	for _, j := range []*Judgement{r.Verdict.New, r.Verdict.Service} {
		if j != nil && j.Verdict == string(clearance.Outside) {
			return true
		}
	}
	return false
}
