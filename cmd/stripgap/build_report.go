package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"stripgap/clearance/build"
	"stripgap/cmd/internal/folder"
	"stripgap/cmd/internal/report"
)

// The files a record is written to, in the build's folder.
const recordPage, recordTable = "record.html", "record.csv"

func newBuildReportCommand() *cobra.Command {
	var by, date string
	cmd := &cobra.Command{
		Use:   "report FOLDER",
		Short: "Write the build's record, to read, print and sign",
		Long: `report writes record.html and record.csv into a build's folder, over earlier ones.
record.html is one file that needs nothing else: open it in a browser, print it on
A4 or Letter, or send it. It shows every bearing with its pictures, profile,
readings, verdicts, uncertainty and next step, and ends with lists to tick and a
line to sign. record.csv has the same figures, a line for each reading.

The record is an estimate; it does not replace the engine maker's manual.`,
		Example: `  stripgap build report engine
  stripgap build report engine --by "A. Fitter" --date 2026-11-25`,
		Args: oneFolder,
		RunE: func(cmd *cobra.Command, args []string) error {
			on := time.Now()
			if date != "" {
				var err error
				if on, err = time.Parse(time.DateOnly, date); err != nil {
					return usagef("--date %q: must be a date such as 2026-11-25", date)
				}
			}
			return writeRecord(cmd, args[0], by, on)
		},
	}
	cmd.Flags().StringVar(&by, "by", "", "who measured (default left open to sign)")
	cmd.Flags().StringVar(&date, "date", "", "date of the record, as 2026-11-25 (default today)")
	return cmd
}

func writeRecord(cmd *cobra.Command, dir, by string, on time.Time) error {
	v, err := folder.Look(dir)
	if err != nil {
		return err
	}
	tell(cmd, v.Notes)
	notes, err := outdated(v)
	if err != nil {
		return err
	}
	tell(cmd, notes)
	s, err := v.Status()
	if err != nil {
		return err
	}
	r, err := report.NewRecord(report.RecordSource{Build: v.Build, Journal: v.Journal, Status: s, By: by, Date: on,
		Picture: func(name string) ([]byte, error) { return os.ReadFile(v.Path(name)) },
		RefusedPicture: func(p build.Photo) []byte {
			data, _ := os.ReadFile(v.Path(folder.PictureName(p))) // often there is none
			return data
		}})
	if err != nil {
		return err
	}
	err = writeFiles([]outputFile{
		{v.Path(recordPage), func(w io.Writer) error { return report.HTML(w, r) }},
		{v.Path(recordTable), func(w io.Writer) error { return report.RecordCSV(w, r) }},
	}, true)
	if err != nil {
		return fmt.Errorf("the record could not be written: %w; look whether the folder may be written to and the disk has room", err)
	}
	_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s and %s: %d bearings, %d readings\n",
		v.Path(recordPage), recordTable, len(r.Bearings), len(v.Journal.Standing()))
	return err
}
