package main

import (
	"fmt"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/spf13/cobra"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/cmd/internal/pipeline"
	"stripgap/vision"
)

// learnGauges reads the strips crushed on feeler gauges. A photo that is refused
// ends it: the person has said what each is of, so none is left out in silence.
func (a *stripAdd) learnGauges(cmd *cobra.Command) (calib.AreaLesson, error) {
	u, err := positiveLength("--gauge-u", a.gaugeU)
	if err != nil {
		return calib.AreaLesson{}, err
	}
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
	}
	results, err := readFlat(cmd, tasks)
	if err != nil {
		return calib.AreaLesson{}, err
	}
	var points []calib.AreaPoint
	var print, edges float64
	for i, r := range results {
		var p calib.AreaPoint
		p, print, edges = pipeline.AreaPoint(filepath.Base(tasks[i].Photo), r, gaps[i])
		points = append(points, p)
	}
	return calib.LessonFromPoints("strips crushed on feeler gauges", points, print, edges)
}

// readFlat reads photos whose strip and card lie on one flat face, by what is
// known of sheets and phones. Any refusal is an error.
func readFlat(cmd *cobra.Command, tasks []pipeline.Task) ([]pipeline.Result, error) {
	options, phones, err := knownOptions()
	if err != nil {
		return nil, err
	}
	options.Surface = vision.Surface{Kind: vision.SurfaceFlat}
	reader := newReader(pipeline.Given{Options: options, Phones: phones, Coverage: quantity.DefaultK})
	entries := readAll(reader, tasks, runtime.GOMAXPROCS(0), cmd.ErrOrStderr())
	refused := 0
	results := make([]pipeline.Result, len(entries))
	for i, e := range entries {
		results[i] = e.Result
		if f := e.Result.Refusal; f != nil {
			refused++
			fmt.Fprintf(cmd.ErrOrStderr(), "%s: %s: %s; %s\n", cmd.CommandPath(), tasks[i].Photo, f.Message, f.Remedy)
		}
	}
	if refused > 0 {
		return nil, fmt.Errorf("%d of %d photos cannot be used; leave them out or take them again; nothing is kept", refused, len(tasks))
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
