// Package stripgap_test holds the repository to its own rules: which package
// may import which, that every package says what it is for, and that libraries
// neither print, exit, read the clock nor draw unseeded random numbers.
package stripgap_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
)

const module = "stripgap"

// mayImport lists, for each library, the packages of this module that it may
// import. Commands (cmd/...) may import every library and are imported by none.
var mayImport = map[string][]string{
	"calib/quantity":   {},
	"calib/strictfile": {},
	"calib":            {"calib/quantity", "calib/strictfile"},
	"clearance":        {"calib/quantity"},
	"clearance/build":  {"calib/quantity", "calib/strictfile", "clearance"},
	"vision":           {"calib", "calib/quantity", "vision/hevc"},
	"vision/hevc":      {},
	"vision/synth":     {"calib", "calib/quantity"},
}

// forbiddenCalls are calls that a library leaves to its caller.
var forbiddenCalls = map[string]func(name string) bool{
	"fmt": func(n string) bool { return strings.HasPrefix(n, "Print") },
	"log": func(string) bool { return true },
	"os": func(n string) bool {
		return slices.Contains([]string{"Exit", "Stdout", "Stderr", "Stdin"}, n)
	},
	"time": func(n string) bool {
		return slices.Contains([]string{"Now", "Since", "Until", "Sleep", "After", "Tick"}, n)
	},
	// Only generators made from a seed are allowed; the package's own functions
	// draw from a hidden one.
	"math/rand/v2": isDraw,
	"math/rand":    func(n string) bool { return isDraw(n) || n == "Seed" },
}

// isDraw reports whether a function of math/rand draws from the hidden source.
func isDraw(name string) bool {
	if name == "N" {
		return true
	}
	return slices.ContainsFunc([]string{"Int", "Uint", "Float", "NormFloat", "ExpFloat", "Perm", "Shuffle"},
		func(prefix string) bool { return strings.HasPrefix(name, prefix) })
}

// source is one parsed Go file and the folder it lies in.
type source struct {
	dir, name string
	file      *ast.File
}

// parse reads every Go file below root that is not test data.
func parse(root fs.FS, fset *token.FileSet) ([]source, error) {
	var files []source
	err := fs.WalkDir(root, ".", func(p string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && p != "." && (d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".")):
			return fs.SkipDir
		case d.IsDir() || !strings.HasSuffix(p, ".go"):
			return nil
		}
		text, err := fs.ReadFile(root, p)
		if err != nil {
			return err
		}
		f, err := parser.ParseFile(fset, p, text, parser.ParseComments)
		if err != nil {
			return err
		}
		files = append(files, source{path.Dir(p), p, f})
		return nil
	})
	return files, err
}

// violations lists every broken rule below root, one line each.
func violations(root fs.FS) ([]string, error) {
	fset := token.NewFileSet()
	files, err := parse(root, fset)
	if err != nil {
		return nil, err
	}
	var bad []string
	comments := map[string]bool{}
	for _, s := range files {
		if strings.HasSuffix(s.name, "_test.go") {
			continue
		}
		comments[s.dir] = comments[s.dir] || s.file.Doc != nil
		bad = append(bad, badImports(s)...)
		if !strings.HasPrefix(s.dir, "cmd") {
			bad = append(bad, badCalls(s, fset)...)
		}
	}
	for dir, has := range comments {
		if !has {
			bad = append(bad, dir+": no package comment; say what the package knows")
		}
	}
	slices.Sort(bad)
	return bad, nil
}

// badImports checks the direction of a file's imports. Test files are free: a
// test may bring a renderer and a reader together.
func badImports(s source) []string {
	var bad []string
	allowed, library := mayImport[s.dir]
	if !library && !strings.HasPrefix(s.dir, "cmd/") {
		return []string{s.name + ": package " + s.dir + " has no line in mayImport; add it to house_test.go"}
	}
	for _, spec := range s.file.Imports {
		full, _ := strconv.Unquote(spec.Path.Value)
		to, own := strings.CutPrefix(full, module+"/")
		if !own {
			continue
		}
		_, toLibrary := mayImport[to]
		fine := slices.Contains(allowed, to)
		if !library {
			fine = toLibrary || strings.HasPrefix(to, "cmd/internal/")
		}
		if !fine {
			bad = append(bad, s.name+": "+s.dir+" must not import "+to)
		}
	}
	return bad
}

