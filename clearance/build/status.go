package build

import "stripgap/clearance"

// Status is where a build stands: every bearing in order, and what concerns
// several of them.
type Status struct {
	Schema   int             `json:"schema"`
	ID       string          `json:"build"`
	Name     string          `json:"name,omitempty"`
	Bearings []BearingStatus `json:"bearings"`
	Hints    []Note          `json:"hints,omitempty"` // on parts in another's place, group by group
}

// BearingStatus is where one bearing stands. What is not known is absent: no
// readings, no clearance; no limits or outside the strip's range, no verdict.
type BearingStatus struct {
	Group     string     `json:"group"`
	Name      string     `json:"bearing"`
	Readings  []int      `json:"readings"`  // numbers of those that stand, in order
	Strips    int        `json:"strips"`    // how many strips they are from
	Withdrawn int        `json:"withdrawn"` // readings taken back
	Refused   int        `json:"refused"`   // photos known to show this bearing that were refused
	Clearance *Estimate  `json:"clearance,omitempty"`
	Taper     *Estimate  `json:"taper,omitempty"` // of the latest strip, first end minus second
	New       *Judgement `json:"new,omitempty"`
	Service   *Judgement `json:"service,omitempty"`
	// Positions tells each place round the journal apart where there are several,
	// and Round what they say of its roundness. Clearance is then their mean, with
	// the largest of their uncertainties; a verdict is the worst of theirs.
	Positions []PositionStatus `json:"positions,omitempty"`
	Round     *Round           `json:"round,omitempty"`
	Predicted *Predicted       `json:"predicted,omitempty"` // by the micrometer route
	Flags     []Note           `json:"flags,omitempty"`
	Next      Note             `json:"next"`
}

// PositionStatus is one place round the journal.
type PositionStatus struct {
	Position  float64    `json:"position_deg"`
	Readings  []int      `json:"readings"`
	Clearance *Estimate  `json:"clearance,omitempty"`
	New       *Judgement `json:"new,omitempty"`
	Service   *Judgement `json:"service,omitempty"`
}

// Round is the journal's largest diameter less its smallest, mm: the estimate, and
// the interval for the coverage.
type Round struct {
	MM         float64 `json:"mm"`
	Lo         float64 `json:"lo_mm"`
	Hi         float64 `json:"hi_mm"`
	OutOfRound bool    `json:"out_of_round"`
}

// Estimate is a length in mm with its standard and its expanded uncertainty.
type Estimate struct {
	MM       float64 `json:"mm"`
	U        float64 `json:"u_mm"`
	Expanded float64 `json:"U_mm"`
	Coverage float64 `json:"k"`
}

// Judgement is a verdict against one pair of limits. A side without a limit is
// absent. Side is "too small" or "too large" where the verdict is outside.
type Judgement struct {
	Verdict    clearance.Verdict `json:"verdict"`
	Side       string            `json:"side,omitempty"`
	Conformity float64           `json:"conformity"` // probability that the truth is inside
	Lo         *float64          `json:"lo_mm,omitempty"`
	Hi         *float64          `json:"hi_mm,omitempty"`
	AcceptLo   *float64          `json:"accept_lo_mm,omitempty"` // drawn in by the guard band
	AcceptHi   *float64          `json:"accept_hi_mm,omitempty"`
}

// Predicted is the clearance that the parts' measures predict, and how far the
// read one is from it: the normalised error of ISO/IEC 17043, agreeing up to 1.
type Predicted struct {
	Estimate
	NormalisedError *float64 `json:"normalised_error,omitempty"`
}

// Note is something to know or to do: a stable code, and a sentence in plain words.
type Note struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// Codes of the next step.
const (
	StepPhoto      = "take-photo"     // no reading yet
	StepSecond     = "second-strip"   // a taper or a surprise to confirm
	StepThird      = "third-strip"    // strips disagree
	StepOtherSpan  = "other-span"     // outside the strip's own range
	StepSurer      = "surer-reading"  // a limit lies within the uncertainty
	StepAgain      = "read-again"     // build.toml no longer says what the reading was made for
	StepWhichStrip = "which-strip"    // two readings may be of one strip
	StepOrder      = "check-order"    // parts may be in another's place
	StepMicrometer = "micrometer"     // strips cannot settle it
	StepOutside    = "outside-limits" // settled: not within the maker's limits
	StepWorn       = "within-service" // settled: within the service limits, not those for new parts
	StepLimits     = "tell-limits"    // build.toml has none for this group
	StepDone       = "done"
)

// HintStranger is the code of the hint on readings of bearings that build.toml does
// not name. Other hints have the code of what they ask for.
const HintStranger = "unknown-bearing"

// Codes of flags beside those of single readings, which come without a text.
const (
	FlagTaper       = clearance.FlagTaper // a taper no second strip has confirmed or denied
	FlagTaperUnsure = clearance.FlagTaperUnsure
	FlagTaperReal   = "taper-confirmed"    // strips agree on it
	FlagTaperNot    = "taper-not-repeated" // one strip had it, the others that agree do not
	FlagDisagree    = "strips-disagree"    // no two strips agree, so there is no clearance
	FlagApart       = "apart"              // from the others of its group
	FlagOutOfRound  = "out-of-round"
	FlagOutOfRange  = clearance.FlagOutOfRange
	FlagEndOutside  = clearance.FlagEndOutside // though the mean is inside the limits
	FlagParts       = "parts-disagree"         // with what bore gauge and micrometer say
	FlagOneStrip    = "one-strip"              // readings counted as two strips whose photos were taken too soon after one another
	FlagChanged     = "build-changed"          // build.toml no longer says what a reading was made for
	FlagSeveralLots = "several-lots"           // its readings are of different strip lots
)
