package clearance

import (
	"fmt"
	"math"

	"stripgap/calib/quantity"
)

// ShellWarning goes with every advice to change shells.
const ShellWarning = "Fit only shell sizes that the engine's maker lists for this bearing, and both shells of a bearing alike unless the maker says otherwise."

// ShellChange is by how much each of a bearing's two shells would have to be
// thicker (thinner when negative) to bring the clearance to the middle of its
// limits.
type ShellChange struct {
	Wall   quantity.Value // mm, each shell
	Target float64        // mm, the middle of the limits
}

// ChangeShells returns the change of wall that brings a clearance (mm, standard
// uncertainty) to the middle of limits: half the clearance's change, because the
// bearing has two walls in line. It needs limits on both sides.
func ChangeShells(c quantity.Value, l Limits) (ShellChange, error) {
	if err := l.Check(); err != nil {
		return ShellChange{}, fmt.Errorf("shell change: limits: %w", err)
	}
	if math.IsInf(l.Lo, 0) || math.IsInf(l.Hi, 0) {
		return ShellChange{}, fmt.Errorf("shell change: limits %s have no middle; give both", l.Format(quantity.MM, 3))
	}
	if !finite(c.X) || !positive(c.U) {
		return ShellChange{}, fmt.Errorf("shell change: clearance %v mm with standard uncertainty %v mm: must be finite, the uncertainty positive", c.X, c.U)
	}
	target := (l.Lo + l.Hi) / 2
	return ShellChange{Wall: quantity.Value{X: (c.X - target) / 2, U: c.U / 2}, Target: target}, nil
}

// String says the change in both units, with the warning.
func (s ShellChange) String() string {
	way := "thicker"
	if s.Wall.X < 0 {
		way = "thinner"
	}
	x, u := math.Abs(s.Wall.X), quantity.DefaultK*s.Wall.U
	return fmt.Sprintf("each shell %s (%s) %s would bring the clearance to %s, the middle of its limits. %s",
		quantity.Format(x, u, quantity.MM), quantity.Format(x, u, quantity.Thou), way, quantity.FormatLength(s.Target, quantity.MM, 4), ShellWarning)
}
