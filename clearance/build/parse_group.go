package build

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"stripgap/calib/quantity"
	"stripgap/clearance"
)

// The diameters in mm of journals this is for, with room on both sides.
const smallest, largest = 16.0, 1000.0

func (p *parser) group(i int, e groupEntry) error {
	g := Group{Name: e.Name, Kind: Kind(e.Kind), Strip: Strip{e.StripLot, e.StripFile},
		On: Surface(e.StripOn), BoltNote: e.BoltNote}
	if err := p.groupNames(i, &g); err != nil {
		return err
	}
	var err error
	if e.JournalDiameter != "" {
		if g.Diameter, err = diameter(e.JournalDiameter); err != nil {
			return p.wrong(err, "group", i, "journal_diameter")
		}
	}
	if g.On == OnFlat && e.JournalDiameter != "" {
		return p.wrong(errors.New("a flat surface has no diameter; leave it out"), "group", i, "journal_diameter")
	}
	if err := p.limits(i, e, &g); err != nil {
		return err
	}
	if err := p.positions(i, e, &g); err != nil {
		return err
	}
	if err := p.bolts(i, e, &g); err != nil {
		return err
	}
	if len(e.Bearing) == 0 {
		return fmt.Errorf("%s: group %q has no bearings; begin one with [[group.bearing]]", p.at.Of("group", i), e.Name)
	}
	for k, b := range e.Bearing {
		if err := p.bearing(i, k, e, b, &g); err != nil {
			return err
		}
	}
	p.build.Groups = append(p.build.Groups, g)
	return nil
}

// groupNames checks what is one of a few words, or a name.
func (p *parser) groupNames(i int, g *Group) error {
	if strings.TrimSpace(g.Name) == "" {
		return p.wrong(errors.New("missing"), "group", i, "name")
	}
	for _, other := range p.build.Groups {
		if other.Name == g.Name {
			return p.wrong(fmt.Errorf("a group %q stands above; give each its own name", g.Name), "group", i, "name")
		}
	}
	switch g.Kind {
	case "":
		g.Kind = Other
	case Mains, BigEnds, Other:
	default:
		return p.wrong(fmt.Errorf("%q: must be %q, %q or %q", g.Kind, Mains, BigEnds, Other), "group", i, "kind")
	}
	if _, err := ParseSurface(string(g.On)); err != nil {
		return p.wrong(err, "group", i, "strip_on")
	}
	return nil
}

// ParseSurface reads what a strip lies on: shell, journal or flat, or empty where
// nobody says.
func ParseSurface(s string) (Surface, error) {
	switch on := Surface(s); on {
	case "", OnShell, OnJournal, OnFlat:
		return on, nil
	}
	return "", fmt.Errorf("%q: must be %q, %q or %q", s, OnShell, OnJournal, OnFlat)
}

func diameter(s string) (float64, error) {
	d, err := positiveLength(s)
	if err == nil && !(d >= smallest && d <= largest) {
		err = fmt.Errorf("%q is %.4g mm; journals measure %v to %v mm across: check the unit", s, d, smallest, largest)
	}
	return d, err
}

// limits reads both kinds of limits, each in one or two units.
func (p *parser) limits(i int, e groupEntry, g *Group) error {
	for _, kind := range []struct {
		key, first, also string
		into             **Limits
	}{
		{"limits_new", e.LimitsNew, e.LimitsNewAlso, &g.New},
		{"limits_service", e.LimitsService, e.LimitsServiceAlso, &g.Service},
	} {
		var l Limits
		var err error
		switch {
		case kind.first == "" && kind.also == "":
			continue
		case kind.first == "":
			return p.wrong(fmt.Errorf("stands alone; write it as %s", kind.key), "group", i, kind.key+"_also")
		case kind.also == "":
			l.Printed = []string{kind.first}
			l.Limits, err = clearance.ParseLimits(kind.first)
		default:
			l.Printed = []string{kind.first, kind.also}
			l.Limits, err = clearance.ParseBoth(kind.first, kind.also)
		}
		if err != nil {
			return p.wrong(err, "group", i, kind.key)
		}
		*kind.into = &l
		p.doubtLimits(kind.key, g, l.Limits)
	}
	if err := g.Spec().Check(); err != nil {
		return p.wrong(err, "group", i, "limits_service")
	}
	return nil
}

func (p *parser) doubtLimits(key string, g *Group, l clearance.Limits) {
	doubts, err := l.AnyDoubts()
	if g.Diameter != 0 {
		doubts, err = l.Doubts(g.Diameter)
	}
	if err != nil { // both were checked
		panic(err)
	}
	for _, d := range doubts {
		p.build.doubt("%s, %s: %s", g.Name, key, d.Text)
	}
}

// Spec is the group's limits, ready to judge by.
func (g *Group) Spec() clearance.Spec {
	var s clearance.Spec
	if g.New != nil {
		s.New = &g.New.Limits
	}
	if g.Service != nil {
		s.Service = &g.Service.Limits
	}
	return s
}

func (p *parser) positions(i int, e groupEntry, g *Group) error {
	for k, s := range e.Positions {
		a, err := ParseAngle(s)
		if err == nil && !(a >= 0 && a < 360) {
			err = fmt.Errorf("%q: must be from 0 to less than 360 deg", s)
		}
		for _, other := range g.Positions {
			if err == nil && math.Abs(math.Remainder(a-other, 180)) < 1 {
				err = fmt.Errorf("%q is the same diameter as %g deg", s, other)
			}
		}
		if err != nil {
			return p.wrong(err, "group", i, "positions", k)
		}
		g.Positions = append(g.Positions, a)
	}
	return nil
}

// ParseAngle reads a decimal number with the unit deg.
func ParseAngle(s string) (float64, error) {
	number, ok := strings.CutSuffix(strings.TrimSpace(s), "deg")
	if !ok {
		return 0, fmt.Errorf("angle %q: no unit; write deg after the number", s)
	}
	number = strings.TrimSpace(number)
	x, err := strconv.ParseFloat(number, 64)
	if err != nil || strings.Trim(number, "+-.0123456789") != "" {
		return 0, fmt.Errorf("angle %q: not a decimal number", s)
	}
	return x, nil
}

// bolts reads torques and angles.
func (p *parser) bolts(i int, e groupEntry, g *Group) error {
	for k, s := range e.Torque {
		t, err := quantity.ParseTorque(s)
		if err == nil && !(t > 0) {
			err = fmt.Errorf("%q is not positive", s)
		}
		var both string
		if err == nil {
			both, err = quantity.BothTorques(s)
		}
		if err != nil {
			return p.wrong(err, "group", i, "torque", k)
		}
		g.Torque = append(g.Torque, both)
	}
	for k, s := range e.Angle {
		a, err := ParseAngle(s)
		if err == nil && !(a > 0 && a <= 360) {
			err = fmt.Errorf("%q: must be more than 0 and at most 360 deg", s)
		}
		if err != nil {
			return p.wrong(err, "group", i, "angle", k)
		}
		g.Angle = append(g.Angle, strconv.FormatFloat(a, 'f', -1, 64)+" deg")
	}
	return nil
}
