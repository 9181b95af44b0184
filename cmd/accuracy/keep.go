package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
)

// How many photos of each kind are kept.
const (
	keepWidth = 8 // largest errors of the mean width
	keepTaper = 4 // largest errors of the taper
	keepWrong = 8 // refused, or read, against what should have been
)

// keep renders the worst photos again and writes them with their truth. The
// same scene gives the same bytes, so none had to be held until now.
func keep(o options, rows []outcome) error {
	dir := filepath.Join(o.out, "worst")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, r := range worst(rows) {
		scenes, err := r.scenes()
		if err != nil {
			return err
		}
		for i, scene := range scenes {
			photo, truth, err := o.photos.render(scene)
			if err != nil {
				return err
			}
			name := fmt.Sprintf("%s-%03d-%d", r.name, r.index, i+1)
			if err := writePhoto(filepath.Join(dir, name), photo, truth); err != nil {
				return err
			}
		}
	}
	return nil
}

// worst picks the photos worth looking at, each once.
func worst(rows []outcome) []*outcome {
	var read, wrong []*outcome
	for i := range rows {
		switch r := &rows[i]; {
		case !r.right():
			wrong = append(wrong, r)
		case r.read() && r.profile != nil:
			read = append(read, r)
		}
	}
	picked := wrong[:min(keepWrong, len(wrong))]
	add := func(n int, size func(*outcome) float64) {
		slices.SortStableFunc(read, func(a, b *outcome) int {
			switch {
			case size(a) > size(b):
				return -1
			case size(a) < size(b):
				return 1
			}
			return 0
		})
		for _, r := range read[:min(n, len(read))] {
			if !slices.Contains(picked, r) {
				picked = append(picked, r)
			}
		}
	}
	add(keepWidth, func(o *outcome) float64 { return math.Abs(o.width.err) })
	add(keepTaper, func(o *outcome) float64 { return math.Abs(o.taper.err) })
	return picked
}
