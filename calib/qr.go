package calib

import (
	"fmt"
	"strings"

	"github.com/skip2/go-qrcode"
)

const (
	// codeAlphabet is the alphanumeric mode's character set (ISO/IEC 18004,
	// table of the alphanumeric mode).
	codeAlphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"

	// CodeModules is the number of modules along a side of a card's QR code, a
	// version 1 symbol: 17 + 4 x version (ISO/IEC 18004).
	CodeModules = 21

	// codeCapacity is what version 1 at error correction level M holds in
	// alphanumeric mode (ISO/IEC 18004, table of capacities).
	codeCapacity = 20
)

// CodeText returns the text of a card's QR code: the serial, and for a tag a
// slash and the bearing's name. It is at most 20 characters of the alphanumeric
// set; the error names what is wrong otherwise.
func CodeText(serial, bearing string) (string, error) {
	if err := checkSerial(serial); err != nil {
		return "", err
	}
	if bearing == "" {
		return serial, nil
	}
	if err := CheckBearing(bearing); err != nil {
		return "", err
	}
	return serial + "/" + bearing, nil
}

// ParseCode splits the text of a card's QR code into the sheet's serial and, for
// a tag, the bearing's name; it is CodeText's inverse. Any other text is an error.
func ParseCode(text string) (serial, bearing string, err error) {
	serial, bearing, tag := strings.Cut(text, "/")
	if tag && bearing == "" {
		return "", "", fmt.Errorf("code: %q names no bearing after the slash", text)
	}
	if _, err := CodeText(serial, bearing); err != nil {
		return "", "", fmt.Errorf("code: %q is not a card's: %w", text, err)
	}
	return serial, bearing, nil
}

// CheckBearing refuses a bearing's name that a tag's code cannot hold.
func CheckBearing(name string) error {
	for _, r := range name {
		if !strings.ContainsRune(codeAlphabet, r) {
			return fmt.Errorf("bearing: %q has %q; only capitals, digits, space and $%%*+-./: can be used", name, r)
		}
	}
	if strings.TrimSpace(name) != name {
		return fmt.Errorf("bearing: %q begins or ends with a space", name)
	}
	if most := codeCapacity - serialLength - 1; len(name) > most {
		return fmt.Errorf("bearing: %q is longer than %d characters", name, most)
	}
	return nil
}

// codeShape returns the black modules of the code on its square, each row's runs
// merged, as one polygon: areas that meet inside one polygon leave no hairline.
func codeShape(place Square, serial, bearing string) (Polygon, error) {
	modules, err := codeModules(serial, bearing)
	if err != nil {
		return Polygon{}, err
	}
	side := place.Side / CodeModules
	left, top := place.Centre.X-place.Side/2, place.Centre.Y+place.Side/2
	var out Polygon
	for row, dark := range modules {
		y := top - float64(row)*side
		for from := 0; from < len(dark); from++ {
			to := from
			for to < len(dark) && dark[to] {
				to++
			}
			if to > from {
				out.Rings = append(out.Rings,
					rectangle(left+float64(from)*side, y-side, left+float64(to)*side, y))
				from = to
			}
		}
	}
	return out, nil
}

// codeModules returns the symbol row by row from the top, true for black.
func codeModules(serial, bearing string) ([][]bool, error) {
	text, err := CodeText(serial, bearing)
	if err != nil {
		return nil, err
	}
	symbol, err := qrcode.NewWithForcedVersion(text, 1, qrcode.Medium)
	if err != nil {
		return nil, fmt.Errorf("code: %q: %w", text, err)
	}
	symbol.DisableBorder = true
	return symbol.Bitmap(), nil
}
