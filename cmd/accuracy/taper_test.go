package main

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"stripgap/clearance"
	"stripgap/vision/synth"
)

// The drawn strips have the promised tapers: by their true width line the ends'
// clearances differ by the limit or by nothing, but for the roughness of edges.
func TestTaperScenes(t *testing.T) {
	for _, stratum := range []synth.Stratum{synth.Flat, synth.Moderate} {
		for i := range 3 {
			for _, even := range []bool{true, false} {
				s, err := taperTrial{stratum: stratum, index: i, seed: 5, even: even}.scene()
				if err != nil {
					t.Fatal(err)
				}
				strip := s.Strips[0]
				a, b := strip.Width-strip.Taper/2, strip.Width+strip.Taper/2
				got := math.Abs(strip.SectionArea/a - strip.SectionArea/b)
				want := clearance.TaperLimit
				if even {
					want = 0
				}
				if math.Abs(got-want) > 1e-12 {
					t.Errorf("%s %d, even %v: ends differ by %v mm, want %v", stratum, i, even, got, want)
				}
				if c := strip.SectionArea / strip.Width; c < taperClearanceLo || c > taperClearanceHi {
					t.Errorf("%s %d: clearance %v", stratum, i, c)
				}
				if s.Camera.Width > 4000 || s.Validate() != nil {
					t.Errorf("%s %d: %d px wide, %v", stratum, i, s.Camera.Width, s.Validate())
				}
			}
		}
	}
}

// Two rendered strips through the whole benchmark: the tapered one is found, the
// even one is not, and the report counts them.
func TestTaperBenchmark(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	var rows []taperOutcome
	for _, even := range []bool{true, false} {
		o := tryTaper(taperTrial{stratum: synth.Flat, index: 2, seed: 1, even: even, told: toldSurface})
		if o.broken != nil || o.code != "" {
			t.Fatalf("even %v: %v, refused as %q", even, o.broken, o.code)
		}
		if d := math.Abs(o.taper - o.truth); d > 3*o.u {
			t.Errorf("even %v: taper %v mm, truth %v, u %v", even, o.taper, o.truth, o.u)
		}
		if found := o.flag == clearance.FlagTaper; found == even {
			t.Errorf("even %v: flag %q", even, o.flag)
		}
		rows = append(rows, o)
	}
	rows = append(rows, taperOutcome{taperTrial: taperTrial{stratum: synth.Flat}, code: "no-strip"})
	groups := taperGroups(rows)
	if g := groups[0]; g.even != 1 || g.evenFlag != 0 || g.limit != 1 || g.found != 1 || g.refused != 1 {
		t.Errorf("counted %+v", g)
	}
	report := string(taperReport(options{taper: true, names: []string{"flat"}, count: 1, out: "out"}, groups, time.Unix(0, 0)))
	if !strings.Contains(report, "| all | 1 | 0 | 0.00 | 0 | 1 | 1 | 100.00 | 0 | 1 |") || !strings.Contains(report, "--taper --strata flat --count 1") {
		t.Errorf("report:\n%s", report)
	}
	if n := bytes.Count(taperCSV(rows), []byte("\n")); n != 4 {
		t.Errorf("%d lines of CSV, want 4", n)
	}
}
