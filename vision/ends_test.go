package vision

import (
	"math"
	"slices"
	"testing"

	"stripgap/calib"
)

// TestEndsSetByHand: nothing beyond the ends that were set is used, in whichever
// order they are given, and the reading says so.
func TestEndsSetByHand(t *testing.T) {
	if testing.Short() {
		t.Skip("renders a photo")
	}
	p, _ := shot(t, smallScene(t, "rider"))
	whole, err := Measure(p, Options{})
	if err != nil {
		t.Fatal(err)
	}
	a, b := whole.Profile.Ends[0].Card, whole.Profile.Ends[1].Card
	at := func(share float64) calib.CardPoint { return a.Add(b.Sub(a).Scale(share)) }
	for _, ends := range [][2]calib.CardPoint{{at(0.5), at(1.2)}, {at(1.2), at(0.5)}} {
		m, err := Measure(p, Options{Ends: &ends})
		if err != nil {
			t.Fatal(err)
		}
		// The used length ends within a station of the place set, and is the same
		// strip: its width differs by no more than the taper and the noise allow.
		step := math.Abs(m.Profile.Stations[1].At - m.Profile.Stations[0].At)
		if d := m.Profile.Ends[0].Card.Sub(at(0.5)).Norm(); d > 1.5*step {
			t.Errorf("the first end is %.2f mm from where it was set, stations are %.2f mm apart", d, step)
		}
		if d := m.Profile.Ends[1].Card.Sub(b).Norm(); d > 1.5*step {
			t.Errorf("the other end moved by %.2f mm", d)
		}
		if d := math.Abs(m.Profile.Mean/whole.Profile.Mean - 1); d > 0.02 {
			t.Errorf("width %v mm, of the whole %v", m.Profile.Mean, whole.Profile.Mean)
		}
		if !slices.Contains(m.Flags, FlagEndsByHand) || slices.Contains(whole.Flags, FlagEndsByHand) {
			t.Errorf("flags %v, of the whole %v", m.Flags, whole.Flags)
		}
	}
	far := [2]calib.CardPoint{at(5), at(6)}
	if _, err := Measure(p, Options{Ends: &far}); err == nil {
		t.Error("a strip was read beyond its own ends")
	}
}
