package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/clearance"
	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/progress"
	"stripgap/vision"
	"stripgap/vision/synth"
)

// taperTrial is one photo of a strip that is even, or whose ends differ by the
// taper limit, read to a clearance as a build would.
type taperTrial struct {
	stratum synth.Stratum
	index   int
	seed    uint64
	even    bool
	told    knowledge
	photos  cache
}

// taperOutcome is what became of a taperTrial.
type taperOutcome struct {
	taperTrial
	code          string // of the refusal; "" when read
	card, surface string
	clearance     float64 // mm, true
	taper, truth  float64 // mm, first named end minus second
	u             float64 // mm, standard uncertainty of taper
	flag          string  // clearance.FlagTaper, FlagTaperUnsure or ""
	broken        error
}

// Strips of these clearances in mm are drawn: those of engine bearings, well
// inside the two finer of the usual strip ranges (common practice, no source).
const taperClearanceLo, taperClearanceHi = 0.02, 0.15

// areaU is the relative standard uncertainty of the section area told.
const areaU = 0.01

// scene draws the trial's photo, cropped to what is in it, because only card and
// strip are read and cost time.
func (t taperTrial) scene() (synth.Scene, error) {
	half := uint64(0)
	if t.even {
		half = 1 << 32 // other draws than the tapered ones
	}
	rng := rand.New(rand.NewPCG(t.seed, half+uint64(t.index)))
	s, err := synth.RandomWith(rng, t.stratum, func(s *synth.Scene) bool {
		strip := &s.Strips[0]
		c := strip.SectionArea / strip.Width
		sign := math.Copysign(1, strip.Taper)
		strip.Taper = 0
		if !t.even {
			strip.Taper = sign * widthTaper(strip.Width, strip.SectionArea, clearance.TaperLimit)
		}
		return c >= taperClearanceLo && c <= taperClearanceHi
	})
	if err != nil {
		return s, err
	}
	return synth.Cropped(s), nil
}

// widthTaper is the taper of a strip's width in mm that makes the clearances at
// its ends, area over width, differ by taper mm: the positive root t of
// area t = taper (width^2 - t^2/4).
func widthTaper(width, area, taper float64) float64 {
	return 2 * taper * width * width / (area + math.Sqrt(area*area+taper*taper*width*width))
}

// clearanceTaper is the true taper of the clearance in mm, area over width, from
// tip to tip along the true width line.
func clearanceTaper(t *synth.StripTruth) float64 {
	half := t.WidthSlope * t.LengthMM / 2
	return t.SectionArea/(t.MeanWidth-half) - t.SectionArea/(t.MeanWidth+half)
}

// tryTaper renders and reads one strip.
func tryTaper(t taperTrial) taperOutcome {
	o := taperOutcome{taperTrial: t}
	s, err := t.scene()
	if err != nil {
		o.broken = err
		return o
	}
	data, truth, err := t.photos.render(s)
	if err != nil {
		o.broken = err
		return o
	}
	strip := truth.Strips[0]
	o.card, o.surface = s.Card.Layout, s.Surface.Kind
	o.clearance = strip.Clearance
	o.truth = clearanceTaper(&strip)
	r := taperReader(t, &s, data).Read(pipeline.Task{Photo: "rendered.jpg"}).Result
	if r.Refusal != nil {
		o.code = r.Refusal.Code
		return o
	}
	o.taper, o.u = r.Clearance.Taper, r.Clearance.TaperExpanded/r.Clearance.Coverage
	for _, f := range []string{clearance.FlagTaper, clearance.FlagTaperUnsure} {
		if slices.Contains(r.Flags, f) {
			o.flag = f
		}
	}
	return o
}

// taperReader reads the one photo with the strip's section area.
func taperReader(t taperTrial, s *synth.Scene, data []byte) *pipeline.Reader {
	area := s.Strips[0].SectionArea
	r := &pipeline.Reader{
		Load:    func(path string) (*vision.Photo, error) { return vision.Decode(path, data) },
		Measure: vision.Measure,
	}
	r.Options = t.told.options(s)
	r.Lot = &calib.Lot{Name: "rendered", SectionArea: quantity.Value{X: area, U: areaU * area},
		RangeLo: 0.001, RangeHi: 1.99 * math.Sqrt(area/math.Pi)}
	r.Coverage = coverageFactor
	return r
}

// taperRates are counts over a group of trials.
type taperRates struct {
	name                       string
	even, evenFlag, evenUnsure int // read, and of these
	limit, found, unsure       int
	refused                    int
	us, errors                 []float64 // mm, of those read
	z                          []deviation
}

func (r *taperRates) add(o taperOutcome) {
	if o.code != "" {
		r.refused++
		return
	}
	flag, unsure := o.flag == clearance.FlagTaper, o.flag == clearance.FlagTaperUnsure
	if o.even {
		r.even++
		r.evenFlag += one(flag)
		r.evenUnsure += one(unsure)
	} else {
		r.limit++
		r.found += one(flag)
		r.unsure += one(unsure)
	}
	r.us = append(r.us, o.u)
	r.errors = append(r.errors, math.Abs(o.taper-o.truth))
	r.z = append(r.z, deviation{o.taper - o.truth, o.u})
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}

