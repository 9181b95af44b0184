package pipeline

import (
	"context"
	"slices"
	"sync/atomic"
	"testing"
)

func TestBatchOrderAndBound(t *testing.T) {
	const n, workers = 40, 3
	var running, most, done atomic.Int32
	gate := make(chan struct{}, n)
	work := func(i int) int {
		now := running.Add(1)
		for m := most.Load(); now > m && !most.CompareAndSwap(m, now); m = most.Load() {
		}
		// Even items wait until an odd one let them go, so that they overtake.
		if i%2 == 0 {
			<-gate
		} else {
			gate <- struct{}{}
		}
		running.Add(-1)
		return i * i
	}
	got := Batch(t.Context(), n, workers, work, func(int) int { return -1 }, func(int) { done.Add(1) })
	for i, v := range got {
		if v != i*i {
			t.Errorf("item %d gave %d", i, v)
		}
	}
	if most.Load() > workers || most.Load() < 2 || done.Load() != n {
		t.Errorf("%d at a time of %d, %d done", most.Load(), workers, done.Load())
	}
}

func TestBatchStops(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	work := func(i int) int {
		if i == 2 {
			cancel()
		}
		return i
	}
	got := Batch(ctx, 5, 1, work, func(int) int { return -1 }, nil)
	// Item 3 may have been handed over before item 2 ended the context.
	if !slices.Equal(got[:3], []int{0, 1, 2}) || got[4] != -1 {
		t.Errorf("got %v", got)
	}
}

func TestBatchEmpty(t *testing.T) {
	if got := Batch(t.Context(), 0, 4, func(i int) int { return i }, nil, nil); len(got) != 0 {
		t.Errorf("got %v", got)
	}
}
