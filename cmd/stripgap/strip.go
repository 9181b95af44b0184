package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/cmd/internal/userfiles"
)

// stripFile is where strip lots are remembered, among the person's own files.
const stripFile = "strips.toml"

func newStripCommand() *cobra.Command {
	strip := &cobra.Command{
		Use:   "strip",
		Short: "Learn, list and choose strip lots",
		Example: `  stripgap strip add thin --range 0.025..0.076mm --diameter 0.300mm --diameter-u 0.002mm
  stripgap strip choose --spec 0.020..0.050mm`,
	}
	strip.AddCommand(newStripAddCommand(), newStripListCommand(), newStripChooseCommand())
	return strip
}

func newStripListCommand() *cobra.Command {
	var points bool
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the strip lots that were learnt",
		Example: `  stripgap strip list
  stripgap strip list --points`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			lots, err := knownLots()
			if err != nil {
				return err
			}
			return listLots(cmd.OutOrStdout(), lots, points)
		},
	}
	cmd.Flags().BoolVar(&points, "points", false, "also print what each lot was learnt from")
	return cmd
}

func listLots(w io.Writer, lots []calib.Lot, points bool) error {
	if len(lots) == 0 {
		_, err := fmt.Fprintln(w, "No strip lot was learnt yet; see stripgap strip add --help")
		return err
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "LOT\tRANGE mm\tin\tAREA mm2\tSTRAND mm\tLEARNT\tBY")
	for _, l := range lots {
		fmt.Fprintf(t, "%s\t%.3f to %.3f\t%s\t%s\t%.3f\t%s\t%s\n", l.Name, l.RangeLo, l.RangeHi, inchSpan(l.RangeLo, l.RangeHi),
			areaText(l.SectionArea), l.Diameter(), orDash(l.Learnt.On), orDash(l.Learnt.How))
	}
	err := t.Flush()
	fmt.Fprintf(w, "\n± is the expanded uncertainty, k = %v.\n", quantity.DefaultK)
	if !points {
		return err
	}
	for _, l := range lots {
		if len(l.Learnt.Points) == 0 {
			continue
		}
		fmt.Fprintf(w, "\n%s: %s\n", l.Name, l.Learnt.Agreement)
		for _, p := range l.Learnt.Points {
			fmt.Fprintf(w, "  %s\n", p)
		}
	}
	return err
}

// areaText prints an area with its expanded uncertainty.
func areaText(a quantity.Value) string {
	x, u := quantity.Round(a.X, quantity.DefaultK*a.U)
	return x + " ± " + u
}

func inchSpan(lo, hi float64) string {
	return fmt.Sprintf("%.4f to %.4f", lo/quantity.Inch.MM(), hi/quantity.Inch.MM())
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// knownLots reads the lots that are remembered, none where there is no file.
func knownLots() ([]calib.Lot, error) {
	data, path, err := userfiles.Read(stripFile)
	if err != nil {
		return nil, fmt.Errorf("the strip lots remembered cannot be read: %w", err)
	}
	if data == nil {
		return nil, nil
	}
	return calib.ParseLots(data, path)
}

// knownLot finds a lot by its name among those remembered.
func knownLot(name string) (*calib.Lot, error) {
	lots, err := knownLots()
	if err != nil {
		return nil, err
	}
	if len(lots) == 0 {
		return nil, fmt.Errorf("strip lot %q: none is known yet; learn it with stripgap strip add, or name a file with --lot", name)
	}
	lot, err := calib.FindLot(lots, name)
	if err != nil {
		return nil, fmt.Errorf("%w; see stripgap strip list", err)
	}
	return &lot, nil
}

// errLotKnown refuses to lose a lot that was learnt before.
var errLotKnown = errors.New("is known already; add --replace to learn it anew")

// keepLot adds a lot to those remembered, in the place of one of the same name
// only when replace is set.
func keepLot(lot calib.Lot, replace bool) (path string, err error) {
	return userfiles.Update(stripFile, func(data []byte, path string) ([]byte, error) {
		var lots []calib.Lot
		if data != nil {
			var err error
			if lots, err = calib.ParseLots(data, path); err != nil {
				return nil, err
			}
		}
		same := func(l calib.Lot) bool { return l.Name == lot.Name }
		if slices.ContainsFunc(lots, same) && !replace {
			return nil, fmt.Errorf("lot %q %w", lot.Name, errLotKnown)
		}
		return calib.FormatLots(append(slices.DeleteFunc(lots, same), lot))
	})
}
