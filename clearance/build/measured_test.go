package build

import (
	"encoding/json"
	"testing"
)

// TestMeasuredKeepsStandardAndExpandedApart reads a clearance whose names differ in
// case only.
func TestMeasuredKeepsStandardAndExpandedApart(t *testing.T) {
	r := Reading{Number: 1, Result: json.RawMessage(`{"clearance":{"mean_mm":0.04,"u_mm":0.0005,"U_mm":0.001,"k":2,
		"taper_mm":0.002,"taper_U_mm":0.0006,"bow_mm":0},
		"ends":[{"name":"front","clearance_mm":0.041},{"name":"rear","clearance_mm":0.039}],
		"budget":[{"name":"edge noise","u_mm":0.0005,"common":false}]}`)}
	m, err := r.Measured()
	if err != nil {
		t.Fatal(err)
	}
	if v := m.Value(); v.X != 0.04 || v.U != 0.0005 {
		t.Errorf("clearance %+v", v)
	}
	if v := m.Taper(); v.X != 0.002 || v.U != 0.0003 {
		t.Errorf("taper %+v", v)
	}
	b, err := m.Terms()
	if err != nil || b.U() != m.Value().U {
		t.Errorf("budget %v, %v", b.U(), err)
	}
}
