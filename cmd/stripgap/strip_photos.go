package main

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/progress"
	"stripgap/cmd/internal/report"
	"stripgap/cmd/internal/wholefile"
	"stripgap/vision"
)

// learnGauges reads the strips crushed on feeler gauges. A photo that is refused
// ends it: the person has said what each is of, so none is left out in silence.
func (a *stripAdd) learnGauges(cmd *cobra.Command) (calib.AreaLesson, error) {
	u, err := positiveLength("--gauge-u", a.gaugeU)
	if err != nil {
		return calib.AreaLesson{}, err
	}
	var named []string
	tasks := make([]pipeline.Task, len(a.gauges))
	gaps := make([]quantity.Value, len(a.gauges))
	for i, g := range a.gauges {
		length, photo, ok := strings.Cut(g, "=")
		if !ok || photo == "" {
			return calib.AreaLesson{}, usagef("--gauge %q: write the gauge's thickness, = and the photo, as in 0.05mm=g50.jpg", g)
		}
		mm, err := positiveLength(fmt.Sprintf("--gauge %q", g), length)
		if err != nil {
			return calib.AreaLesson{}, err
		}
		tasks[i].Photo, gaps[i] = photo, quantity.Value{X: mm, U: u}
		named = append(named, photo)
	}
	if pipeline.Repeated(named) {
		return calib.AreaLesson{}, usagef("--gauge: a photo is named twice; each is one strip on one gauge")
	}
	if err := namePictures(a.pictures, tasks); err != nil {
		return calib.AreaLesson{}, err
	}
	results, err := readFlat(cmd, tasks)
	if err != nil {
		return calib.AreaLesson{}, err
	}
	var points []calib.AreaPoint
	var print, edges float64
	for i, r := range results {
		p, scale, edge := pipeline.AreaPoint(filepath.Base(tasks[i].Photo), r, gaps[i])
		points, print, edges = append(points, p), max(print, scale), max(edges, edge)
	}
	return calib.LessonFromPoints("strips crushed on feeler gauges", points, print, edges)
}

// learnStrand measures the photos of an unused strand. As with gauges, one that is
// refused ends it.
func (a *stripAdd) learnStrand(cmd *cobra.Command) (calib.AreaLesson, error) {
	photos, problems := pipeline.Collect(a.strand)
	if len(problems) > 0 {
		return calib.AreaLesson{}, problems[0]
	}
	tasks := make([]pipeline.Task, len(photos))
	for i, p := range photos {
		tasks[i].Photo = p
	}
	if err := namePictures(a.pictures, tasks); err != nil {
		return calib.AreaLesson{}, err
	}
	reader, err := flatReader()
	if err != nil {
		return calib.AreaLesson{}, err
	}
	reader.Measure = vision.MeasureStrand
	line := progress.New(cmd.ErrOrStderr(), len(tasks))
	entries := pipeline.Batch(cmd.Context(), len(tasks), 1, func(i int) pipeline.Entry { return reader.Read(tasks[i]) },
		func(i int) pipeline.Entry { return pipeline.Interrupted(tasks[i]) }, func(i int) { line.Step(tasks[i].Photo) })
	line.Clear()
	results, err := allRead(cmd, entries)
	if err != nil {
		return calib.AreaLesson{}, err
	}
	var names []string
	var readings []quantity.Value
	var shared []quantity.Term
	for i, r := range results {
		d, common := pipeline.StrandReading(r)
		names, readings = append(names, filepath.Base(photos[i])), append(readings, d)
		shared = larger(shared, common)
	}
	return calib.LessonFromStrand(names, readings, shared)
}

// larger keeps of each term the larger one: what photos share is as large as in
// the worst of them.
func larger(a, b []quantity.Term) []quantity.Term {
	for _, t := range b {
		if i := slices.IndexFunc(a, func(k quantity.Term) bool { return k.Name == t.Name }); i >= 0 {
			a[i].U = max(a[i].U, t.U)
		} else {
			a = append(a, t)
		}
	}
	return a
}

// scaleU is the standard uncertainty in mm that all bars of a printed scale share:
// how far its ink spreads. Estimate, no source.
const scaleU = 0.01

// learnScale measures the bars of a sleeve's own printed scale. Their labels are
// known to half their last digit.
func (a *stripAdd) learnScale(cmd *cobra.Command) (calib.AreaLesson, error) {
	gaps, err := parseLabels(a.labels)
	if err != nil {
		return calib.AreaLesson{}, err
	}
	reader, err := flatReader()
	if err != nil {
		return calib.AreaLesson{}, err
	}
	if a.zone != "" {
		zone, err := parseZone(a.zone)
		if err != nil {
			return calib.AreaLesson{}, usagef("--zone %q: %w", a.zone, err)
		}
		reader.Options.Zone = &zone
	}
	bars, err := reader.ReadBars(a.scale, vision.MeasureBars)
	var why *vision.Refusal
	if errors.As(err, &why) {
		err = fmt.Errorf("%s: %w; %s", a.scale, err, why.Remedy)
	}
	if err != nil {
		return calib.AreaLesson{}, err
	}
	if err := a.picture(bars); err != nil {
		return calib.AreaLesson{}, err
	}
	if len(bars.Results) != len(gaps) {
		return calib.AreaLesson{}, fmt.Errorf("%s: %d dark bars are seen (%s) for %d labels; give a label for each, or name the scale's part of the picture with --zone; nothing is kept",
			a.scale, len(bars.Results), barPlaces(bars.Results), len(gaps))
	}
	var points []calib.AreaPoint
	var print, edges float64
	for i, b := range bars.Results {
		p, scale, edge := pipeline.AreaPoint(fmt.Sprintf("bar %d", i+1), b, gaps[i])
		points, print, edges = append(points, p), max(print, scale), max(edges, edge)
	}
	return calib.LessonFromPoints("a printed scale's bars", points, print, math.Hypot(edges, scaleU))
}

