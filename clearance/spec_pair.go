package clearance

import (
	"fmt"

	"stripgap/calib/quantity"
)

// Spec is what a maker asks of one clearance; nil where limits of a kind are not
// given.
type Spec struct {
	New     *Limits // for new or reconditioned parts
	Service *Limits // for parts that have run
}

// Check reports limits that Limits.Check refuses, and service limits that are
// tighter than those for new parts on either side: most likely they stand in each
// other's place.
func (s Spec) Check() error {
	for _, kind := range []struct {
		name string
		l    *Limits
	}{{"new", s.New}, {"service", s.Service}} {
		if kind.l == nil {
			continue
		}
		if err := kind.l.Check(); err != nil {
			return fmt.Errorf("%s limits: %w", kind.name, err)
		}
	}
	if s.New != nil && s.Service != nil && (s.Service.Hi < s.New.Hi || s.Service.Lo > s.New.Lo) {
		return fmt.Errorf("service limits %s are tighter than the new limits %s; parts that have run are allowed more, so check which is which",
			s.Service.Format(quantity.MM, 4), s.New.Format(quantity.MM, 4))
	}
	return nil
}

// Decisions are the verdicts by both kinds of limits; nil where there are none.
type Decisions struct{ New, Service *Decision }

// Decide judges an estimate by both kinds of limits; see Decide.
func (s Spec) Decide(v quantity.Value, guard float64) (Decisions, error) {
	if err := s.Check(); err != nil {
		return Decisions{}, err
	}
	var d Decisions
	for _, kind := range []struct {
		l    *Limits
		into **Decision
	}{{s.New, &d.New}, {s.Service, &d.Service}} {
		if kind.l == nil {
			continue
		}
		one, err := Decide(v, guard, *kind.l)
		if err != nil {
			return Decisions{}, err
		}
		*kind.into = &one
	}
	return d, nil
}
