package clearance

import (
	"testing"

	"stripgap/calib/quantity"
)

// TestSharedTermsAddInOneOrder: the sum of squares of several shared terms has the
// same last digit each time.
func TestSharedTermsAddInOneOrder(t *testing.T) {
	b, err := quantity.NewBudget(quantity.Term{Name: TermArea, U: 0.1, Common: true}, quantity.Term{Name: TermEdgeShape, U: 0.2, Common: true},
		quantity.Term{Name: TermTemperature, U: 0.3, Common: true}, quantity.Term{Name: TermPrintScale, U: 0.7, Common: true})
	if err != nil {
		t.Fatal(err)
	}
	g := Gauged{Clearance: quantity.Value{X: 1, U: b.U()}, Budget: b, Taper: quantity.Value{U: 1}, Ends: [2]string{"a", "b"}, Lot: "l", Sheet: "s"}
	first := sumU([]Gauged{g, g}, []float64{0.3, 0.4})
	for range 200 {
		if again := sumU([]Gauged{g, g}, []float64{0.3, 0.4}); again != first {
			t.Fatalf("%v, then %v", first, again)
		}
	}
}