// picture draws the bars, if pictures are asked for.
func (a *stripAdd) picture(bars pipeline.Bars) error {
	task := []pipeline.Task{{Photo: a.scale}}
	if err := namePictures(a.pictures, task); err != nil || task[0].Picture == "" {
		return err
	}
	data, err := report.BarsPicture(bars)
	if err == nil {
		err = wholefile.Write(task[0].Picture, data)
	}
	if err != nil {
		return fmt.Errorf("--pictures: %w; nothing is kept", err)
	}
	return nil
}

// barPlaces tells width and place of each bar, in card millimetres.
func barPlaces(bars []pipeline.Result) string {
	var list []string
	for _, b := range bars {
		x, y := (b.Ends[0].Card[0]+b.Ends[1].Card[0])/2, (b.Ends[0].Card[1]+b.Ends[1].Card[1])/2
		list = append(list, fmt.Sprintf("%.2f mm wide at %.0f,%.0f", b.Width.Mean, x, y))
	}
	return strings.Join(list, "; ")
}

// parseLabels reads the bars' clearances. One without unit takes that of the last.
func parseLabels(list string) ([]quantity.Value, error) {
	labels := strings.Split(list, ",")
	last := labels[len(labels)-1]
	unit := strings.TrimLeft(strings.TrimSpace(last), "0123456789.")
	var gaps []quantity.Value
	for _, label := range labels {
		label = strings.TrimSpace(label)
		if strings.Trim(label, "0123456789.") == "" {
			label += unit
		}
		mm, err := positiveLength(fmt.Sprintf("--labels %q", list), label)
		if err != nil {
			return nil, err
		}
		gaps = append(gaps, quantity.Value{X: mm, U: quantity.Rectangular(lastDigit(label, mm) / 2)})
	}
	return gaps, nil
}

// lastDigit is what one unit of a label's last digit is worth, mm.
func lastDigit(label string, mm float64) float64 {
	number := label[:len(label)-len(strings.TrimLeft(label, "0123456789."))]
	_, fraction, _ := strings.Cut(number, ".")
	x, err := strconv.ParseFloat(number, 64)
	if err != nil || x == 0 {
		return mm // positiveLength has read it: never here
	}
	return mm / x * math.Pow10(-len(fraction))
}

// readFlat reads photos of crushed strips lying with the card on one flat face.
func readFlat(cmd *cobra.Command, tasks []pipeline.Task) ([]pipeline.Result, error) {
	reader, err := flatReader()
	if err != nil {
		return nil, err
	}
	return allRead(cmd, readAll(reader, tasks, runtime.GOMAXPROCS(0), cmd.ErrOrStderr()))
}

// flatReader reads photos of what lies with the card on one flat face, by what is
// known of sheets and phones.
func flatReader() (*pipeline.Reader, error) {
	options, phones, err := knownOptions()
	if err != nil {
		return nil, err
	}
	options.Surface = vision.Surface{Kind: vision.SurfaceFlat}
	return newReader(pipeline.Given{Options: options, Phones: phones, Coverage: quantity.DefaultK}), nil
}

// allRead returns the results where every photo was read, and tells those that
// were not.
func allRead(cmd *cobra.Command, entries []pipeline.Entry) ([]pipeline.Result, error) {
	refused := 0
	results := make([]pipeline.Result, len(entries))
	for i, e := range entries {
		results[i] = e.Result
		if e.PictureErr != nil {
			fmt.Fprintf(cmd.ErrOrStderr(), "%s: %v\n", cmd.CommandPath(), e.PictureErr)
		}
		if f := e.Result.Refusal; f != nil {
			refused++
			fmt.Fprintf(cmd.ErrOrStderr(), "%s: %s: %s; %s\n", cmd.CommandPath(), e.Result.Photos[0], f.Message, f.Remedy)
		}
	}
	if refused > 0 {
		return nil, fmt.Errorf("%d of %d photos cannot be used; leave them out or take them again; nothing is kept", refused, len(entries))
	}
	return results, nil
}

// knownOptions are what is known of sheets and phones.
func knownOptions() (vision.Options, []calib.Phone, error) {
	phones, err := knownPhones()
	if err != nil {
		return vision.Options{}, nil, err
	}
	sheets, err := knownSheets()
	if err != nil {
		return vision.Options{}, nil, err
	}
	return vision.Options{Prints: calib.Prints(sheets)}, phones, nil
}
