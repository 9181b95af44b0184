package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"runtime"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/clearance"
	"stripgap/cmd/internal/pipeline"
	"stripgap/vision"
)

// readFlags are the flags of the read command as typed.
type readFlags struct {
	lotFile, lotName string
	format           string
	zone, pictures   string
	height, heightU  millimetres
	flat, pair       bool
	shell, journal   millimetres
	coverage         float64
	jobs             int
	explain, strict  bool

	limitsNew, limitsService string
	temperature, taperLimit  string
}

func (f *readFlags) register(flags *pflag.FlagSet) {
	flags.StringVar(&f.lotFile, "lot", "", "TOML `file` of the strip lot, instead of the lots that are known")
	flags.StringVar(&f.lotName, "lot-name", "", "`name` of a strip lot learnt with strip add, or of one in the file of --lot;\nwithout any lot only widths are told")
	flags.StringVar(&f.format, "format", "table", "table, json or csv")
	flags.StringVar(&f.pictures, "pictures", "", "write a picture of each reading into the folder `DIR`, made when missing")
	flags.StringVar(&f.zone, "zone", "", "look for the strip only in `x0,y0,x1,y1`: millimetres from the card's centre,\nx along its long side, y up")
	flags.Var(&f.height, "height", "`height` of the strip above the card's face: 5, which is mm, or 0.2in")
	flags.Var(&f.heightU, "height-u", "standard `uncertainty` of that height (0.2 mm when only --height is given)")
	flags.BoolVar(&f.flat, "flat", false, "strip and card lie on one flat face")
	flags.Var(&f.shell, "shell-radius", "strip and card lie in a shell (bowl) of this inner `radius`: 27.5, which is mm, or 1.083in")
	flags.Var(&f.journal, "journal-radius", "strip and card lie on a journal (shaft) of this `radius`")
	flags.BoolVar(&f.pair, "pair", false, "every two photos show one strip from different sides; solves its height and tilt")
	flags.StringVar(&f.limitsNew, "limits-new", "", "judge by the limits for new parts, `LO..HI` with a unit: 0.020..0.050mm")
	flags.StringVar(&f.limitsService, "limits-service", "", "judge by the service limits, `LO..HI` with a unit: ..0.0045in")
	flags.StringVar(&f.taperLimit, "taper-limit", "", "`difference` of the ends that asks for a second strip, with its unit (default 0.0005in, 0.0127mm)")
	flags.StringVar(&f.temperature, "temperature", "", "of strip and parts when the strip was crushed, with its `unit`: 20degC or 68degF")
	flags.BoolVar(&f.strict, "strict", false, "exit with 3 when a reading lies outside any of its limits")
	flags.Float64Var(&f.coverage, "k", quantity.DefaultK, "coverage factor of the uncertainties shown")
	flags.IntVar(&f.jobs, "jobs", runtime.GOMAXPROCS(0), "photos read at the same time")
	flags.BoolVar(&f.explain, "explain", false, "print each reading's uncertainty budget (table only)")
}

// reader checks the flags and makes the reader they ask for.
func (f *readFlags) reader(cmd *cobra.Command) (*pipeline.Reader, error) {
	switch {
	case f.format != "table" && f.format != "json" && f.format != "csv":
		return nil, usagef("--format %q: must be table, json or csv", f.format)
	case f.explain && f.format != "table":
		return nil, usagef("--explain goes with --format table; json always holds the budget")
	case f.jobs < 1:
		return nil, usagef("--jobs %d: must be 1 or more", f.jobs)
	case !(f.coverage > 0) || math.IsInf(f.coverage, 0):
		return nil, usagef("--k %v: must be a positive number, usually 2", f.coverage)
	case f.pair && (cmd.Flags().Changed("height") || cmd.Flags().Changed("height-u")):
		return nil, usagef("--pair solves the height: leave --height and --height-u out")
	case f.limitsNew+f.limitsService != "" && f.lotFile+f.lotName == "":
		return nil, usagef("limits need --lot-name or --lot: without a strip lot there is no clearance to judge")
	case f.strict && f.limitsNew+f.limitsService == "":
		return nil, usagef("--strict needs --limits-new or --limits-service")
	}
	options, err := f.options(cmd)
	if err != nil {
		return nil, err
	}
	var limits pipeline.Limits
	if limits.New, err = parseLimits("--limits-new", f.limitsNew); err != nil {
		return nil, err
	}
	if limits.Service, err = parseLimits("--limits-service", f.limitsService); err != nil {
		return nil, err
	}
	if err := clearance.Spec(limits).Check(); err != nil {
		return nil, usagef("--limits-new and --limits-service: %w", err)
	}
	warnOfRadius(cmd, options.Surface.Radius)
	if err := warnOfLimits(cmd, limits, 2*options.Surface.Radius); err != nil {
		return nil, err
	}
	temperature, err := f.roomTemperature()
	if err != nil {
		return nil, err
	}
	taper, err := f.taper()
	if err != nil {
		return nil, err
	}
	lot, err := f.lot()
	if err != nil {
		return nil, err
	}
	known, phones, err := knownOptions()
	if err != nil {
		return nil, err
	}
	options.Prints = known.Prints
	return newReader(pipeline.Given{Options: options, Phones: phones, Lot: lot, Temperature: temperature,
		TaperLimit: taper, Limits: limits, Coverage: f.coverage}), nil
}

