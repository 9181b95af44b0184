package main

import (
	"errors"
	"math"
	"strconv"

	"stripgap/calib/quantity"
)

// millimetres is a flag's length: a bare number of millimetres, or a number with
// its unit.
type millimetres float64

func (m *millimetres) Set(s string) error {
	x, err := strconv.ParseFloat(s, 64)
	if err == nil && (math.IsNaN(x) || math.IsInf(x, 0)) {
		return errors.New("must be a length")
	}
	if err != nil {
		if x, err = quantity.ParseLength(s); err != nil {
			return err
		}
	}
	*m = millimetres(x)
	return nil
}

func (m *millimetres) String() string { return strconv.FormatFloat(float64(*m), 'g', -1, 64) }

func (m *millimetres) Type() string { return "length" }
