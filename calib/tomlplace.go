package calib

import (
	"errors"
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// tomlError puts the file, line and column before what the decoder says.
func tomlError(file string, err error) error {
	var unknown *toml.StrictMissingError
	if errors.As(err, &unknown) && len(unknown.Errors) > 0 {
		line, column := unknown.Errors[0].Position()
		return fmt.Errorf("%s:%d:%d: unknown key %s", file, line, column, strings.Join(unknown.Errors[0].Key(), "."))
	}
	var bad *toml.DecodeError
	if errors.As(err, &bad) {
		line, column := bad.Position()
		return fmt.Errorf("%s:%d:%d: %w", file, line, column, err)
	}
	return fmt.Errorf("%s: %w", file, err)
}

// placeKey is a key of the i-th table of an array; with an empty name the header itself.
type placeKey struct {
	table int
	name  string
}

type placeIndex map[placeKey]unstable.Position

// place names a key's line and column, or its table's where the key is missing.
// Tables written inline have neither and are told by the file alone.
func (p placeIndex) place(file string, table int, key string) string {
	for _, k := range []placeKey{{table, key}, {table, ""}} {
		if at, ok := p[k]; ok {
			return fmt.Sprintf("%s:%d:%d", file, at.Line, at.Column)
		}
	}
	return file
}

// tablePlaces finds where each key of each table stands in a file that holds one
// array of tables; [x] is one [[x]]. It leaves faults of the syntax to the
// decoder, and refuses the values that check, which may be nil, refuses.
func tablePlaces(data []byte, file string, check func(value unstable.Kind) error) (placeIndex, error) {
	at, table := placeIndex{}, -1
	var p unstable.Parser
	p.Reset(data)
	for p.NextExpression() {
		e := p.Expression()
		key := e.Key()
		if !key.Next() {
			continue
		}
		k, start := placeKey{table, string(key.Node().Data)}, p.Shape(key.Node().Raw).Start
		switch {
		case e.Kind == unstable.ArrayTable || e.Kind == unstable.Table:
			table++
			k = placeKey{table, ""}
		case e.Kind != unstable.KeyValue:
			continue
		case check != nil:
			if err := check(e.Value().Kind); err != nil {
				return nil, fmt.Errorf("%s:%d:%d: %s: %w", file, start.Line, start.Column, k.name, err)
			}
		}
		at[k] = start
	}
	return at, nil
}
