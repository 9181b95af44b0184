package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/clearance"
	"stripgap/cmd/internal/report"
	"stripgap/cmd/internal/wholefile"
)

// stripAdd is what the command line asks of `strip add`.
type stripAdd struct {
	name, span, note string
	diameter, u      string   // a stated diameter
	gauges           []string // LENGTH=PHOTO
	gaugeU           string
	strand           []string // photos or folders
	scale, labels    string   // photo of a printed scale, and its bars' clearances
	zone             string
	plot, pictures   string
	replace          bool
}

const stripAddHelp = `add learns the section area of a lot of strip and remembers it under NAME, for
read --lot-name. The area is that of the strand before it is crushed. It comes
from one of:

  --gauge     photos of strips crushed between two flat faces that feeler gauges
              hold apart, one flag a photo, with the gauge's thickness; three or
              more gaps over the strip's range show whether the area is conserved
  --strand    photos of an unused strand beside the card, straight, on plain white
              paper, in light from all sides (shade, no lamp), as close as the phone
              focuses; several, the strand and the light turned in between
  --scale     a photo of the dark bars that a strip's sleeve carries to compare
              with, beside the card, with --labels: each bar's clearance as printed,
              from left to right or from the top down as the card's words read
  --diameter  the diameter of an unused strand, measured otherwise; with its
              standard uncertainty, --diameter-u

Each gives the area with its uncertainty, tells when the points disagree, and
with --plot draws how far each lies off. Lay strip and card on the same flat face
and check the card's sheet first (stripgap card check).`

func newStripAddCommand() *cobra.Command {
	var a stripAdd
	cmd := &cobra.Command{
		Use:   "add NAME --range LO..HI",
		Short: "Learn a strip lot's section area",
		Long:  stripAddHelp,
		Example: `  stripgap strip add thin --range 0.025..0.076mm --diameter 0.300mm --diameter-u 0.002mm
  stripgap strip add thin --range 0.025..0.076mm --gauge 0.03mm=g30.jpg --gauge 0.05mm=g50.jpg --gauge 0.07mm=g70.jpg --plot thin.svg
  stripgap strip add thin --range 0.025..0.076mm --strand strand-photos
  stripgap strip add thin --range 0.025..0.076mm --scale sleeve.jpg --labels 0.025,0.038,0.051,0.076mm`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return fmt.Errorf("%d names given; give the lot one name, in quotes if it has blanks", len(args))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			a.name = args[0]
			return a.run(cmd)
		},
	}
	f := cmd.Flags()
	f.StringVar(&a.span, "range", "", "clearances the strip is made for, `LO..HI` with a unit: 0.025..0.076mm")
	f.StringVar(&a.note, "note", "", "`words` to keep with the lot, such as where it was bought")
	f.StringVar(&a.diameter, "diameter", "", "`diameter` of an unused strand, with its unit")
	f.StringVar(&a.u, "diameter-u", "", "standard uncertainty of --diameter, with its unit")
	f.StringArrayVar(&a.gauges, "gauge", nil, "`LENGTH=PHOTO` of a strip crushed on a feeler gauge of that thickness; once a photo")
	f.StringVar(&a.gaugeU, "gauge-u", "0.002 mm", "standard uncertainty of a feeler gauge's thickness, with its unit")
	f.StringArrayVar(&a.strand, "strand", nil, "`PHOTO` of an unused strand, or a folder of them; may be given more than once")
	f.StringVar(&a.scale, "scale", "", "`PHOTO` of a printed scale's bars")
	f.StringVar(&a.labels, "labels", "", "clearances of the bars of --scale in their order, `0.025,0.038,0.051mm`")
	f.StringVar(&a.zone, "zone", "", "look for the bars of --scale only in `x0,y0,x1,y1`: millimetres from the card's centre,\nx along its long side, y up")
	f.StringVar(&a.plot, "plot", "", "write how far each point lies off into this `FILE.svg`")
	f.StringVar(&a.pictures, "pictures", "", "write a picture of each photo into the folder `DIR`, made when missing")
	f.BoolVar(&a.replace, "replace", false, "learn a lot anew that is known already")
	cobra.CheckErr(cmd.MarkFlagRequired("range")) // fails only for a flag that does not exist
	return cmd
}

