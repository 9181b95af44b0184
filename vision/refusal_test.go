package vision

import (
	"go/ast"
	"go/parser"
	"go/token"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

func TestRegistryOfRefusals(t *testing.T) {
	kebab := regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)
	seen := map[string]string{}
	for code, text := range refusals {
		if !kebab.MatchString(code) {
			t.Errorf("%s: not kebab-case", code)
		}
		for _, s := range []string{text.message, text.remedy} {
			if s == "" || strings.ContainsAny(s, "\n\t") || strings.TrimRight(s, " .:") != s {
				t.Errorf("%s: %q is not one plain clause", code, s)
			}
			if len(s) > 110 {
				t.Errorf("%s: %q is longer than a line", code, s)
			}
			if other, ok := seen[s]; ok {
				t.Errorf("%s and %s say the same: %q", code, other, s)
			}
			seen[s] = code
		}
		if r := Refuse(code, ""); r.Code != code || r.Error() != text.message || r.Remedy != text.remedy {
			t.Errorf("%s: Refuse gives %+v", code, r)
		}
	}
}

// Every Code constant is registered and nothing else is: the names in the
// source are the registry.
func TestCodesAreRegistered(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "refusal.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	declared := map[string]bool{}
	ast.Inspect(file, func(n ast.Node) bool {
		v, ok := n.(*ast.ValueSpec)
		if !ok || !strings.HasPrefix(v.Names[0].Name, "Code") {
			return true
		}
		code, err := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
		if err != nil {
			t.Fatal(err)
		}
		declared[code] = true
		if _, ok := refusals[code]; !ok {
			t.Errorf("%s is declared and has no text", code)
		}
		return true
	})
	for code := range refusals {
		if !declared[code] {
			t.Errorf("%s has text and no constant", code)
		}
	}
}

func TestRefuseAddsDetail(t *testing.T) {
	r := Refuse(CodeTilted, "%d degrees, at most %d", 41, 35)
	if want := refusals[CodeTilted].message + ": 41 degrees, at most 35"; r.Message != want {
		t.Errorf("message %q, want %q", r.Message, want)
	}
	defer func() {
		if recover() == nil {
			t.Error("an unknown code did not panic")
		}
	}()
	Refuse("no-such-code", "")
}
