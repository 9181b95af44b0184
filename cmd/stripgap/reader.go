package main

import (
	"github.com/spf13/cobra"

	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/report"
	"stripgap/cmd/internal/worker"
	"stripgap/vision"
)

// readerCommand is the hidden command that is a reader of a worker.Pool.
const readerCommand = "reader"

func newReaderCommand() *cobra.Command {
	return &cobra.Command{
		Use:    readerCommand,
		Short:  "Read photos for another process of this program",
		Hidden: true,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return worker.Serve(cmd.InOrStdin(), func(g pipeline.Given, t pipeline.Task) pipeline.Entry {
				return newReader(g).Read(t)
			})
		},
	}
}

// newReader returns a reader of photos that knows what is given.
func newReader(g pipeline.Given) *pipeline.Reader {
	r := &pipeline.Reader{Load: vision.Load, Measure: vision.Measure, MeasurePair: vision.MeasurePair,
		Draw: report.Picture, Given: g}
	if g.BarePictures {
		r.Draw, r.Sight = report.BarePicture, report.BareSight
	}
	return r
}

// readers returns a pool of n processes that read.
func readers(n int) *worker.Pool {
	return worker.NewPool(worker.Config{Command: worker.Self(readerCommand), Readers: n})
}
