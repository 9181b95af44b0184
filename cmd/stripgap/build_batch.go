package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"strconv"

	"github.com/spf13/cobra"

	"stripgap/clearance/build"
	"stripgap/cmd/internal/folder"
	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/progress"
)

// buildBatch reads jobs side by side and keeps what came of them in the order of
// the jobs, each as soon as those before it are kept.
type buildBatch struct {
	cmd      *cobra.Command
	folder   *folder.Folder
	jobs     []folder.Job
	outcomes []*folder.Outcome // nil until it is there
	kept     int
	failed   bool
	err      error // why nothing more is kept
}

// read reads all jobs. The first interrupt lets those in hand finish and gives up
// the rest; the second ends the program as it would any other.
func (b *buildBatch) read(given pipeline.Given, lots folder.Lots, workers int) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	context.AfterFunc(ctx, stop)
	ctx, cancel := context.WithCancelCause(ctx)
	line := progress.New(b.cmd.ErrOrStderr(), len(b.jobs))
	defer line.Clear()
	pool := readers(max(1, min(workers, len(b.jobs))))
	defer pool.Close()
	view := b.folder.View()
	type result struct {
		folder.Outcome
		err error
	}
	results := make([]result, len(b.jobs))
	pipeline.Batch(ctx, len(b.jobs), workers, func(i int) struct{} {
		results[i].Outcome, results[i].err = view.Read(b.jobs[i], lots, func(t pipeline.Task) pipeline.Entry { return pool.Read(given, t) })
		return struct{}{}
	}, func(i int) struct{} {
		b.failed = true
		return struct{}{}
	}, func(i int) {
		line.Clear()
		if b.outcomes[i] = &results[i].Outcome; results[i].err != nil && b.err == nil {
			b.err = results[i].err
		}
		if b.keep(); b.err != nil {
			cancel(b.err)
		}
		line.Step(b.jobs[i].Photos[0].Name)
	})
	return b.err
}

// keep writes down the outcomes that have none missing before them.
func (b *buildBatch) keep() {
	for ; b.err == nil && b.kept < len(b.jobs) && b.outcomes[b.kept] != nil; b.kept++ {
		o := b.outcomes[b.kept]
		kept, err := b.folder.Keep(*o)
		if err != nil {
			b.err = err
			return
		}
		b.say(b.jobs[b.kept], *o, kept)
	}
}

// say tells what came of a job in a line.
func (b *buildBatch) say(j folder.Job, o folder.Outcome, kept build.Reading) {
	photos := printable(j.Photos[0].Name)
	if len(j.Photos) > 1 {
		photos += " and " + printable(j.Photos[1].Name)
	}
	if o.Refused != nil {
		b.failed = true
		fmt.Fprintf(b.cmd.OutOrStdout(), "%s: not read: %s; %s\n", photos, o.Refused.Message, o.Refused.Remedy)
	} else {
		fmt.Fprintf(b.cmd.OutOrStdout(), "%s: %s\n", photos, readingText(kept))
	}
	if o.PictureErr != nil {
		b.failed = true
		fmt.Fprintf(b.cmd.ErrOrStderr(), "%s: %v\n", b.cmd.CommandPath(), o.PictureErr)
	}
}

// printable is a file's name, in quotes where it holds what could move the cursor.
func printable(name string) string {
	if q := strconv.Quote(name); q != `"`+name+`"` {
		return q
	}
	return name
}

// taken says what a single photo's strip was taken to lie on, which it does not
// show; two photos need not be told.
var taken = map[build.Surface]string{
	build.OnShell: "lying in the shell", build.OnJournal: "lying on the journal", build.OnFlat: "lying on a flat face",
}

// readingText tells a reading in a few words.
func readingText(r build.Reading) string {
	m, err := r.Measured()
	if err != nil { // it was kept, and so understood
		panic(err)
	}
	place := r.Bearing
	if r.Position != nil {
		place += fmt.Sprintf(" at %g deg", *r.Position)
	}
	if r.Strip > 1 {
		place += fmt.Sprintf(", strip %d there", r.Strip)
	}
	if words, told := taken[r.On]; told && len(r.Photos) == 1 {
		place += ", taken as " + words
	}
	return fmt.Sprintf("reading %d, %s: %s", r.Number, place, build.Lengths(m.Value(), m.Clearance.Coverage))
}
