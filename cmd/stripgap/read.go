package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"

	"github.com/spf13/cobra"

	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/progress"
	"stripgap/cmd/internal/report"
)

const readHelp = `read measures the strip in each photo and prints the width and, with a strip
lot, the oil clearance at the middle and both ends.

A folder stands for its photos (jpg, jpeg, png, webp, heic); its other files, the
folders in it and the pictures this command wrote are passed over. A photo that
cannot be read for certain is refused, with the reason and what to do, and the
others are read all the same.

Exit codes: 0 all read, 1 something was refused or failed, 2 wrong usage,
3 (only with --strict) something lies outside its limits.`

func newReadCommand() *cobra.Command {
	var f readFlags
	cmd := &cobra.Command{
		Use:   "read PHOTO|FOLDER...",
		Short: "Read strips from photos",
		Long:  readHelp,
		Example: `  stripgap read photos --lot-name thin --pictures out
  stripgap read main1.jpg --lot lot.toml --format json
  stripgap read --pair main1-left.jpg main1-right.jpg --lot lot.toml`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return errors.New("no photo given; name photos or folders")
			}
			return nil
		},
	}
	f.register(cmd.Flags())
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return f.run(cmd, args) }
	return cmd
}

// run reads what args name and prints it.
func (f *readFlags) run(cmd *cobra.Command, args []string) error {
	reader, err := f.reader(cmd)
	if err != nil {
		return err
	}
	if f.pair && pipeline.Repeated(args) {
		return usagef("--pair: a photo is named twice; name both photos of each strip once")
	}
	photos, problems := pipeline.Collect(args)
	for _, p := range problems {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s: %v\n", cmd.CommandPath(), p)
	}
	tasks, err := f.tasks(photos)
	if err != nil {
		return err
	}
	entries := readAll(reader, tasks, f.jobs, cmd.ErrOrStderr())
	results := make([]pipeline.Result, len(entries))
	for i, e := range entries {
		results[i] = e.Result
		if e.PictureErr != nil {
			problems = append(problems, e.PictureErr)
			fmt.Fprintf(cmd.ErrOrStderr(), "%s: %v\n", cmd.CommandPath(), e.PictureErr)
		}
	}
	if err := f.print(cmd.OutOrStdout(), results); err != nil {
		return fmt.Errorf("the results could not be written: %w", err)
	}
	return f.exit(results, len(problems) > 0)
}

// exit turns what became of the photos into the exit code; nil when all were
// read. Outside a limit outranks a refusal for one who asks with --strict.
func (f *readFlags) exit(results []pipeline.Result, failed bool) error {
	for i := range results {
		if f.strict && results[i].Outside() {
			return exitError(exitOutside)
		}
		failed = failed || results[i].Outcome != pipeline.OutcomeRead
	}
	if failed {
		return exitError(exitFailed)
	}
	return nil
}

// tasks gives each photo, or each two of a pair, the file of its picture, if
// pictures are asked for, and makes the folder for them.
func (f *readFlags) tasks(photos []string) ([]pipeline.Task, error) {
	tasks := make([]pipeline.Task, len(photos))
	for i, p := range photos {
		tasks[i].Photo = p
	}
	if f.pair {
		var ok bool
		if tasks, ok = pipeline.Pairs(photos); !ok {
			return nil, usagef("--pair needs two photos of each strip; %d were given", len(photos))
		}
	}
	return tasks, namePictures(f.pictures, tasks)
}

// namePictures gives each task the file of its picture in the folder dir, which is
// made when missing; with no dir there are none.
func namePictures(dir string, tasks []pipeline.Task) error {
	if dir == "" || len(tasks) == 0 {
		return nil
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("--pictures: %w; name a folder that may be written to", err)
	}
	var photos []string
	for _, t := range tasks {
		photos = append(photos, t.Photo)
		if t.Second != "" {
			photos = append(photos, t.Second)
		}
	}
	names := pipeline.PictureNames(dir, photos)
	for i := range tasks {
		tasks[i].Picture = names[i*len(photos)/len(tasks)]
	}
	return nil
}

// readAll reads the tasks, at most jobs at a time. The first interrupt lets the photos in hand finish and
// gives up the rest; the second ends the program as it would any other. One photo
// alone is read here: there is nothing else that it could take down.
func readAll(reader *pipeline.Reader, tasks []pipeline.Task, jobs int, stderr io.Writer) []pipeline.Entry {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	context.AfterFunc(ctx, stop)
	line := progress.New(stderr, len(tasks))
	defer line.Clear()
	readOne := reader.Read
	if len(tasks) > 1 {
		pool := readers(min(jobs, len(tasks)))
		defer pool.Close()
		readOne = func(t pipeline.Task) pipeline.Entry { return pool.Read(reader.Given, t) }
	}
	return pipeline.Batch(ctx, len(tasks), jobs,
		func(i int) pipeline.Entry { return readOne(tasks[i]) },
		func(i int) pipeline.Entry { return pipeline.Interrupted(tasks[i]) },
		func(i int) { line.Step(tasks[i].Photo) })
}

func (f *readFlags) print(w io.Writer, results []pipeline.Result) error {
	switch f.format {
	case "json":
		return report.JSON(w, results)
	case "csv":
		return report.CSV(w, results)
	default:
		return report.Table(w, results, report.Options{Coverage: f.coverage, Explain: f.explain, Surface: f.told()})
	}
}
