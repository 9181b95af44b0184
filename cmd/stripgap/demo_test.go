package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
	"golang.org/x/net/html"

	"stripgap/clearance/build"
)

// demoBearings is what the demo build is made to show: of each bearing the next
// step, the flags of interest and the state that the record names. The reasons are
// in samples/README.md; the scenes were drawn for them.
var demoBearings = []struct {
	name, next string
	flags      []string
	state      string
}{
	{"M1", build.StepDone, nil, "in order"},
	{"M2", build.StepMicrometer, []string{build.FlagTaperReal}, "tapered"},
	{"M3", build.StepOutside, []string{build.FlagApart}, "too loose"},
	{"M4", build.StepDone, []string{build.FlagTaperNot}, "in order"},
	{"M5", build.StepDone, nil, "in order"},
	{"B1", build.StepDone, nil, "in order"},
	{"B2", build.StepOrder, []string{build.FlagParts}, "parts swapped?"},
	{"B3", build.StepOrder, []string{build.FlagParts}, "parts swapped?"},
}

// demoPhotos puts the demo's lot and photos into a build's folder: demophotos DIR
func demoPhotos(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: demophotos DIR")
	}
	from := filepath.Join(ts.Getenv("SAMPLES"), "build")
	copyInto := func(name string) {
		data, err := os.ReadFile(filepath.Join(from, name))
		ts.Check(err)
		ts.Check(os.WriteFile(filepath.Join(ts.MkAbs(args[0]), name), data, 0o644))
	}
	copyInto("lot.toml")
	photos, err := os.ReadDir(filepath.Join(from, "photos"))
	ts.Check(err)
	for _, p := range photos {
		copyInto(filepath.Join("photos", p.Name()))
	}
}

// demoStatus checks the status of the demo build: demostatus FILE
func demoStatus(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: demostatus FILE")
	}
	var s build.Status
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &s))
	if len(s.Bearings) != len(demoBearings) {
		ts.Fatalf("%d bearings, want %d", len(s.Bearings), len(demoBearings))
	}
	for i, want := range demoBearings {
		got := s.Bearings[i]
		var flags []string
		for _, f := range got.Flags {
			if f.Text != "" {
				flags = append(flags, f.Code)
			}
		}
		if got.Name != want.name || got.Next.Code != want.next || !slices.Equal(flags, want.flags) {
			ts.Fatalf("%s: next %s (%s), flags %v; want %+v", got.Name, got.Next.Code, got.Next.Text, flags, want)
		}
	}
	if len(s.Hints) != 1 || !strings.Contains(s.Hints[0].Text, "the shells of B2 and B3") {
		ts.Fatalf("hints %+v, want one on the shells of B2 and B3", s.Hints)
	}
}

// demoRecord checks what the record names each bearing's state: demorecord FILE
func demoRecord(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: demorecord FILE")
	}
	page := ts.ReadFile(args[0])
	if len(page) > 4<<20 {
		ts.Fatalf("the record has %d bytes, too many to send by mail", len(page))
	}
	doc, err := html.Parse(strings.NewReader(page))
	ts.Check(err)
	states := map[string]string{}
	pictures := 0
	for n := range doc.Descendants() {
		if n.Data == "article" {
			name, state := inArticle(n)
			states[name] = state
		}
		if n.Data == "img" {
			pictures++
		}
	}
	for _, want := range demoBearings {
		if states[want.name] != want.state {
			ts.Fatalf("the record calls %s %q, want %q", want.name, states[want.name], want.state)
		}
	}
	if pictures != 13 { // of twelve readings and one refusal
		ts.Fatalf("%d pictures in the record, want 13", pictures)
	}
	for _, want := range []string{"the shells of B2 and B3", "did not repeat", "main3-first-try.jpg was not read", "not a licence to run an engine"} {
		if !strings.Contains(page, want) {
			ts.Fatalf("the record does not say %q", want)
		}
	}
}

// inArticle returns a bearing's name and the word of its badge.
func inArticle(article *html.Node) (name, state string) {
	for n := range article.Descendants() {
		if n.Data == "h3" && name == "" {
			name = nodeText(n)
		}
		if state == "" && slices.ContainsFunc(n.Attr, func(a html.Attribute) bool {
			return a.Key == "class" && strings.HasPrefix(a.Val, "badge ")
		}) {
			state = nodeText(n)
		}
	}
	return name, state
}

func nodeText(n *html.Node) string {
	var b strings.Builder
	for c := range n.Descendants() {
		if c.Type == html.TextNode {
			b.WriteString(c.Data)
		}
	}
	return strings.TrimSpace(b.String())
}