func (a *stripAdd) run(cmd *cobra.Command) error {
	span, err := a.check(cmd.Flags().Changed)
	if err != nil {
		return err
	}
	// Looked at first: a broken file or a name that is taken must not cost the
	// work of learning. keepLot looks again.
	lots, err := knownLots()
	if err != nil {
		return err
	}
	if slices.ContainsFunc(lots, func(l calib.Lot) bool { return l.Name == a.name }) && !a.replace {
		return fmt.Errorf("lot %q %w", a.name, errLotKnown)
	}
	lesson, err := a.learn(cmd)
	if err != nil {
		return err
	}
	lot, err := lesson.Lot(a.name, a.note, time.Now().Format(time.DateOnly), span.Lo, span.Hi)
	if err != nil {
		return fmt.Errorf("%w%s; nothing is kept", err, a.meant(span, lesson))
	}
	if err := a.checkSpan(span, lot.Diameter()); err != nil {
		return err
	}
	if a.plot != "" {
		if err := wholefile.Write(a.plot, report.AreaPlot(a.name, lesson)); err != nil {
			return fmt.Errorf("--plot: %w; nothing is kept", err)
		}
	}
	path, err := keepLot(lot, a.replace)
	if err != nil {
		return fmt.Errorf("%w; what was learnt is not kept", err)
	}
	for _, doubt := range lesson.Doubts {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s: %s\n", cmd.CommandPath(), doubt)
	}
	return tellLesson(cmd.OutOrStdout(), lot, lesson, path)
}

// check finds mistakes that the command line alone shows, and reads the range.
func (a *stripAdd) check(changed func(string) bool) (clearance.Span, error) {
	ways := []string{"gauge", "strand", "scale", "diameter"}
	if !slices.ContainsFunc(ways, changed) {
		return clearance.Span{}, usagef("say how the section area is known: --gauge, --strand, --scale or --diameter")
	}
	if err := exclusive(changed, ways...); err != nil {
		return clearance.Span{}, err
	}
	l, err := clearance.ParseLimits(a.span)
	if err != nil {
		return clearance.Span{}, usagef("--range: %w", err)
	}
	span := clearance.Span(l)
	switch {
	case strings.TrimSpace(a.name) == "":
		return span, usagef("the lot's name is empty")
	case span.Check() != nil:
		return span, usagef("--range %q: give both ends of the range", a.span)
	case changed("diameter") != changed("diameter-u"):
		return span, usagef("--diameter and --diameter-u go together: a figure without its uncertainty is none")
	case changed("gauge-u") && len(a.gauges) == 0:
		return span, usagef("--gauge-u is for --gauge")
	case changed("scale") != changed("labels"):
		return span, usagef("--scale and --labels go together: a bar without its clearance tells nothing")
	case changed("zone") && a.scale == "":
		return span, usagef("--zone is for --scale")
	case a.pictures != "" && changed("diameter"):
		return span, usagef("--pictures needs photos; --diameter has none")
	case a.plot != "" && !strings.EqualFold(filepath.Ext(a.plot), ".svg"):
		return span, usagef("--plot %s: the name must end in .svg", a.plot)
	}
	if a.plot != "" {
		if _, err := os.Stat(filepath.Dir(a.plot)); err != nil {
			return span, usagef("--plot: %w", err)
		}
	}
	return span, nil
}

// learn measures what the command line names.
func (a *stripAdd) learn(cmd *cobra.Command) (calib.AreaLesson, error) {
	switch {
	case len(a.gauges) > 0:
		return a.learnGauges(cmd)
	case len(a.strand) > 0:
		return a.learnStrand(cmd)
	case a.scale != "":
		return a.learnScale(cmd)
	}
	d, err := positiveLength("--diameter", a.diameter)
	if err != nil {
		return calib.AreaLesson{}, err
	}
	u, err := positiveLength("--diameter-u", a.u)
	if err != nil {
		return calib.AreaLesson{}, err
	}
	return calib.LessonFromDiameter(quantity.Value{X: d, U: u}), nil
}

