package worker

import (
	"fmt"
	"os"
	"os/exec"
	"sync"
	"time"

	"stripgap/cmd/internal/pipeline"
)

// Refusal codes of photos whose reader did not come back.
const (
	CodeCrashed = "reader-crashed"
	CodeTooSlow = "reader-too-slow"
	CodeNoStart = "reader-not-started"
)

// DefaultTimeout is far more than a reading takes: a 100-megapixel HEIC pair on a
// slow laptop stays under half of it.
const DefaultTimeout = 2 * time.Minute

// Config says how a Pool runs its readers.
type Config struct {
	// Command makes the command that starts a reader, a process that calls Serve.
	Command func() *exec.Cmd
	Readers int           // at the same time, 1 or more
	Timeout time.Duration // that one task may take; 0 is DefaultTimeout
}

// Self returns the command that runs this very program with args.
func Self(args ...string) func() *exec.Cmd {
	return func() *exec.Cmd {
		program, err := os.Executable()
		if err != nil {
			program = os.Args[0]
		}
		cmd := exec.Command(program, args...)
		cmd.Args[0] = os.Args[0]
		return cmd
	}
}

// Pool is a set of readers. It may be used by several goroutines at once.
type Pool struct {
	config Config
	seats  chan *reader // one for each reader that may run; nil where none does yet
	closed sync.Once
}

// NewPool returns a pool whose readers are started when they are first needed.
func NewPool(c Config) *Pool {
	if c.Timeout == 0 {
		c.Timeout = DefaultTimeout
	}
	p := &Pool{config: c, seats: make(chan *reader, c.Readers)}
	for range c.Readers {
		p.seats <- nil
	}
	return p
}

// Start starts the readers now, so that the first photos need not wait for them.
// One that does not start is tried again when it is needed.
func (p *Pool) Start() {
	for range p.config.Readers {
		r := <-p.seats
		if r == nil {
			r, _ = start(p.config.Command())
		}
		p.seats <- r
	}
}

// Read has one task read and waits for it, for a free reader first. Whatever
// happens to the reader becomes a refusal of this task.
func (p *Pool) Read(g pipeline.Given, t pipeline.Task) pipeline.Entry {
	r := <-p.seats
	defer func() { p.seats <- r }()
	if r != nil {
		e, begun, ok := r.read(g, t, p.config.Timeout)
		if !ok {
			r = nil
		}
		if begun {
			return e
		}
		// It died while it had nothing to do, which is no photo's fault.
	}
	var err error
	if r, err = start(p.config.Command()); err != nil {
		r = nil
		return lost(t, CodeNoStart, fmt.Sprintf("no reader could be started: %v", err),
			"close other programs, or restart this one, and read the photo again")
	}
	e, _, ok := r.read(g, t, p.config.Timeout)
	if !ok {
		r = nil
	}
	return e
}

// Close ends the readers once they have finished. Nothing may be read after it.
func (p *Pool) Close() {
	p.closed.Do(func() {
		for range p.config.Readers {
			if r := <-p.seats; r != nil {
				r.end()
			}
		}
	})
}

// lost is the entry of a task whose reader did not come back. A picture of an
// earlier run would pass for this one's.
func lost(t pipeline.Task, code, message, remedy string) pipeline.Entry {
	if t.Picture != "" {
		os.Remove(t.Picture)
	}
	return pipeline.Lost(t, pipeline.Refusal{Code: code, Message: message, Remedy: remedy})
}
