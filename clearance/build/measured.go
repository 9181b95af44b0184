package build

import (
	"encoding/json"
	"fmt"

	"stripgap/calib/quantity"
	"stripgap/clearance"
)

// Measured is the part of a reading's Result that status and second checks use,
// in the field names of the JSON contract of `stripgap read`.
type Measured struct {
	Taken string `json:"taken"` // ISO 8601 without zone; empty when not known
	Card  struct {
		Serial string `json:"serial"`
		Print  struct {
			X float64 `json:"x"`
			Y float64 `json:"y"`
		} `json:"print"` // true over nominal, 0 where the sheet was not checked
		Thickness float64 `json:"thickness_mm"` // 0 where no height was reckoned by it
	} `json:"card"`
	Clearance struct {
		Mean float64 `json:"mean_mm"`
		U    float64 `json:"u_mm"`
		// Without a field of its own U_mm would be taken for u_mm: names are matched
		// without regard to case where no field fits exactly.
		Expanded float64 `json:"U_mm"`
		Coverage float64 `json:"k"`
		Taper    float64 `json:"taper_mm"`   // first end minus second
		TaperU   float64 `json:"taper_U_mm"` // expanded by Coverage
		Bow      float64 `json:"bow_mm"`
	} `json:"clearance"`
	Ends []struct {
		Name      string  `json:"name"`
		Clearance float64 `json:"clearance_mm"`
	} `json:"ends"`
	Budget []struct {
		Name   string  `json:"name"`
		U      float64 `json:"u_mm"`
		Common bool    `json:"common"`
	} `json:"budget"`
	Flags []string `json:"flags"`
}

// Measured decodes the reading's Result. It refuses one without a clearance.
func (r Reading) Measured() (Measured, error) {
	var m Measured
	if err := json.Unmarshal(r.Result, &m); err != nil {
		return m, fmt.Errorf("reading %d: its result cannot be understood: %w", r.Number, err)
	}
	if !(m.Clearance.Mean > 0) || !(m.Clearance.U > 0) || !(m.Clearance.Coverage > 0) || len(m.Ends) != 2 {
		return m, fmt.Errorf("reading %d: its result holds no clearance", r.Number)
	}
	return m, nil
}

// Value is the clearance in mm with its standard uncertainty.
func (m Measured) Value() quantity.Value {
	return quantity.Value{X: m.Clearance.Mean, U: m.Clearance.U}
}

// Taper is the taper in mm with its standard uncertainty.
func (m Measured) Taper() quantity.Value {
	return quantity.Value{X: m.Clearance.Taper, U: m.Clearance.TaperU / m.Clearance.Coverage}
}

// Terms is the uncertainty budget of the clearance.
func (m Measured) Terms() (quantity.Budget, error) {
	terms := make([]quantity.Term, len(m.Budget))
	for i, t := range m.Budget {
		terms[i] = quantity.Term{Name: t.Name, U: t.U, Common: t.Common}
	}
	return quantity.NewBudget(terms...)
}

// Gauged is the reading as the checks over several strips take it.
func (r Reading) Gauged() (clearance.Gauged, error) {
	m, err := r.Measured()
	if err != nil {
		return clearance.Gauged{}, err
	}
	terms, err := m.Terms()
	if err != nil {
		return clearance.Gauged{}, fmt.Errorf("reading %d: %w", r.Number, err)
	}
	g := clearance.Gauged{Clearance: m.Value(), Budget: terms, Taper: m.Taper(),
		Ends: [2]string{m.Ends[0].Name, m.Ends[1].Name}, Lot: r.Lot.Name, Sheet: m.Card.Serial}
	if err := g.Check(); err != nil {
		return g, fmt.Errorf("reading %d: %w", r.Number, err)
	}
	return g, nil
}
