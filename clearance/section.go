package clearance

import (
	"fmt"
	"math"

	"stripgap/calib/quantity"
)

// Section is what is known of a strip before it is crushed.
type Section struct {
	Area    quantity.Value // mm2, of the uncrushed strand; U > 0
	RangeLo float64        // mm, smallest clearance the strip is made for
	RangeHi float64        // mm, largest
	// Temperature of the strip when crushed, degC; nil when not stated.
	Temperature *float64
}

// Room temperature at which a strip is meant to be used (common practice; the
// trade's 65-70 degF), and how the section area follows the temperature outside.
const (
	RoomLo = 18.0 // degC
	RoomHi = 21.0 // degC

	areaPerKelvin  = 0.001 / 5 // 0.1 % in 5 K
	unstatedExcess = 5.0       // K outside the room range allowed for when nobody says
)

// Diameter returns the diameter in millimetres of a round strand with the
// section's area. A crushed strip is wider than that and its gap smaller.
func (s Section) Diameter() float64 { return 2 * math.Sqrt(s.Area.X/math.Pi) }

// Check reports what makes the section unusable: an area, uncertainty or range
// that is not positive, a reversed range, or one that reaches the strand's own
// diameter, where nothing is crushed any more.
func (s Section) Check() error {
	switch {
	case !positive(s.Area.X) || !positive(s.Area.U) || s.Area.U >= s.Area.X:
		return fmt.Errorf("section area %v mm2 with standard uncertainty %v mm2: need 0 < uncertainty < area", s.Area.X, s.Area.U)
	case !positive(s.RangeLo) || !positive(s.RangeHi) || s.RangeLo >= s.RangeHi:
		return fmt.Errorf("strip range %v to %v mm: need 0 < low < high", s.RangeLo, s.RangeHi)
	case s.RangeHi >= s.Diameter():
		return fmt.Errorf("strip range up to %v mm: a strand of %.4g mm2 is only %.4g mm thick; check area and range", s.RangeHi, s.Area.X, s.Diameter())
	case s.Temperature != nil && !(math.Abs(*s.Temperature) <= 100):
		return fmt.Errorf("temperature %v degC: not a temperature a strip can be used at", *s.Temperature)
	}
	return nil
}

// thermalU returns the standard uncertainty of the section area in mm2 for being
// used away from room temperature: the change over the excess is the half-width
// of a rectangular distribution.
func (s Section) thermalU() float64 {
	return quantity.Rectangular(s.Area.X * areaPerKelvin * s.excess())
}

// excess is how far in K the temperature lies outside the room range. One that
// nobody stated may be 5 K outside.
func (s Section) excess() float64 {
	if s.Temperature == nil {
		return unstatedExcess
	}
	return max(RoomLo-*s.Temperature, *s.Temperature-RoomHi, 0)
}

func positive(x float64) bool { return x > 0 && !math.IsInf(x, 1) }
