package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
)

// sameFigure compares the first line's field of one CSV with that of another:
// same FILE NAME FILE NAME
func sameFigure(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 4 {
		ts.Fatalf("usage: same FILE NAME FILE NAME")
	}
	var found [2]string
	for i := range found {
		rows, err := csv.NewReader(strings.NewReader(ts.ReadFile(args[2*i]))).ReadAll()
		ts.Check(err)
		for k, name := range rows[0] {
			if name == args[2*i+1] {
				found[i] = rows[1][k]
			}
		}
	}
	if found[0] == "" || found[0] != found[1] {
		ts.Fatalf("%q and %q", found[0], found[1])
	}
}

// tearLine adds the beginning of a line to a file: torn FILE
func tearLine(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: torn FILE")
	}
	f, err := os.OpenFile(ts.MkAbs(args[0]), os.O_APPEND|os.O_WRONLY, 0)
	ts.Check(err)
	_, err = f.WriteString(`{"schema":1,"line":9,"ti`)
	ts.Check(err)
	ts.Check(f.Close())
}

// editLine changes a digit in a line of a file: edited FILE LINE
func editLine(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: edited FILE LINE")
	}
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	lines := bytes.SplitAfter([]byte(ts.ReadFile(args[0])), []byte("\n"))
	at := bytes.Index(lines[n-1], []byte("0."))
	if at < 0 {
		ts.Fatalf("line %d has no figure", n)
	}
	lines[n-1][at] = '1'
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), bytes.Join(lines, nil), 0o644))
}

// replaceText replaces text that stands in a file: replace FILE OLD NEW
func replaceText(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: replace FILE OLD NEW")
	}
	text := ts.ReadFile(args[0])
	if !strings.Contains(text, args[1]) {
		ts.Fatalf("%s does not hold %q", args[0], args[1])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(strings.ReplaceAll(text, args[1], args[2])), 0o644))
}
