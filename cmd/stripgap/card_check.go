package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"stripgap/calib"
	"stripgap/cmd/internal/userfiles"
)

// sheetFile is where checked sheets are remembered, among the person's own files.
const sheetFile = "sheets.toml"

func newCardCheckCommand() *cobra.Command {
	var serial, across, down, u, thickness string
	cmd := &cobra.Command{
		Use:   "check --serial SERIAL --across LENGTH --down LENGTH",
		Short: "Keep what callipers read on a sheet's check bars",
		Long: fmt.Sprintf(`check remembers the lengths of a sheet's two long bars, so that photos of its
cards are read by the scale it was printed at: the bar across the top, 150 mm,
and the bar down the side, 200 mm, each from end to end. Nothing in a photo can
show that scale; an unchecked sheet adds 0.5 %% to every reading's uncertainty.

Each figure needs its unit: mm, um, in or thou. --u is the standard uncertainty
of a bar's length, %v mm unless told: jaws are set to ink by eye.

--thickness is that of a card, board, glue and paper together: its face lies so
far above the metal. Where a reading is told what strip and card lie on, and not
the strip's height, the strip is then taken that much lower, and surer.

The serial stands at the top of the sheet and on every card. A check holds for
that one print: print the sheet again and it must be measured again. A card
printed alone with card print --card has no bars, so it cannot be checked.`, calib.CalliperU),
		Example: `  stripgap card check --serial 6C3H2P --across "149.6 mm" --down "199.7 mm"
  stripgap card check --serial 6C3H2P --across 5.890in --down 7.862in --u 0.002in
  stripgap card check --serial 6C3H2P --across "149.6 mm" --down "199.7 mm" --thickness "1.2 mm"`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			serial = strings.ToUpper(serial)
			if err := calib.CheckSerial(serial); err != nil {
				return usagef("--%w", err)
			}
			if cmd.Flags().Changed("u") && u == "" {
				return usagef("--u is empty; leave it out for %v mm", calib.CalliperU)
			}
			check, err := calib.CheckBars(across, down, u)
			if err != nil {
				return usagef("%w", err)
			}
			if cmd.Flags().Changed("thickness") {
				if check.Thickness, err = calib.ParseThickness(thickness); err != nil {
					return usagef("--thickness: %w", err)
				}
			}
			check.Serial, check.Checked = serial, time.Now().Format(time.DateOnly)
			return keepCheck(cmd, check)
		},
	}
	f := cmd.Flags()
	f.StringVar(&serial, "serial", "", "serial of the sheet")
	f.StringVar(&across, "across", "", "length of the bar across, nominally 150 mm, with its unit")
	f.StringVar(&down, "down", "", "length of the bar down, nominally 200 mm, with its unit")
	f.StringVar(&u, "u", "", fmt.Sprintf("standard uncertainty of both lengths, with its unit (default %v mm)", calib.CalliperU))
	f.StringVar(&thickness, "thickness", "", "thickness of a card, board, glue and paper, with its unit")
	for _, name := range []string{"serial", "across", "down"} {
		cobra.CheckErr(cmd.MarkFlagRequired(name)) // fails only for a flag that does not exist
	}
	return cmd
}

// keepCheck remembers a check in the place of an earlier one of the same sheet.
func keepCheck(cmd *cobra.Command, check calib.SheetCheck) error {
	var before *calib.SheetCheck
	path, err := userfiles.Update(sheetFile, func(data []byte, path string) ([]byte, error) {
		checks, err := calib.ParseSheets(data, path)
		if err != nil {
			return nil, err
		}
		same := func(c calib.SheetCheck) bool { return c.Serial == check.Serial }
		if i := slices.IndexFunc(checks, same); i >= 0 {
			old := checks[i]
			before = &old
		}
		return calib.FormatSheets(append(slices.DeleteFunc(checks, same), check))
	})
	if err != nil {
		return fmt.Errorf("%w; the check is not kept", err)
	}
	if odd := check.Odd(); odd != "" {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s: %s\n", cmd.CommandPath(), odd)
	}
	if before != nil && before.Thickness > 0 && check.Thickness == 0 {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s: the cards' thickness, %.2f mm, is no longer known; if it still holds, run this again with --thickness\n",
			cmd.CommandPath(), before.Thickness)
	}
	return tellCheck(cmd.OutOrStdout(), check, before, path)
}

func tellCheck(w io.Writer, c calib.SheetCheck, before *calib.SheetCheck, path string) error {
	p := c.Print()
	_, err := fmt.Fprintf(w, "Sheet %s: across %.2f mm, down %.2f mm, u %.2f mm\n  print scale  x %.5f, y %.5f, u %.3f %%\n",
		c.Serial, c.Across, c.Down, c.U, p.X, p.Y, 100*p.U)
	if c.Thickness > 0 {
		fmt.Fprintf(w, "  thickness    %.2f mm\n", c.Thickness)
	}
	if before != nil {
		thick := ""
		if before.Thickness > 0 {
			thick = fmt.Sprintf(", thickness %.2f mm", before.Thickness)
		}
		fmt.Fprintf(w, "This replaces what was remembered of the same sheet: across %.2f mm, down %.2f mm, u %.2f mm%s.\n",
			before.Across, before.Down, before.U, thick)
	}
	_, last := fmt.Fprintf(w, "Kept in %s\n", path)
	return errors.Join(err, last)
}

func newCardListCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "list",
		Short:   "List the sheets whose check bars were measured",
		Example: `  stripgap card list`,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			checks, err := knownSheets()
			if err != nil {
				return err
			}
			return listSheets(cmd.OutOrStdout(), checks)
		},
	}
}

func listSheets(w io.Writer, checks []calib.SheetCheck) error {
	if len(checks) == 0 {
		_, err := fmt.Fprintln(w, "No sheet was checked yet; see stripgap card check --help")
		return err
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	thick := slices.ContainsFunc(checks, func(c calib.SheetCheck) bool { return c.Thickness > 0 })
	fmt.Fprint(t, "SHEET\tACROSS mm\tDOWN mm\tu mm\tSCALE x\ty\tCHECKED")
	if thick {
		fmt.Fprint(t, "\tTHICKNESS mm")
	}
	fmt.Fprintln(t)
	for _, c := range checks {
		p := c.Print()
		fmt.Fprintf(t, "%s\t%.2f\t%.2f\t%.2f\t%.5f\t%.5f\t%s", c.Serial, c.Across, c.Down, c.U, p.X, p.Y, c.Checked)
		if c.Thickness > 0 {
			fmt.Fprintf(t, "\t%.2f", c.Thickness)
		}
		fmt.Fprintln(t)
	}
	return t.Flush()
}

// knownSheets reads the checks that are remembered, none where there is no file.
func knownSheets() ([]calib.SheetCheck, error) {
	data, path, err := userfiles.Read(sheetFile)
	if err != nil {
		return nil, fmt.Errorf("the sheets remembered cannot be read: %w", err)
	}
	return calib.ParseSheets(data, path)
}
