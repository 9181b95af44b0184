package strictfile

import (
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// Places tells where each key and each element of an array stands in a file.
type Places struct {
	file string
	at   map[string]unstable.Position
}

// Of names the place of a value, file:line:column, by the keys and numbers (from
// 0) that lead to it: Of("group", 1, "bearing", 0, "name"). A value that is not
// there is told by the nearest table around it that is, or by the file alone.
func (p Places) Of(path ...any) string {
	for n := len(path); n > 0; n-- {
		if at, ok := p.at[join(path[:n])]; ok {
			return fmt.Sprintf("%s:%d:%d", p.file, at.Line, at.Column)
		}
	}
	return p.file
}

// Has reports whether the value is in the file.
func (p Places) Has(path ...any) bool {
	_, ok := p.at[join(path)]
	return ok
}

// join makes one string of a path. The number 0 is left out, so that [x] and the
// first [[x]] are the same, as they are to the decoder.
func join(path []any) string {
	var b strings.Builder
	for _, step := range path {
		if step != 0 {
			fmt.Fprintf(&b, "\x00%v", step)
		}
	}
	return b.String()
}

// deepest bounds how deep arrays and inline tables are followed; what lies deeper
// is told by the place of what holds it.
const deepest = 8

// walker notes the places while it goes through a file.
type walker struct {
	Format
	unstable.Parser
	Places
	tables map[string]int // how many [[x]] there have been
}

// places goes through the file once. It leaves faults of the syntax to the
// decoder.
func (f Format) places(data []byte, file string) (Places, error) {
	w := &walker{Format: f, Places: Places{file, map[string]unstable.Position{}}, tables: map[string]int{}}
	w.Reset(data)
	var table []any
	for w.NextExpression() {
		e := w.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			var start unstable.Position
			table, start = w.header(e)
			w.at[join(table)] = start
		case unstable.KeyValue:
			if err := w.keyValue(table, e, 0); err != nil {
				return Places{}, err
			}
		}
	}
	return w.Places, nil
}

// header returns the path that a table's header opens: an array of tables on the
// way stands for its last one.
func (w *walker) header(e *unstable.Node) (path []any, start unstable.Position) {
	for key := e.Key(); key.Next(); {
		if len(path) == 0 {
			start = w.Shape(key.Node().Raw).Start
		} else if n := w.tables[join(path)]; n > 0 {
			path = append(path, n-1)
		}
		path = append(path, string(key.Node().Data))
	}
	whole := join(path)
	if e.Kind == unstable.ArrayTable {
		w.tables[whole]++
	}
	if n := w.tables[whole]; n > 0 {
		path = append(path, n-1)
	}
	return path, start
}

func (w *walker) keyValue(table []any, e *unstable.Node, depth int) error {
	path := append([]any(nil), table...)
	var start unstable.Position
	for key := e.Key(); key.Next(); {
		if len(path) == len(table) {
			start = w.Shape(key.Node().Raw).Start
		}
		path = append(path, string(key.Node().Data))
	}
	w.at[join(path)] = start
	return w.value(path, e.Value(), start, depth)
}

// value notes what is inside an array or an inline table. start is the place of
// whatever has none of its own.
func (w *walker) value(path []any, v *unstable.Node, start unstable.Position, depth int) error {
	if w.Quoted {
		if err := bareNumber(v.Kind); err != nil {
			return fmt.Errorf("%s:%d:%d: %v: %w", w.file, start.Line, start.Column, lastKey(path), err)
		}
	}
	if depth == deepest {
		return nil
	}
	i := 0
	for inside := v.Children(); inside.Next(); {
		n := inside.Node()
		switch {
		case n.Kind == unstable.Comment:
			continue
		case v.Kind == unstable.InlineTable:
			if err := w.keyValue(path, n, depth+1); err != nil {
				return err
			}
		case v.Kind == unstable.Array:
			at := start
			if n.Raw.Length > 0 {
				at = w.Shape(n.Raw).Start
			}
			element := append(append([]any(nil), path...), i)
			if i > 0 { // the first shares the array's own place
				w.at[join(element)] = at
			}
			if err := w.value(element, n, at, depth+1); err != nil {
				return err
			}
			i++
		}
	}
	return nil
}

// lastKey is the last step of a path that is a name.
func lastKey(path []any) any {
	for i := len(path) - 1; i >= 0; i-- {
		if name, ok := path[i].(string); ok {
			return name
		}
	}
	return ""
}
