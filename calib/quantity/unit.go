package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Unit is a unit of length.
type Unit int

// The units of length that can be read and printed.
const (
	MM   Unit = iota // millimetre
	UM               // micrometre
	Inch             // international inch, 25.4 mm exactly
	Thou             // thousandth of an inch, 0.0254 mm exactly
)

var units = [...]struct {
	symbol string
	mm     float64
}{MM: {"mm", 1}, UM: {"um", 0.001}, Inch: {"in", 25.4}, Thou: {"thou", 0.0254}}

// String returns the unit's symbol as ParseLength reads it.
func (u Unit) String() string { return units[u].symbol }

// MM returns the unit's length in millimetres.
func (u Unit) MM() float64 { return units[u].mm }

// Exact factors: 1 ft = 0.3048 m and 1 lbf = 4.4482216152605 N by definition,
// so 1 lbf ft = 1.3558179483314004 N m.
const newtonMetresPerPoundFoot = 1.3558179483314004

// ParseLength reads a decimal number with its unit (mm, um, in or thou; inch for
// in), such as "0.051 mm" or "2thou", and returns millimetres. Sign and range are the
// caller's business. A missing or unknown unit is an error, as is a number that
// is not a plain decimal.
func ParseLength(s string) (float64, error) {
	x, unit, err := parseLength(s)
	return x * unit.MM(), err
}

func parseLength(s string) (float64, Unit, error) {
	x, symbol, err := parse("length", s, "mm, um, in or thou")
	if err != nil {
		return 0, MM, err
	}
	switch symbol {
	case "mm":
		return x, MM, nil
	case "um", "\u00b5m", "\u03bcm": // micro sign and Greek mu
		return x, UM, nil
	case "in", "inch":
		return x, Inch, nil
	case "thou":
		return x, Thou, nil
	}
	return 0, MM, unknownUnit("length", s, symbol, "mm, um, in or thou")
}

// ParseArea reads a decimal number with the unit mm2 and returns square
// millimetres.
func ParseArea(s string) (float64, error) {
	x, symbol, err := parse("area", s, "mm2")
	if err != nil {
		return 0, err
	}
	switch symbol {
	case "mm2", "mm^2", "mm\u00b2":
		return x, nil
	}
	return 0, unknownUnit("area", s, symbol, "mm2")
}

// ParseTorque reads a decimal number with its unit (N m or lbf ft, also as the
// trade writes it: Nm, lb-ft, ft-lb) and returns newton metres.
func ParseTorque(s string) (float64, error) {
	x, pounds, err := parseTorque(s)
	if pounds {
		x = TorqueFromPoundFoot(x)
	}
	return x, err
}

// BothTorques tells a torque that ParseTorque reads in both units: to all its digits
// in the one it is written in, in the other to four of N m or three of lbf ft, or as
// many as stand before the point: "20 N m (14.8 lbf ft)".
func BothTorques(s string) (string, error) {
	x, pounds, err := parseTorque(s)
	if err != nil {
		return "", err
	}
	written := strconv.FormatFloat(x, 'f', -1, 64)
	if pounds {
		return significant(TorqueFromPoundFoot(x), 4) + " N m (" + written + " lbf ft)", nil
	}
	return written + " N m (" + significant(PoundFootFromTorque(x), 3) + " lbf ft)", nil
}

// significant prints x with n significant digits, or as many as stand before the
// point, without zeros at its end and never with an exponent.
func significant(x float64, n int) string {
	decimals := 0
	if x != 0 {
		decimals = max(0, n-1-int(math.Floor(math.Log10(math.Abs(x)))))
	}
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if decimals > 0 {
		s = strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// parseTorque tells a torque in the unit it is written in, and whether that is lbf ft.
func parseTorque(s string) (x float64, pounds bool, err error) {
	x, symbol, err := parse("torque", s, "N m or lbf ft")
	if err != nil {
		return 0, false, err
	}
	switch strings.NewReplacer(" ", "", "-", "", ".", "", "\u00b7", "").Replace(symbol) {
	case "Nm":
		return x, false, nil
	case "lbfft", "ftlbf", "lbft", "ftlb":
		return x, true, nil
	}
	return 0, false, unknownUnit("torque", s, symbol, "N m or lbf ft")
}

// ParseTemperature reads a decimal number with its unit (degC or degF, also C, F
// and the degree sign) and returns degrees Celsius.
func ParseTemperature(s string) (float64, error) {
	x, symbol, err := parse("temperature", s, "degC or degF")
	if err != nil {
		return 0, err
	}
	switch strings.TrimPrefix(strings.TrimPrefix(symbol, "deg"), "\u00b0") {
	case "C":
		return x, nil
	case "F":
		return CelsiusFromFahrenheit(x), nil
	}
	return 0, unknownUnit("temperature", s, symbol, "degC or degF")
}

// TorqueFromPoundFoot converts lbf ft to N m.
func TorqueFromPoundFoot(x float64) float64 { return x * newtonMetresPerPoundFoot }

// PoundFootFromTorque converts N m to lbf ft.
func PoundFootFromTorque(x float64) float64 { return x / newtonMetresPerPoundFoot }

// CelsiusFromFahrenheit converts degF to degC.
func CelsiusFromFahrenheit(f float64) float64 { return (f - 32) * 5 / 9 }

// FahrenheitFromCelsius converts degC to degF.
func FahrenheitFromCelsius(c float64) float64 { return c*9/5 + 32 }

// FormatLength prints a length of mm millimetres in the unit, with a fixed
// number of decimals (not negative) and the unit's symbol: "2.01 thou".
func FormatLength(mm float64, unit Unit, decimals int) string {
	return strconv.FormatFloat(mm/unit.MM(), 'f', decimals, 64) + " " + unit.String()
}

// parse splits s into a plain decimal and a unit. What ParseFloat would also
// take (inf, nan, hexadecimal, exponents) never reaches it.
func parse(kind, s, known string) (x float64, symbol string, err error) {
	t := strings.TrimSpace(s)
	symbol = strings.TrimLeft(t, "+-.0123456789")
	number := t[:len(t)-len(symbol)]
	symbol = strings.TrimSpace(symbol)
	switch {
	case number == "":
		return 0, "", fmt.Errorf("%s %q: does not start with a number", kind, s)
	case strings.HasPrefix(symbol, ","):
		return 0, "", fmt.Errorf("%s %q: write a decimal point, not a comma", kind, s)
	case symbol == "":
		return 0, "", fmt.Errorf("%s %q: no unit; write %s after the number", kind, s, known)
	}
	x, err = strconv.ParseFloat(number, 64)
	if err != nil {
		return 0, "", fmt.Errorf("%s %q: %q is not a decimal number", kind, s, number)
	}
	return x, symbol, nil
}

func unknownUnit(kind, s, symbol, known string) error {
	return fmt.Errorf("%s %q: unknown unit %q; write %s", kind, s, symbol, known)
}