// badCalls finds uses of what a library leaves to its caller.
func badCalls(s source, fset *token.FileSet) []string {
	forbidden := map[string]func(string) bool{}
	for _, spec := range s.file.Imports {
		full, _ := strconv.Unquote(spec.Path.Value)
		if f, ok := forbiddenCalls[full]; ok {
			name := path.Base(strings.TrimSuffix(full, "/v2"))
			if spec.Name != nil {
				name = spec.Name.Name
			}
			forbidden[name] = f
		}
	}
	var bad []string
	ast.Inspect(s.file, func(n ast.Node) bool {
		sel, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		// A local variable named like the package has an Obj; an import has not.
		if id, ok := sel.X.(*ast.Ident); ok && id.Obj == nil && forbidden[id.Name] != nil && forbidden[id.Name](sel.Sel.Name) {
			bad = append(bad, fmt.Sprintf("%s: a library must not use %s.%s",
				fset.Position(sel.Pos()), id.Name, sel.Sel.Name))
		}
		return true
	})
	return bad
}

func TestHouse(t *testing.T) {
	bad, err := violations(os.DirFS("."))
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range bad {
		t.Error(b)
	}
}

// TestHouseSees breaks every rule once, so that a gate that stopped looking
// would be noticed.
func TestHouseSees(t *testing.T) {
	const doc = "// Package p has a comment.\n"
	cases := []struct{ file, text, want string }{
		{"clearance/a.go", doc + `package clearance; import _ "stripgap/vision"`,
			"clearance/a.go: clearance must not import vision"},
		{"vision/synth/a.go", doc + `package synth; import _ "stripgap/vision"`,
			"vision/synth/a.go: vision/synth must not import vision"},
		{"calib/a.go", doc + `package calib; import _ "stripgap/cmd/internal/report"`,
			"calib/a.go: calib must not import cmd/internal/report"},
		{"cmd/accuracy/a.go", doc + `package main; import _ "stripgap/cmd/stripgap"`,
			"cmd/accuracy/a.go: cmd/accuracy must not import cmd/stripgap"},
		{"odd/a.go", doc + `package odd`,
			"odd/a.go: package odd has no line in mayImport; add it to house_test.go"},
		{"calib/a.go", "package calib", "calib: no package comment; say what the package knows"},
		{"calib/a.go", doc + "package calib\nimport \"fmt\"\nfunc f() { fmt.Println() }",
			"calib/a.go:4:12: a library must not use fmt.Println"},
		{"calib/a.go", doc + "package calib\nimport \"os\"\nfunc f() { os.Exit(1) }",
			"calib/a.go:4:12: a library must not use os.Exit"},
		{"calib/a.go", doc + "package calib\nimport \"time\"\nvar t = time.Now()",
			"calib/a.go:4:9: a library must not use time.Now"},
		{"calib/a.go", doc + "package calib\nimport \"math/rand/v2\"\nvar x = rand.Float64()",
			"calib/a.go:4:9: a library must not use rand.Float64"},
	}
	for _, c := range cases {
		bad, err := violations(fstest.MapFS{c.file: {Data: []byte(c.text)}})
		if err != nil {
			t.Fatal(err)
		}
		if len(bad) != 1 || bad[0] != c.want {
			t.Errorf("%s: got %q, want %q", c.text, bad, c.want)
		}
	}
}

// TestHouseAllows checks that what the rules permit is not reported.
func TestHouseAllows(t *testing.T) {
	const doc = "// Package p has a comment.\n"
	for file, text := range map[string]string{
		"vision/a.go":      doc + `package vision; import _ "stripgap/calib"`,
		"vision/a_test.go": `package vision_test; import _ "stripgap/vision/synth"`,
		"cmd/x/a.go":       doc + "package main\nimport \"os\"\nfunc main() { os.Exit(1) }",
		"calib/a.go":       doc + "package calib\nimport \"math/rand/v2\"\nvar x = rand.New(rand.NewPCG(1, 2)).Float64()",
		"calib/quantity/a.go": doc + "package quantity\nimport \"fmt\"\n" +
			"func f(fmt struct{ Print int }) int { return fmt.Print }\nvar s = fmt.Sprint(1)",
	} {
		bad, err := violations(fstest.MapFS{file: {Data: []byte(text)}})
		if err != nil || len(bad) > 0 {
			t.Errorf("%s: %v %v", text, bad, err)
		}
	}
}
