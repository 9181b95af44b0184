package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"

	"github.com/mattn/go-isatty"
)

// progress shows on a terminal how far a batch is, in one line that is gone
// when the work is done. Into a pipe or a file it says nothing.
type progress struct {
	w     io.Writer // nil: say nothing
	n, of int
}

func newProgress(w io.Writer, of int) *progress {
	p := &progress{of: of}
	if f, ok := w.(*os.File); ok && of > 1 && isatty.IsTerminal(f.Fd()) {
		p.w = w
	}
	return p
}

const clearLine = "\r\x1b[K"

// step tells that one more photo is done.
func (p *progress) step(photo string) {
	p.n++
	if p.w != nil {
		// Quoted, because a file's name may hold what moves the cursor.
		fmt.Fprintf(p.w, "%s%d of %d %s", clearLine, p.n, p.of, strconv.Quote(filepath.Base(photo)))
	}
}

func (p *progress) clear() {
	if p.w != nil {
		fmt.Fprint(p.w, clearLine)
	}
}
