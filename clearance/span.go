package clearance

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"stripgap/calib/quantity"
)

// Span is the range of clearances in mm that a strip is made for.
type Span struct{ Lo, Hi float64 }

// CommonSpans are the four spans that gauging strips are usually made for, from
// the thinnest up: 0.001 to 0.003, 0.002 to 0.006, 0.004 to 0.009 and 0.009 to
// 0.020 in (common practice, no source; a strip's own sleeve is what holds).
func CommonSpans() []Span {
	in := quantity.Inch.MM()
	return []Span{{0.001 * in, 0.003 * in}, {0.002 * in, 0.006 * in}, {0.004 * in, 0.009 * in}, {0.009 * in, 0.020 * in}}
}

// Check reports a span that is empty, reversed, negative or not finite.
func (s Span) Check() error {
	if !positive(s.Lo) || !positive(s.Hi) || s.Lo >= s.Hi {
		return fmt.Errorf("span %v to %v mm: need 0 < low < high", s.Lo, s.Hi)
	}
	return nil
}

// Reach is where a limit lies to a span.
type Reach string

// A limit at an end can be read, but a clearance a little beyond it cannot, and
// then there is no verdict.
const (
	ReachInside Reach = "inside"
	ReachEnd    Reach = "at the end"
	ReachBeyond Reach = "beyond"
)

// spanEnd is the share of a span's length inside each of its ends that counts as
// its end, and spanRounding that outside: 0.025 mm and 0.001 in are the same end.
const (
	spanEnd      = 0.1
	spanRounding = 0.02
)

func (s Span) reach(mm float64) Reach {
	within := math.Min(mm-s.Lo, s.Hi-mm) / (s.Hi - s.Lo)
	switch {
	case within > spanEnd:
		return ReachInside
	case within >= -spanRounding:
		return ReachEnd
	}
	return ReachBeyond
}

// LimitReach is one limit and where it lies.
type LimitReach struct {
	Name  string  // "new lower", "new upper", "service lower" or "service upper"
	MM    float64 // the limit
	Reach Reach
}

// SpanCover is how a span covers limits.
type SpanCover struct {
	Index  int // of the span as given
	Span   Span
	Share  float64 // of all clearances from the lowest to the highest limit, 0 to 1
	Limits []LimitReach
}

// Covers reports whether every limit lies within the span or at its end.
func (c SpanCover) Covers() bool { return c.count(ReachBeyond) == 0 }

func (c SpanCover) count(r Reach) int {
	n := 0
	for _, l := range c.Limits {
		if l.Reach == r {
			n++
		}
	}
	return n
}

// RankSpans tells how each span covers the limits for new parts and for service,
// either nil where there are none, the best first: those that reach every limit,
// fewest of them at an end, before those that do not; then the largest share
// covered, then the shortest span. The limits must pass Check.
func RankSpans(spans []Span, newParts, service *Limits) []SpanCover {
	var list []LimitReach
	add := func(name string, mm float64) {
		if !math.IsInf(mm, 0) {
			list = append(list, LimitReach{Name: name, MM: mm})
		}
	}
	for _, k := range []struct {
		name string
		l    *Limits
	}{{"new", newParts}, {"service", service}} {
		if k.l != nil {
			add(k.name+" lower", k.l.Lo)
			add(k.name+" upper", k.l.Hi)
		}
	}
	var out []SpanCover
	for i, s := range spans {
		c := SpanCover{Index: i, Span: s, Share: s.share(list)}
		for _, l := range list {
			l.Reach = s.reach(l.MM)
			c.Limits = append(c.Limits, l)
		}
		out = append(out, c)
	}
	slices.SortStableFunc(out, func(a, b SpanCover) int {
		return cmp.Or(
			cmp.Compare(a.rank(), b.rank()),
			cmp.Compare(b.Share, a.Share),
			cmp.Compare(a.Span.Hi-a.Span.Lo, b.Span.Hi-b.Span.Lo))
	})
	return out
}

// rank is the number of limits at the span's ends, and above that of any span that
// reaches every limit where this one does not.
func (c SpanCover) rank() int {
	if c.Covers() {
		return c.count(ReachEnd)
	}
	return len(c.Limits) + 1
}

// share is how much of the stretch from the lowest to the highest limit the span
// covers; of a single limit all or nothing.
func (s Span) share(limits []LimitReach) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, l := range limits {
		lo, hi = math.Min(lo, l.MM), math.Max(hi, l.MM)
	}
	if lo < hi {
		return math.Max(0, math.Min(hi, s.Hi)-math.Max(lo, s.Lo)) / (hi - lo)
	}
	if lo >= s.Lo && lo <= s.Hi {
		return 1
	}
	return 0
}
