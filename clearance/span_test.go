package clearance

import (
	"math"
	"slices"
	"testing"
)

// The common spans overlap but for the last two, which meet, and rise.
func TestCommonSpans(t *testing.T) {
	spans := CommonSpans()
	for i, s := range spans {
		if err := s.Check(); err != nil {
			t.Error(err)
		}
		if i > 0 && (s.Lo <= spans[i-1].Lo || s.Lo > spans[i-1].Hi) {
			t.Errorf("span %d leaves a gap: %v after %v", i, s, spans[i-1])
		}
	}
	if math.Abs(spans[0].Lo-0.0254) > 1e-15 || math.Abs(spans[3].Hi-0.508) > 1e-15 {
		t.Errorf("ends %v, %v mm", spans[0].Lo, spans[3].Hi)
	}
}

func limitsOf(t *testing.T, s string) *Limits {
	t.Helper()
	if s == "" {
		return nil
	}
	l, err := ParseLimits(s)
	if err != nil {
		t.Fatal(err)
	}
	return &l
}

func TestRankSpans(t *testing.T) {
	for _, c := range []struct {
		newParts, service string
		best              int // of the common spans
		reach             []Reach
		share             float64
	}{
		{"0.0015..0.0025in", "", 0, []Reach{ReachInside, ReachInside}, 1},
		{"0.0010..0.0030in", "", 0, []Reach{ReachEnd, ReachEnd}, 1},
		{"0.0025..0.0057in", "", 1, []Reach{ReachInside, ReachEnd}, 1},
		{"", "..0.0150in", 3, []Reach{ReachInside}, 1},
		// The service limit decides where the new ones can be read all the same.
		{"0.0025..0.0030in", "..0.0050in", 1, []Reach{ReachInside, ReachInside, ReachInside}, 1},
		// No span covers everything: 0.5 to 0.508 of 0.5 to 0.6 mm.
		{"0.5..0.6mm", "", 3, []Reach{ReachEnd, ReachBeyond}, 0.08},
		// What most of the limits lie in comes before what more of their ends lie in.
		{"0.2..0.5mm", "", 3, []Reach{ReachBeyond, ReachEnd}, (0.5 - 0.009*25.4) / 0.3},
	} {
		got := RankSpans(CommonSpans(), limitsOf(t, c.newParts), limitsOf(t, c.service))
		var reach []Reach
		for _, l := range got[0].Limits {
			reach = append(reach, l.Reach)
		}
		if got[0].Index != c.best || !slices.Equal(reach, c.reach) || math.Abs(got[0].Share-c.share) > 1e-9 ||
			got[0].Covers() == slices.Contains(c.reach, ReachBeyond) {
			t.Errorf("%q, %q: best %+v, want %+v", c.newParts, c.service, got[0], c)
		}
	}
	// One span that covers less of the limits comes behind one that covers more.
	got := RankSpans([]Span{{0.1, 0.2}, {0.1, 0.3}}, &Limits{0.15, 0.5}, nil)
	if got[0].Index != 1 || math.Abs(got[0].Share-0.15/0.35) > 1e-12 || math.Abs(got[1].Share-0.05/0.35) > 1e-12 {
		t.Errorf("%+v", got)
	}
	// Names and figures of the limits, in order; a side without limit has none.
	got = RankSpans([]Span{{0.02, 0.1}}, &Limits{0.03, 0.05}, &Limits{math.Inf(-1), 0.09})
	want := []LimitReach{{"new lower", 0.03, ReachInside}, {"new upper", 0.05, ReachInside}, {"service upper", 0.09, ReachInside}}
	if !slices.Equal(got[0].Limits, want) {
		t.Errorf("%+v", got[0].Limits)
	}
}

func TestSpanReach(t *testing.T) {
	s := Span{0.10, 0.20} // its ends reach 0.01 inwards, and 0.002 outwards for rounding
	for mm, want := range map[float64]Reach{0.08: ReachBeyond, 0.095: ReachBeyond, 0.0985: ReachEnd, 0.105: ReachEnd, 0.115: ReachInside,
		0.185: ReachInside, 0.195: ReachEnd, 0.2015: ReachEnd, 0.205: ReachBeyond, 0.22: ReachBeyond} {
		if got := s.reach(mm); got != want {
			t.Errorf("%v mm: %s, want %s", mm, got, want)
		}
	}
	for _, bad := range []Span{{0, 1}, {1, 1}, {2, 1}, {math.NaN(), 1}, {1, math.Inf(1)}} {
		if bad.Check() == nil {
			t.Errorf("%v is a span", bad)
		}
	}
}
