// Package progress shows on a terminal how far a batch is.
package progress

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"

	"github.com/mattn/go-isatty"
)

// Line is one line that is gone when the work is done. Into a pipe or a file it
// says nothing.
type Line struct {
	w     io.Writer // nil: say nothing
	n, of int
}

// New returns a line for so many photos; one alone needs none.
func New(w io.Writer, of int) *Line {
	p := &Line{of: of}
	if f, ok := w.(*os.File); ok && of > 1 && isatty.IsTerminal(f.Fd()) {
		p.w = w
	}
	return p
}

const clearLine = "\r\x1b[K"

// Step tells that one more photo is done; its name may be empty.
func (p *Line) Step(photo string) {
	p.n++
	if p.w != nil {
		fmt.Fprintf(p.w, "%s%d of %d", clearLine, p.n, p.of)
		if photo != "" { // quoted, because a file's name may hold what moves the cursor
			fmt.Fprint(p.w, " ", strconv.Quote(filepath.Base(photo)))
		}
	}
}

// Clear takes the line away.
func (p *Line) Clear() {
	if p.w != nil {
		fmt.Fprint(p.w, clearLine)
	}
}
