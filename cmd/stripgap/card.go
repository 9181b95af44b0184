package main

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"stripgap/calib"
	"stripgap/cmd/internal/wholefile"
)

// newCardCommand builds `stripgap card` and what is below it.
func newCardCommand() *cobra.Command {
	card := &cobra.Command{
		Use:   "card",
		Short: "Print calibration cards and keep their print check",
		Example: `  stripgap card print --out sheet.pdf
  stripgap card check --serial 6C3H2P --across "149.6 mm" --down "199.7 mm"`,
	}
	card.AddCommand(newCardPrintCommand(), newCardCheckCommand(), newCardListCommand())
	return card
}

// cardPrint is what the command line asks of `card print`.
type cardPrint struct {
	out, placements string
	paper, card     string
	dpi             int
	serial          string
	tags            []string
	force           bool
}

func newCardPrintCommand() *cobra.Command {
	var p cardPrint
	cmd := &cobra.Command{
		Use:   "print --out FILE.{pdf,svg,png}",
		Short: "Write a sheet of cards to print",
		Long: `print writes a sheet with one bench card, eight riders (or a tag for each
bearing named with --tags) and two long check bars, in exact millimetres.
Print it at 100 %, measure both bars with callipers and keep the figures with
stripgap card check.

With --card bench or rider the page is just that card, for placing in another
document; nothing on it then proves the size it is printed at.`,
		Example: `  stripgap card print --out sheet.pdf
  stripgap card print --out sheet.pdf --paper letter --tags M1,M2,M3,M4,M5
  stripgap card print --out card.png --card bench --dpi 1200`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := p.check(cmd.Flags().Changed); err != nil {
				return err
			}
			if err := p.run(cmd.OutOrStdout()); err != nil {
				return err
			}
			return p.warnChecked(cmd)
		},
	}
	f := cmd.Flags()
	f.StringVar(&p.out, "out", "", "file to write; its ending .pdf, .svg or .png chooses the format")
	f.StringVar(&p.paper, "paper", "a4", "paper of the sheet: a4 or letter")
	f.IntVar(&p.dpi, "dpi", 600, fmt.Sprintf("dots per inch of a PNG, %d to %d", calib.MinDPI, calib.MaxDPI))
	f.StringVar(&p.card, "card", "sheet", "what to print: sheet, bench or rider")
	f.StringVar(&p.serial, "serial", "", "serial of an earlier sheet, to print it again (default a new one)")
	f.StringSliceVar(&p.tags, "tags", nil, "bearings to print a tag for, such as M1,M2")
	f.StringVar(&p.placements, "placements", "", "JSON file to write with the place of everything that can be measured")
	f.BoolVar(&p.force, "force", false, "overwrite existing files")
	cobra.CheckErr(cmd.MarkFlagRequired("out")) // fails only for a flag that does not exist
	return cmd
}

// check finds mistakes that the command line alone shows; changed tells whether a
// flag was given.
func (p *cardPrint) check(changed func(string) bool) error {
	if !slices.Contains([]string{".pdf", ".svg", ".png"}, p.format()) {
		return usagef("--out %s: the name must end in .pdf, .svg or .png", p.out)
	}
	if !slices.Contains([]string{"sheet", "bench", "rider"}, p.card) {
		return usagef("--card %s: use sheet, bench or rider", p.card)
	}
	if !slices.ContainsFunc(calib.Papers(), func(k calib.Paper) bool { return k.Name == p.paper }) {
		return usagef("--paper %s: use a4 or letter", p.paper)
	}
	if changed("dpi") && p.format() != ".png" {
		return usagef("--dpi is for PNG only; %s has no dots", p.out)
	}
	if p.dpi < calib.MinDPI || p.dpi > calib.MaxDPI {
		return usagef("--dpi %d: use %d to %d", p.dpi, calib.MinDPI, calib.MaxDPI)
	}
	if changed("paper") && p.card != "sheet" {
		return usagef("--paper is for a sheet; --card %s is a page of the card's own size", p.card)
	}
	if p.card == "rider" && len(p.tags) > 1 {
		return usagef("--card rider takes one tag; print a sheet for %d", len(p.tags))
	}
	p.serial = strings.ToUpper(p.serial)
	if changed("serial") && p.serial == "" {
		return usagef("--serial is empty; leave it out for a new one")
	}
	if p.placements != "" && filepath.Clean(p.placements) == filepath.Clean(p.out) {
		return usagef("--placements and --out name the same file")
	}
	return nil
}

// format is the output's ending in small letters.
func (p *cardPrint) format() string { return strings.ToLower(filepath.Ext(p.out)) }

func (p *cardPrint) run(stdout io.Writer) error {
	if p.serial == "" {
		serial, err := calib.NewSerial(rand.Reader)
		if err != nil {
			return err
		}
		p.serial = serial
	}
	page, err := p.page()
	if err != nil {
		return usagef("%w", err)
	}
	if err := writeFiles(p.files(page), p.force); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s: %s, serial %s\n", p.out, p.card, p.serial)
	return nil
}

// warnChecked tells that a check remembered of the serial is an earlier print's.
func (p *cardPrint) warnChecked(cmd *cobra.Command) error {
	checks, err := knownSheets()
	if err != nil {
		return err
	}
	if slices.ContainsFunc(checks, func(c calib.SheetCheck) bool { return c.Serial == p.serial }) {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s: the check kept of %s is that of an earlier print: measure this one's bars and run stripgap card check again, "+
			"or leave --serial out for a new one\n", cmd.CommandPath(), p.serial)
	}
	return nil
}

// files are what to write of a page.
func (p *cardPrint) files(page *calib.Sheet) []outputFile {
	files := []outputFile{{p.out, func(w io.Writer) error {
		switch p.format() {
		case ".pdf":
			return page.WritePDF(w)
		case ".svg":
			return page.WriteSVG(w)
		default:
			return page.WritePNG(w, p.dpi)
		}
	}}}
	if p.placements != "" {
		files = append(files, outputFile{p.placements, page.WritePlacements})
	}
	return files
}

// page plans what was asked for.
func (p *cardPrint) page() (*calib.Sheet, error) {
	if p.card == "sheet" {
		return calib.NewSheet(p.paper, p.serial, p.tags)
	}
	bearing := ""
	if len(p.tags) > 0 {
		bearing = p.tags[0]
	}
	layout := calib.Rider()
	if p.card == "bench" {
		layout = calib.Bench()
	}
	return calib.NewCard(layout, p.serial, bearing)
}

// outputFile is a file to write and what writes it.
type outputFile struct {
	path  string
	write func(io.Writer) error
}

// mayWrite refuses files that exist, unless force is set.
func mayWrite(files []outputFile, force bool) error {
	for _, f := range files {
		if _, err := os.Lstat(f.path); err == nil && !force {
			return fmt.Errorf("%s exists already; choose another name or add --force", f.path)
		} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

// writeFiles writes each file whole or not at all: all go to temporary files
// beside their places before the first takes its name. Existing files are refused
// unless force is set.
func writeFiles(files []outputFile, force bool) error {
	if err := mayWrite(files, force); err != nil {
		return err
	}
	var temporary []string
	defer func() {
		for _, path := range temporary {
			os.Remove(path) // gone already when it was renamed
		}
	}()
	for _, f := range files {
		path, err := wholefile.Stage(f.path, f.write)
		if path != "" {
			temporary = append(temporary, path)
		}
		if err != nil {
			return err
		}
	}
	for i, f := range files {
		if err := os.Rename(temporary[i], f.path); err != nil {
			return err
		}
	}
	return nil
}