// warnOfLimits tells of limits that look like a slip for a journal of the diameter
// in mm, 0 where it is not known.
func warnOfLimits(cmd *cobra.Command, limits pipeline.Limits, journal float64) error {
	for _, kind := range []struct {
		flag string
		l    *clearance.Limits
	}{{"--limits-new", limits.New}, {"--limits-service", limits.Service}} {
		if kind.l == nil {
			continue
		}
		doubts, err := kind.l.AnyDoubts()
		if journal != 0 {
			doubts, err = kind.l.Doubts(journal)
		}
		if err != nil {
			return err
		}
		for _, d := range doubts {
			fmt.Fprintf(cmd.ErrOrStderr(), "%s: %s: %s\n", cmd.CommandPath(), kind.flag, d.Text)
		}
	}
	return nil
}

// taper is what --taper-limit says in mm, 0 when it is not given.
func (f *readFlags) taper() (float64, error) {
	if f.taperLimit == "" {
		return 0, nil
	}
	if f.lotFile+f.lotName == "" {
		return 0, usagef("--taper-limit needs --lot-name or --lot: without a strip lot there is no clearance")
	}
	mm, err := quantity.ParseLength(f.taperLimit)
	if err == nil && !(mm > 0 && mm <= maxTaperLimit) {
		err = fmt.Errorf("%q must be above 0 and at most %v mm", f.taperLimit, maxTaperLimit)
	}
	if err != nil {
		return 0, usagef("--taper-limit: %w", err)
	}
	return mm, nil
}

// maxTaperLimit in mm is more than any strip's clearance.
const maxTaperLimit = 1.0

// roomTemperature is what --temperature says in degC, nil when it is not given.
func (f *readFlags) roomTemperature() (*float64, error) {
	if f.temperature == "" {
		return nil, nil
	}
	if f.lotFile+f.lotName == "" {
		return nil, usagef("--temperature needs --lot-name or --lot: it changes the strip's section area")
	}
	degC, err := quantity.ParseTemperature(f.temperature)
	if err == nil && !(math.Abs(degC) <= 100) {
		err = fmt.Errorf("%q is no temperature to use a strip at", f.temperature)
	}
	if err != nil {
		return nil, usagef("--temperature: %w", err)
	}
	return &degC, nil
}

// parseLimits reads one pair of limits, nil when it is not given.
func parseLimits(flag, s string) (*clearance.Limits, error) {
	if s == "" {
		return nil, nil
	}
	l, err := clearance.ParseLimits(s)
	if err != nil {
		return nil, usagef("%s: %w", flag, err)
	}
	return &l, nil
}

// statedHeightU is the standard uncertainty in mm of a height that was measured
// with a rule and given without its own.
const statedHeightU = 0.2

// options are what the flags tell about the photos.
func (f *readFlags) options(cmd *cobra.Command) (vision.Options, error) {
	given := cmd.Flags().Changed
	switch {
	case given("height-u") && !(f.heightU > 0):
		return vision.Options{}, usagef("--height-u %v mm: must be positive", float64(f.heightU))
	}
	surface, err := f.surface(given)
	if err != nil {
		return vision.Options{}, err
	}
	o := vision.Options{Surface: surface}
	if given("height") || given("height-u") {
		o.Height = &vision.Height{MM: float64(f.height), U: statedHeightU}
		if given("height-u") {
			o.Height.U = float64(f.heightU)
		}
	}
	if f.zone != "" {
		zone, err := parseZone(f.zone)
		if err != nil {
			return vision.Options{}, usagef("--zone %q: %w", f.zone, err)
		}
		o.Zone = &zone
	}
	return o, nil
}

