package build

import (
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
	// Doubts are what looks like a slip but may be so, one sentence each.
	Doubts []string
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

// Kind is what a group's bearings carry, which decides what parts can be
// exchanged between them.
type Kind string

// The kinds. A big end's bore goes with its rod.
const (
	Mains   Kind = "mains"
	BigEnds Kind = "big ends"
	Other   Kind = "other"
)

// Group is bearings with the same limits, in order front to rear.
type Group struct {
	Name string
	Kind Kind
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
	Torque    []string // stages in order, in both units: "30 N m (22.1 lbf ft)"
	Angle     []string // to turn on after the torque, in order: "90 deg"
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
	// Parts are what bore gauge and micrometer say of its parts; nil where they do
	// not give a clearance. A Wall of zero: the bore was measured over the shells.
	Parts *clearance.Parts
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
