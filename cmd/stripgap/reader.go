package main

import (
	"github.com/spf13/cobra"

	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/report"
	"stripgap/cmd/internal/worker"
	"stripgap/vision"
	"stripgap/vision/hevc"
)

// readerCommand is the hidden command that is a reader of a worker.Pool.
const readerCommand = "reader"

func newReaderCommand() *cobra.Command {
	prepare := false
	cmd := &cobra.Command{
		Use:    readerCommand,
		Short:  "Read photos for another process of this program",
		Hidden: true,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if prepare {
				go hevc.Prepare() // what goes wrong with it is told of the photo that needs it
			}
			return worker.Serve(cmd.InOrStdin(), func(g pipeline.Given, t pipeline.Task) pipeline.Entry {
				return newReader(g).Read(t)
			})
		},
	}
	cmd.Flags().BoolVar(&prepare, "prepare", false, "make ready for HEIC at once")
	return cmd
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
func readers(n int, args ...string) *worker.Pool {
	return worker.NewPool(worker.Config{Command: worker.Self(append([]string{readerCommand}, args...)...), Readers: n})
}
