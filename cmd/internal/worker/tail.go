package worker

import (
	"strings"
	"sync"
	"unicode"
)

// tail keeps what a process said last, up to a few kilobytes.
type tail struct {
	mu   sync.Mutex
	text []byte
}

const tailBytes = 8 << 10

// Write keeps the end of all that was written.
func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.text = append(t.text, p...)
	if n := len(t.text) - tailBytes; n > 0 {
		t.text = append(t.text[:0], t.text[n:]...)
	}
	return len(p), nil
}

// firstLine is the first line that is kept, cut short and free of what moves a
// cursor. A program's dying words begin with the reason.
func (t *tail) firstLine() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	line, _, _ := strings.Cut(strings.TrimSpace(string(t.text)), "\n")
	line = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, line)
	const most = 160
	if runes := []rune(line); len(runes) > most {
		line = string(runes[:most]) + "..."
	}
	return line
}
