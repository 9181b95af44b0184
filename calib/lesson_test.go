package calib

import (
	"math"
	"strings"
	"testing"

	"stripgap/calib/quantity"
)

// A strand of 0.3 mm has the area pi 0.09/4 = 0.0706858 mm2 whichever way it is
// learnt.
func TestLessons(t *testing.T) {
	const area = 0.0706858347
	stated := LessonFromDiameter(quantity.Value{X: 0.3, U: 0.002})
	strand, err := LessonFromStrand([]string{"a.jpg", "b.jpg"}, []quantity.Value{{X: 0.299, U: 0.001}, {X: 0.301, U: 0.001}},
		[]quantity.Term{{Name: "print scale", U: 0.0006}, {Name: "shading", U: 0.0008}})
	if err != nil {
		t.Fatal(err)
	}
	points, err := LessonFromPoints("strips crushed on gauges", crushed(area, edgeLack/2, someGaps, 0.002, 1e-4, nil), 0.001, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range []AreaLesson{stated, strand, points} {
		wantNear(t, l.How, l.Area.X, area, 1e-6)
		sum := 0.0
		for _, term := range l.Terms {
			sum = math.Hypot(sum, term.U)
		}
		wantNear(t, l.How+", u", l.Area.U, sum, 1e-12)
	}
	// By hand: own 0.001/sqrt 2, shared hypot(0.6, 0.8) = 1 um; times pi d/2.
	wantNear(t, "u of the strand", strand.Area.U, math.Pi*0.15*math.Sqrt(0.5+1)*1e-3, 1e-12)
	wantNear(t, "residual", strand.Residual(strand.Points[0]), math.Pow(0.299/0.3, 2)-1, 1e-12)
	if len(stated.Points) != 0 || len(strand.Points) != 2 || len(points.Points) != 5 || points.Points[2].Gap != 0.05 {
		t.Errorf("%d, %d, %d points", len(stated.Points), len(strand.Points), len(points.Points))
	}
}

func TestLessonLot(t *testing.T) {
	l, err := LessonFromPoints("strips crushed on gauges", crushed(0.0707, edgeLack/2, someGaps, 0.002, 1e-4, nil), 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	lot, err := l.Lot("thin", "a note", "2026-11-25", 0.025, 0.076)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(lot.SectionArea.X/l.Area.X-1) > 1e-4 || math.Abs(lot.SectionArea.U/l.Area.U-1) > 1e-3 {
		t.Errorf("rounded to %+v from %+v", lot.SectionArea, l.Area)
	}
	if got := lot.Learnt; got.How != "strips crushed on gauges" || got.On != "2026-11-25" || len(got.Points) != 5 ||
		!strings.HasPrefix(got.Points[0], "gauge 1: gap 0.0300 mm, width 2.35") || !strings.Contains(got.Agreement, "for 4 degrees of freedom") {
		t.Errorf("%+v", got)
	}
	if text := lot.entry().SectionArea; len(text) > len("0.0707000000 mm2") {
		t.Errorf("written as %q", text)
	}
	if _, err := l.Lot("thin", "", "", 0.025, 0.4); err == nil || !strings.Contains(err.Error(), `lot "thin": range_hi: 0.4 mm, but the strand is only 0.300 mm thick`) {
		t.Errorf("%v", err)
	}
	if stated := LessonFromDiameter(quantity.Value{X: 0.3, U: 0.002}); stated.Agreement() != "not tested" {
		t.Error(stated.Agreement())
	}
}
