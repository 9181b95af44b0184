// Package strictfile reads a TOML file that a person writes, and tells the line
// and column of what is wrong with it. Unknown keys are refused. It does not know
// what a file is about.
package strictfile

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// Format is what one kind of file allows.
type Format struct {
	What     string // in errors: "a file of strip lots"
	MaxBytes int
	// Quoted asks for every figure in quotes, because it carries its unit there.
	Quoted bool
}

// Decode reads data into the struct that into points to, by its toml tags, and
// returns where each key stands. file names the data in errors, which read
// file:line:column. Refused are faults of the syntax, unknown and repeated keys,
// a bare number where figures carry units, and more bytes than the format allows.
func (f Format) Decode(data []byte, file string, into any) (Places, error) {
	if len(data) > f.MaxBytes {
		return Places{}, fmt.Errorf("%s: %d bytes; %s is at most %d", file, len(data), f.What, f.MaxBytes)
	}
	data = bytes.TrimPrefix(data, byteOrderMark) // some editors put it first
	at, err := f.places(data, file)
	if err != nil {
		return Places{}, err
	}
	if err := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields().Decode(into); err != nil {
		return Places{}, decodeError(file, err)
	}
	return at, nil
}

// byteOrderMark is U+FEFF in UTF-8.
var byteOrderMark = []byte("\xef\xbb\xbf")

// decodeError puts the file, line and column before what the decoder says.
func decodeError(file string, err error) error {
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

// bareNumber refuses a figure without quotes, because the decoder would speak of
// Go types and not of the unit that is missing.
func bareNumber(value unstable.Kind) error {
	if value == unstable.Integer || value == unstable.Float {
		return errors.New("write the figure in quotes and with its unit, as in \"0.300 mm\"")
	}
	return nil
}
