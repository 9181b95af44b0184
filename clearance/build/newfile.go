package build

import (
	"bytes"
	_ "embed"
	"fmt"
	"strings"
	"text/template"
	"unicode"
)

//go:embed build.toml.tmpl
var newFileText string

// Outline is what a new build.toml begins with; the rest is left to fill in.
type Outline struct {
	Name           string
	Lot, LotFile   string // empty: to fill in
	Mains, BigEnds int    // how many bearings; their names are M1, B1 and so on
}

// mostBearings of a group; a sheet of tags has room for 24.
const mostBearings = 24

// newGroup is a group in the new file, with examples that fit its kind.
type newGroup struct {
	Heading, Name        string
	Kind                 Kind
	On                   Surface
	Diameter, Bore, Wall string // examples, mm
	Bearings             []string
}

// NewFile writes a commented build.toml for a person to fill in. Parse reads it as
// it is.
func NewFile(o Outline) ([]byte, error) {
	for _, n := range []int{o.Mains, o.BigEnds} {
		if n < 0 || n > mostBearings {
			return nil, fmt.Errorf("%d bearings of a kind: must be 0 to %d", n, mostBearings)
		}
	}
	for _, text := range []string{o.Name, o.Lot, o.LotFile} {
		if strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) }) {
			return nil, fmt.Errorf("%q has characters that cannot be written into the file", text)
		}
	}
	var groups []newGroup
	if o.Mains > 0 {
		groups = append(groups, newGroup{"Main bearings", "mains", Mains, OnShell, "55.000", "59.050", "2.000", numbered("M", o.Mains)})
	}
	if o.BigEnds > 0 {
		groups = append(groups, newGroup{"Big-end bearings", "big ends", BigEnds, OnJournal, "48.000", "51.040", "1.500", numbered("B", o.BigEnds)})
	}
	if len(groups) == 0 {
		return nil, fmt.Errorf("no bearings; ask for main bearings or big ends")
	}
	var b bytes.Buffer
	err := template.Must(template.New("build.toml").Parse(newFileText)).Execute(&b, struct {
		Outline
		Groups []newGroup
	}{o, groups})
	return b.Bytes(), err
}

func numbered(prefix string, n int) []string {
	var names []string
	for i := range n {
		names = append(names, fmt.Sprintf("%s%d", prefix, i+1))
	}
	return names
}