// taperStrata are the populations whose strips are drawn even or tapered.
var taperStrata = []synth.Stratum{synth.Flat, synth.Moderate}

// taperBenchmark renders, reads and reports.
func taperBenchmark(o options, stdout, stderr io.Writer) error {
	var trials []taperTrial
	for _, stratum := range taperStrata {
		if !slices.Contains(o.names, string(stratum)) {
			continue
		}
		for i := range o.count {
			for _, even := range []bool{true, false} {
				trials = append(trials, taperTrial{stratum, i, o.seed, even, o.told, o.photos})
			}
		}
	}
	line := progress.New(stderr, len(trials))
	rows := pipeline.Batch(context.Background(), len(trials), o.jobs,
		func(i int) taperOutcome { return tryTaper(trials[i]) }, nil, func(int) { line.Step("") })
	line.Clear()
	for _, r := range rows {
		if r.broken != nil {
			return fmt.Errorf("%s photo %d, seed %d: %w", r.stratum, r.index, r.seed, r.broken)
		}
	}
	text := taperReport(o, taperGroups(rows), time.Now())
	if err := os.MkdirAll(o.out, 0o755); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(o.out, "taper.csv"), taperCSV(rows), 0o644); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(o.out, "taper.md"), text, 0o644); err != nil {
		return err
	}
	_, err := stdout.Write(text)
	return err
}

// taperGroups counts all trials and parts of them.
func taperGroups(rows []taperOutcome) []taperRates {
	parts := []struct {
		name string
		has  func(o taperOutcome) bool
	}{
		{"all", func(taperOutcome) bool { return true }},
		{"flat", func(o taperOutcome) bool { return o.stratum == synth.Flat }},
		{"moderate", func(o taperOutcome) bool { return o.stratum == synth.Moderate }},
		{"bench card", func(o taperOutcome) bool { return o.card == "bench" }},
		{"rider", func(o taperOutcome) bool { return o.card == "rider" }},
		{"shell or journal", func(o taperOutcome) bool { return o.surface != "flat" }},
		{"clearance below 0.05 mm", func(o taperOutcome) bool { return o.clearance < 0.05 }},
		{"clearance from 0.05 mm", func(o taperOutcome) bool { return o.clearance >= 0.05 }},
	}
	groups := make([]taperRates, len(parts))
	for i, p := range parts {
		groups[i].name = p.name
		for _, o := range rows {
			if p.has(o) {
				groups[i].add(o)
			}
		}
	}
	return groups
}

// taperReport is the table for reading.
func taperReport(o options, groups []taperRates, now time.Time) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# Taper on rendered photos\n\nMade on %s from commit %s by\n\n    %s\n\n", now.Format(time.DateOnly), commit(), o.command())
	fmt.Fprintf(&b, `Photos are rendered. Half the strips are even from end to end, the other half have
ends whose clearances differ, but for the roughness of edges, by the taper limit, %.4f mm (0.0005 in), about
clearances of %g to %g mm. Each photo is read with the strip's section area known to
%g %%. *flagged* even strips ask for a second strip without need, *found* is the share
of tapered ones that do. *unsure* readings say that a taper of the limit could hide in
their uncertainty and ask for a surer photo; they count as neither. *u* is the median
standard uncertainty of the taper, *error* the median and 95th percentile of its
size, in um, *z sd* the standard deviation of error over u. Photos that were refused
are left out.

| photos of | even read | flagged | %% | unsure | tapered read | found | %% | unsure | refused | u um | error um | p95 um | z sd |
|---|---|---|---|---|---|---|---|---|---|---|---|---|---|
`, clearance.TaperLimit, taperClearanceLo, taperClearanceHi, 100*areaU)
	for _, g := range groups {
		if len(g.us) == 0 {
			continue
		}
		_, sd := meanSD(g.z)
		fmt.Fprintf(&b, "| %s | %d | %d | %s | %d | %d | %d | %s | %d | %d | %.2f | %.2f | %.2f | %.2f |\n", g.name,
			g.even, g.evenFlag, percent(g.evenFlag, g.even), g.evenUnsure,
			g.limit, g.found, percent(g.found, g.limit), g.unsure, g.refused,
			1000*quantile(g.us, 0.5), 1000*quantile(g.errors, 0.5), 1000*quantile(g.errors, 0.95), sd)
	}
	return b.Bytes()
}

// percent prints k of n, or a dash where n is 0.
func percent(k, n int) string {
	if n == 0 {
		return "-"
	}
	return fmt.Sprintf("%.2f", share(k, n))
}

// taperCSV lists every trial.
func taperCSV(rows []taperOutcome) []byte {
	var b strings.Builder
	b.WriteString("stratum,index,seed,even,told,card,surface,code,flag,clearance_true_mm,taper_mm,taper_true_mm,taper_u_mm\n")
	for _, o := range rows {
		fmt.Fprintf(&b, "%s,%d,%d,%t,%s,%s,%s,%s,%s,%s,%s,%s,%s\n", o.stratum, o.index, o.seed, o.even, o.told, o.card, o.surface,
			o.code, o.flag, text(o.clearance), text(o.taper), text(o.truth), text(o.u))
	}
	return []byte(b.String())
}
