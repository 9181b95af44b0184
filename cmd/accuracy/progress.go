package main

import (
	"fmt"
	"io"
	"os"

	"github.com/mattn/go-isatty"
)

// progress counts photos on a terminal and says nothing anywhere else.
type progress struct {
	w     io.Writer // nil: say nothing
	n, of int
}

func newProgress(w io.Writer, of int) *progress {
	p := &progress{of: of}
	if f, ok := w.(*os.File); ok && isatty.IsTerminal(f.Fd()) {
		p.w = w
	}
	return p
}

const clearLine = "\r\x1b[K"

func (p *progress) step() {
	p.n++
	if p.w != nil {
		fmt.Fprintf(p.w, "%s%d of %d", clearLine, p.n, p.of)
	}
}

func (p *progress) clear() {
	if p.w != nil {
		fmt.Fprint(p.w, clearLine)
	}
}