// surface is what the flags tell about the metal under strip and card.
func (f *readFlags) surface(given func(string) bool) (vision.Surface, error) {
	said := 0
	var s vision.Surface
	if f.flat {
		said++
		s.Kind = vision.SurfaceFlat
	}
	for _, round := range []struct {
		flag   string
		kind   vision.SurfaceKind
		radius float64
	}{{"shell-radius", vision.SurfaceShell, float64(f.shell)}, {"journal-radius", vision.SurfaceJournal, float64(f.journal)}} {
		if !given(round.flag) {
			continue
		}
		said++
		if !(round.radius >= minRadius && round.radius <= maxRadius) {
			return s, usagef("--%s %.4g mm: must be a radius from %v to %v mm; take half the diameter", round.flag, round.radius, minRadius, maxRadius)
		}
		s = vision.Surface{Kind: round.kind, Radius: round.radius}
	}
	if said > 1 {
		return s, usagef("--flat, --shell-radius and --journal-radius exclude one another")
	}
	return s, nil
}

// told says by its diameter, which parts are measured by, which round surface was told:
// of one that was taken for a radius it is twice what the person has in hand.
func (f *readFlags) told() string {
	switch {
	case f.shell > 0:
		return fmt.Sprintf("the strips lie in shells %.4g mm across", 2*f.shell)
	case f.journal > 0:
		return fmt.Sprintf("the strips lie on journals %.4g mm across", 2*f.journal)
	}
	return ""
}

// largeRadius in mm is half of a journal that few engines have (common practice, no
// source), and as large as many a journal is across.
const largeRadius = 35.0

// warnOfRadius tells what a large radius is half of: makers print diameters, and one
// taken for a radius makes a strip 3 to 6 % wrong, which no single photo shows.
func warnOfRadius(cmd *cobra.Command, radius float64) {
	if radius > largeRadius {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s: a radius of %.4g mm is half of a journal %.4g mm across; if %.4g mm is its diameter, give %.4g\n",
			cmd.CommandPath(), radius, 2*radius, radius, radius/2)
	}
}

// The radii of bearings this is for, mm, with room on both sides.
const minRadius, maxRadius = 8.0, 500.0

// parseZone reads x0,y0,x1,y1 in card millimetres.
func parseZone(s string) (vision.Zone, error) {
	parts := strings.Split(s, ",")
	if len(parts) != 4 {
		return vision.Zone{}, errors.New("must be four numbers, x0,y0,x1,y1")
	}
	var v [4]float64
	for i, p := range parts {
		x, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return vision.Zone{}, fmt.Errorf("%q is not a number of millimetres", p)
		}
		v[i] = x
	}
	if v[0] >= v[2] || v[1] >= v[3] {
		return vision.Zone{}, errors.New("x0 must be less than x1, and y0 less than y1")
	}
	return vision.Zone{Min: calib.CardPoint{X: v[0], Y: v[1]}, Max: calib.CardPoint{X: v[2], Y: v[3]}}, nil
}

// lot finds the strip lot, nil when none is named.
func (f *readFlags) lot() (*calib.Lot, error) {
	if f.lotFile == "" && f.lotName == "" {
		return nil, nil
	}
	if f.lotFile == "" {
		return knownLot(f.lotName)
	}
	data, err := readSome(f.lotFile, maxLotFile)
	if err != nil {
		return nil, fmt.Errorf("%w; --lot must name a readable TOML file", err)
	}
	lots, err := calib.ParseLots(data, f.lotFile)
	if err != nil {
		return nil, err
	}
	lot, err := calib.FindLot(lots, f.lotName)
	if err != nil {
		return nil, fmt.Errorf("%s: %w; choose with --lot-name", f.lotFile, err)
	}
	return &lot, nil
}

// maxLotFile is more than a lot file may hold, so that one too long is refused
// as such and a device without end is not read to the end of memory.
const maxLotFile = 2 << 20

// readSome reads a file up to limit bytes.
func readSome(path string, limit int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, limit))
}
