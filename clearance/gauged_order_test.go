package clearance

import (
	"testing"

	"stripgap/calib/quantity"
)

// TestSharedTermsAddInOneOrder: the sum of squares of several shared terms has the
// same last digit each time. These four give three sums, by their order.
func TestSharedTermsAddInOneOrder(t *testing.T) {
	b, err := quantity.NewBudget(quantity.Term{Name: TermArea, U: 1.5, Common: true}, quantity.Term{Name: TermEdgeShape, U: 1.1, Common: true},
		quantity.Term{Name: TermTemperature, U: 1.4, Common: true}, quantity.Term{Name: TermPrintScale, U: 0.4, Common: true})
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
