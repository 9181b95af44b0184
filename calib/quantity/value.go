package quantity

import (
	"math"
	"strconv"
)

// Value is an estimate X with its standard uncertainty U >= 0, both in the same
// unit. Both keep full precision; only Round and Format shorten them.
type Value struct{ X, U float64 }

// Scale returns v in a unit in which it reads f times as much.
func (v Value) Scale(f float64) Value { return Value{v.X * f, v.U * math.Abs(f)} }

// upwards is the fraction by which rounding may shrink an uncertainty. JCGM 100
// 7.2.6 asks for common sense: its 28.05 may be printed as 28 but its 10.47
// should become 11. One per cent keeps both.
const upwards = 0.01

// Round prints an uncertainty u with two significant digits, rounded up where
// the nearest value would understate it by more than 1 %, and x to the same
// decimal place (JCGM 100:2008 7.2.6). With u = 0 nothing says where to round
// and x keeps all its digits.
func Round(x, u float64) (xs, us string) {
	if !(u > 0) || math.IsInf(u, 0) || math.IsInf(x, 0) || math.IsNaN(x) {
		return strconv.FormatFloat(x, 'f', -1, 64), strconv.FormatFloat(u, 'f', -1, 64)
	}
	place := int(math.Floor(math.Log10(u))) - 1
	digits := toPlace(u, place)
	if digits*math.Pow10(place) < u*(1-upwards) {
		digits++
	}
	if digits == 100 { // 99.6 became 100: one place further left holds two digits
		digits, place = 10, place+1
	}
	return fromPlace(toPlace(x, place), place), fromPlace(digits, place)
}

// Format prints x with an expanded uncertainty U, both millimetres, in the unit:
// "0.0512 ± 0.0011 mm". JCGM 100:2008 7.2.4 keeps the sign for expanded
// uncertainties.
func Format(x, U float64, unit Unit) string {
	xs, us := Round(x/unit.MM(), U/unit.MM())
	return xs + " ± " + us + " " + unit.String()
}

// toPlace counts x in steps of 10^place.
func toPlace(x float64, place int) float64 {
	if place < 0 {
		return math.Round(x * math.Pow10(-place))
	}
	return math.Round(x / math.Pow10(place))
}

// Chance prints a probability, 0 to 1, in whole percent and never as certain: "63 %",
// "over 99 %", "under 1 %".
func Chance(p float64) string {
	switch percent := math.Round(100 * p); {
	case percent >= 100:
		return "over 99 %"
	case percent <= 0:
		return "under 1 %"
	default:
		return strconv.FormatFloat(percent, 'f', 0, 64) + " %"
	}
}

// fromPlace prints n steps of 10^place, with -place decimals.
func fromPlace(n float64, place int) string {
	if n == 0 {
		n = 0 // drop the sign of a negative zero
	}
	if place < 0 {
		return strconv.FormatFloat(n/math.Pow10(-place), 'f', -place, 64)
	}
	return strconv.FormatFloat(n*math.Pow10(place), 'f', 0, 64)
}