// meant names the unit that a figure probably has, where its own makes a strand
// that the range does not fit, or nothing.
func (a *stripAdd) meant(span clearance.Span, l calib.AreaLesson) string {
	fits := func(d float64) bool { return d > span.Hi && d < likelyStrands*span.Hi }
	if a.diameter == "" {
		const in = 25.4 // mm
		switch d := 2 * math.Sqrt(l.Area.X/math.Pi); {
		case fits(d * math.Sqrt(in)):
			return "; probably the gaps are inches"
		case fits(d / math.Sqrt(in)):
			return "; probably the gaps are millimetres"
		}
		return "; check the gaps and the range, and their units"
	}
	number := strings.TrimRight(a.diameter, " abcdefghijklmnopqrstuvwxyzµ")
	for _, unit := range []quantity.Unit{quantity.MM, quantity.Inch, quantity.Thou, quantity.UM} {
		d, err := quantity.ParseLength(number + " " + unit.String())
		if err == nil && fits(d) && !strings.HasSuffix(a.diameter, unit.String()) {
			return fmt.Sprintf("; probably %s %s", number, unit)
		}
	}
	return ""
}

// checkSpan refuses a range that no strand of diameter d is crushed to.
func (a *stripAdd) checkSpan(span clearance.Span, d float64) error {
	if d <= likelyStrands*span.Hi {
		return nil
	}
	meant := ""
	if in := quantity.Inch.MM(); d > in*span.Hi && d <= likelyStrands*in*span.Hi {
		meant = "; probably it is in inches"
	}
	return fmt.Errorf("--range %s: a strand of %.3f mm is not made for so small clearances%s; nothing is kept", a.span, d, meant)
}

// likelyStrands is how many times as thick as the largest clearance it is made for
// a strand is at most (estimate, no source).
const likelyStrands = 12

// positiveLength reads a length that must be more than nought.
func positiveLength(flag, s string) (float64, error) {
	x, err := quantity.ParseLength(s)
	if err == nil && !(x > 0) {
		err = errors.New("must be more than nought")
	}
	if err != nil {
		return 0, usagef("%s: %w", flag, err)
	}
	return x, nil
}

// tellLesson prints what was learnt, point by point, and where its uncertainty
// comes from.
func tellLesson(w io.Writer, lot calib.Lot, l calib.AreaLesson, path string) error {
	fmt.Fprintf(w, "Lot %q: section area %s mm2 (k = %v), a strand of %.4f mm, by %s\n",
		lot.Name, areaText(l.Area), quantity.DefaultK, lot.Diameter(), l.How)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	if len(l.Points) > 0 {
		fmt.Fprintln(t, "\n  POINT\tGAP mm\tWIDTH mm\tAREA mm2\tOFF BY\tOVER u")
	}
	for _, p := range l.Points {
		gap := "-"
		if p.Gap > 0 {
			gap = fmt.Sprintf("%.4f", p.Gap)
		}
		fmt.Fprintf(t, "  %s\t%s\t%.4f\t%.5f\t%+.2f %%\t%+.1f\n", p.Name, gap, p.Width.X, p.Area.X, 100*l.Residual(p), p.Z)
	}
	if len(l.Points) > 0 {
		fmt.Fprintf(t, "  %s\n", l.Agreement())
	}
	if l.Intercept.U > 0 {
		fmt.Fprintf(t, "  width against 1/gap misses the origin by %+.4f mm, u %.4f mm\n", l.Intercept.X, l.Intercept.U)
	}
	fmt.Fprintln(t, "\n  standard uncertainty")
	for _, term := range l.Terms {
		share := math.Pow(term.U/l.Area.U, 2)
		fmt.Fprintf(t, "  %s\t%.2f %%\t%.0f %%\n", term.Name, 100*term.U/l.Area.X, 100*share)
	}
	fmt.Fprintf(t, "  combined\t%.2f %%\n", 100*l.Area.U/l.Area.X)
	err := t.Flush()
	_, last := fmt.Fprintf(w, "Kept in %s; read with --lot-name %q\n", path, lot.Name)
	return errors.Join(err, last)
}
