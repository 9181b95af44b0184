// Command accuracy measures how right the readings are: it renders seeded
// photos with exact truth, reads each as stripgap would, and reports bias,
// spread, coverage of the stated uncertainty and every refusal, for each
// population of scenes and for parts of it.
//
// It judges the reading of one photo by pixels alone. It does not know sheets
// measured by callipers, strip lots or verdicts, and says nothing of photos that
// a phone took.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/progress"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// options are the flags.
type options struct {
	count  int
	faults int
	pairs  int
	tones  int
	alike  int
	seed   uint64
	names  []string
	out    string
	jobs   int
	told   knowledge
	keep   bool
	taper  bool
	photos cache
}

// errUsage marks flags that make no sense.
var errUsage = errors.New("usage")

// secondsPerPhoto is what rendering and reading 12 megapixels took on one core
// of the machine this was written on; it only serves the notice at the start.
const secondsPerPhoto = 4.5

// run is the whole program: exit code 0 done, 1 something failed, 2 usage. A
// photo that is refused or misread is a finding, not a failure.
func run(args []string, stdout, stderr io.Writer) int {
	o, err := parse(args, stderr)
	if errors.Is(err, pflag.ErrHelp) {
		return 0
	}
	if err == nil {
		err = benchmark(o, stdout, stderr)
	}
	switch {
	case errors.Is(err, errUsage):
		fmt.Fprintln(stderr, "accuracy:", err)
		return 2
	case err != nil:
		fmt.Fprintln(stderr, "accuracy:", err)
		return 1
	}
	return 0
}

func parse(args []string, stderr io.Writer) (options, error) {
	var o options
	f := pflag.NewFlagSet("accuracy", pflag.ContinueOnError)
	f.SetOutput(stderr)
	f.IntVar(&o.count, "count", 150, "photos of each population that is to be read")
	f.IntVar(&o.faults, "faults", 12, "photos of each fault that is to be refused")
	f.IntVar(&o.pairs, "pairs", 40, "strips that are read from one photo and from two")
	f.IntVar(&o.tones, "tones", 40, "photos with a tone curve that the reader does not expect")
	f.IntVar(&o.alike, "alike", 40, "photos of strips that only their colour tells from the metal")
	f.Uint64Var(&o.seed, "seed", 1, "seed; photo i of a population draws from it and i alone")
	f.StringSliceVar(&o.names, "strata", names(), "populations of scenes")
	f.StringVar(&o.out, "out", "out/accuracy", "folder for photos.csv, summary.csv, summary.md and accuracy.png")
	f.IntVar(&o.jobs, "jobs", 2, "photos at a time; each needs about 500 MB")
	told := f.String("told", knowledges[0], "what the reader is told: "+strings.Join(knowledges, ", ")+"; the last two with the print's scale; the first is what suits each population")
	f.BoolVar(&o.keep, "keep", false, "write the worst photos with their truth to OUT/worst")
	f.BoolVar(&o.taper, "taper", false, "measure how often a taper is found, and noise taken for one, in photos of even and tapered strips (count of each, flat and moderate)")
	photos := f.String("photos", "", "folder that keeps the rendered photos for the next run; delete it when the renderer changes")
	if err := f.Parse(args); err != nil {
		if errors.Is(err, pflag.ErrHelp) {
			return o, err
		}
		return o, fmt.Errorf("%w: %w", errUsage, err)
	}
	o.photos, o.told = cache(*photos), knowledge(*told)
	switch {
	case f.NArg() > 0:
		return o, fmt.Errorf("%w: %q is not a flag", errUsage, f.Arg(0))
	case min(o.count, o.faults, o.pairs, o.tones, o.alike) < 1:
		return o, fmt.Errorf("%w: --count is %d, --faults %d, --pairs %d, --tones %d and --alike %d, want at least 1", errUsage, o.count, o.faults, o.pairs, o.tones, o.alike)
	case !slices.Contains(knowledges, *told):
		return o, fmt.Errorf("%w: --told is %q, want one of %s", errUsage, *told, strings.Join(knowledges, ", "))
	case o.jobs < 1:
		return o, fmt.Errorf("%w: --jobs is %d, want at least 1", errUsage, o.jobs)
	}
	for _, n := range o.names {
		if !slices.Contains(names(), n) {
			return o, fmt.Errorf("%w: no stratum %q, have %s", errUsage, n, strings.Join(names(), ","))
		}
	}
	return o, nil
}

func benchmark(o options, stdout, stderr io.Writer) error {
	if o.photos != "" {
		if err := os.MkdirAll(string(o.photos), 0o755); err != nil {
			return err
		}
	}
	if o.taper {
		return taperBenchmark(o, stdout, stderr)
	}
	trials := o.trials()
	wait := time.Duration(float64(len(trials)) * secondsPerPhoto / float64(o.jobs) * float64(time.Second))
	fmt.Fprintf(stderr, "%d photos, about %v with %d cores to themselves\n", len(trials), wait.Round(time.Second), o.jobs)

	line := progress.New(stderr, len(trials))
	rows, err := measure(trials, o.jobs, func() { line.Step("") })
	line.Clear()
	if err != nil {
		return err
	}
	groups := summarise(rows)
	if err := printTable(stdout, groups); err != nil {
		return err
	}
	if err := write(o, rows, groups, time.Now()); err != nil {
		return err
	}
	if o.keep {
		return keep(o, rows)
	}
	return nil
}

// measure makes and reads every photo, jobs at a time; the outcomes come in the
// order of the trials.
func measure(trials []trial, jobs int, done func()) ([]outcome, error) {
	rows := pipeline.Batch(context.Background(), len(trials), jobs,
		func(i int) outcome { return try(trials[i]) }, nil, func(int) { done() })
	for _, r := range rows {
		if r.broken != nil {
			return nil, fmt.Errorf("%s photo %d, seed %d: %w", r.name, r.index, r.seed, r.broken)
		}
	}
	return rows, nil
}

// trials lists every photo to make, population by population.
func (o options) trials() []trial {
	var all []trial
	for _, p := range populations() {
		if !slices.Contains(o.names, p.name) {
			continue
		}
		for i := range p.count(o) {
			tell := o.told
			if tell == toldUsual {
				tell = p.told
			}
			all = append(all, trial{p, i, o.seed, tell, o.photos})
		}
	}
	return all
}
