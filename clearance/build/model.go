package build

import (
	"stripgap/calib/quantity"
	"stripgap/clearance"
)

// Build is what a person tells of one engine.
type Build struct {
	// ID tells this build from others. It is drawn when the build is made and stands
	// in the first line of readings.jsonl, not in build.toml.
	ID   string
	Name string
	Note string
	// Temperature is that of the room and the parts in degC; nil when not told.
	Temperature *float64
	TaperLimit  float64 // mm, end-to-end difference worth a second strip
	Coverage    float64 // k > 0 of the expanded uncertainties
	Strip       Strip   // what is used unless a group names another
	Preparation []Preparation
	Groups      []Group // in the order written, names differ
}

// Strip names a strip lot: by its name among the person's own lots, or in a file.
type Strip struct {
	Lot  string // empty: the only lot of the file
	File string // as written, relative to the build's folder; empty: the person's own lots
}

// Named reports whether a lot is named at all.
func (s Strip) Named() bool { return s != Strip{} }

// Preparation is one line of what to do before the first strip is laid.
type Preparation struct {
	What string
	Done bool
}

// Group is bearings with the same limits, in order front to rear.
type Group struct {
	Name string
	// New and Service are the maker's limits; nil where not told.
	New, Service *Limits
	Strip        Strip // the zero Strip: the build's
	// On is what the strips lie on when their photos are taken, unless a photo's
	// name says otherwise, and Diameter the journal's nominal one in mm, 0 when not
	// told. Together they tell the reader the surface, which is the largest
	// uncertainty of a single photo.
	On       Surface
	Diameter float64
	// Positions are the places round the journal at which strips are laid, degrees
	// in [0, 360), no two half a turn apart; nil for one place that needs no name.
	Positions []float64
	Torque    []float64 // N m, stages in order
	Angle     []float64 // degrees to turn on after the torque, in order
	BoltNote  string
	Bearings  []Bearing
}

// Limits are one pair of limits and how they are printed, in one or two units.
type Limits struct {
	clearance.Limits
	Printed []string
}

// Surface is what a strip and its card lie on.
type Surface string

// The surfaces. The empty one is not told.
const (
	OnShell   Surface = "shell"
	OnJournal Surface = "journal"
	OnFlat    Surface = "flat"
)

// Bearing is one bearing with its parts.
type Bearing struct {
	Name string // as on its tag
	Note string
	// Micrometer holds the parts' measures; nil where they were not measured.
	Micrometer *Micrometer
}

// Micrometer is what bore gauge and micrometer say of a bearing's parts in mm,
// with standard uncertainties.
type Micrometer struct {
	Bore      quantity.Value // of the housing, cap torqued, without shells
	ShellWall quantity.Value // of one shell at its crown
	Journal   quantity.Value
}

// Find returns the bearing of the name and its group.
func (b *Build) Find(name string) (*Group, *Bearing, bool) {
	for g := range b.Groups {
		for i := range b.Groups[g].Bearings {
			if b.Groups[g].Bearings[i].Name == name {
				return &b.Groups[g], &b.Groups[g].Bearings[i], true
			}
		}
	}
	return nil, nil, false
}

// Names lists the bearings in order, group by group.
func (b *Build) Names() []string {
	var names []string
	for _, g := range b.Groups {
		for _, x := range g.Bearings {
			names = append(names, x.Name)
		}
	}
	return names
}

// StripOf returns the strip used for a group.
func (b *Build) StripOf(g *Group) Strip {
	if g.Strip.Named() {
		return g.Strip
	}
	return b.Strip
}
