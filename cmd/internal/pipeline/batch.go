package pipeline

import (
	"context"
	"sync"
)

// Batch runs work over the items 0 to n-1, at most workers (1 or more) of them
// at a time, and returns what each gave, in order whatever the workers did.
// When ctx ends, items already begun are finished and skip gives the rest.
// done, if not nil, is called after each finished item, never twice at once.
func Batch[T any](ctx context.Context, n, workers int, work, skip func(i int) T, done func(i int)) []T {
	results := make([]T, n)
	next := make(chan int)
	var wait sync.WaitGroup
	var one sync.Mutex
	for range min(workers, n) {
		wait.Go(func() {
			for i := range next {
				results[i] = work(i)
				if done != nil {
					one.Lock()
					done(i)
					one.Unlock()
				}
			}
		})
	}
	for i := range n {
		// Looked at first, because select picks either when both are ready.
		if ctx.Err() == nil {
			select {
			case next <- i:
				continue
			case <-ctx.Done():
			}
		}
		results[i] = skip(i)
	}
	close(next)
	wait.Wait()
	return results
}
