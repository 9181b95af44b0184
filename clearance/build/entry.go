package build

import "encoding/json"

// Schema is the version of a line of readings.jsonl. It goes up when a field
// changes its meaning or goes away, not when one is added.
const Schema = 1

// Entry is one line of readings.jsonl: exactly one of its parts is set. Lines are
// only ever added.
type Entry struct {
	Schema int    `json:"schema"`
	Line   int    `json:"line"` // from 1
	Time   string `json:"time"` // RFC 3339

	Begun    *Begun      `json:"begun,omitempty"` // the first line's, and only its
	Sheet    *Sheet      `json:"sheet,omitempty"`
	Reading  *Reading    `json:"reading,omitempty"`
	Refused  *Refused    `json:"refused,omitempty"`
	Withdraw *Withdrawal `json:"withdraw,omitempty"`
}

// Begun says whose readings these are.
type Begun struct {
	Build string `json:"build"` // the build's ID
}

// Sheet is a sheet of tags that belongs to this build.
type Sheet struct {
	Serial   string   `json:"serial"`
	Bearings []string `json:"bearings,omitempty"`
}

// Reading is one accepted reading: one strip, from one photo or a pair.
type Reading struct {
	Number   int      `json:"number"` // from 1 within the build
	Bearing  string   `json:"bearing"`
	Position *float64 `json:"position_deg,omitempty"`
	// Strip counts the strips laid at this place from 1. Two readings of one strip
	// share it; they do not confirm one another.
	Strip     int        `json:"strip"`
	StripTold bool       `json:"strip_told,omitempty"` // by the photo's name or a person; else counted
	Assigned  Assignment `json:"assigned_by"`
	Photos    []Photo    `json:"photos"`            // one, or two of a pair
	Picture   string     `json:"picture,omitempty"` // file below the folder
	Lot       Lot        `json:"lot"`
	On        Surface    `json:"on,omitempty"`
	OnTold    bool       `json:"on_told,omitempty"`     // by the photo's name or a person; else On is what build.toml said
	Diameter  float64    `json:"diameter_mm,omitempty"` // of the surface
	// Temperature that the reading was made for, degC.
	Temperature *float64 `json:"temperature_degc,omitempty"`
	// Result is the reading itself, one entry of what `stripgap read --format json`
	// prints, with nothing left out. Measured decodes what a status needs of it.
	Result json.RawMessage `json:"result"`
}

// Assignment says how a reading came to its bearing.
type Assignment string

// The ways to assign a photo.
const (
	ByTag  Assignment = "tag"
	ByName Assignment = "file name"
	ByHand Assignment = "hand"
)

// Photo is a photo in the folder's photos/, known by its bytes.
type Photo struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"` // of the file, 64 hexadecimal digits
}

// Lot is the strip lot as it was when the reading was made.
type Lot struct {
	Name    string  `json:"name"`
	Area    float64 `json:"section_area_mm2"`
	AreaU   float64 `json:"section_area_u_mm2"`
	RangeLo float64 `json:"range_lo_mm"`
	RangeHi float64 `json:"range_hi_mm"`
}

// Refused is a photo, or a pair, that could not be read. It is noted so that it
// is not tried again by itself; it is no reading.
type Refused struct {
	Photos  []Photo `json:"photos"`
	Bearing string  `json:"bearing,omitempty"` // where it was known
	Code    string  `json:"code"`
	Message string  `json:"message"`
	Remedy  string  `json:"remedy"`
}

// Withdrawal takes a reading out of what counts. The reading's line stays.
type Withdrawal struct {
	Number int    `json:"number"` // of the reading
	Reason string `json:"reason"`
}
