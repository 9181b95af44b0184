package build

import (
	"errors"
	"fmt"
	"math"

	"stripgap/calib/quantity"
	"stripgap/clearance"
)

func (p *parser) bearing(i, k int, g groupEntry, e bearingEntry, into *Group) error {
	b := Bearing{Name: e.Name, Note: e.Note}
	if e.Name == "" {
		return p.wrong(errors.New("missing"), "group", i, "bearing", k, "name")
	}
	if err := p.name(e.Name); err != nil {
		return p.wrong(err, "group", i, "bearing", k, "name")
	}
	var parts clearance.Parts
	for _, part := range []struct {
		key       string
		x, own, u string
		into      *quantity.Value
	}{
		{"bore", e.Bore, e.BoreU, g.BoreU, &parts.Bore},
		{"shell_wall", e.Wall, e.WallU, g.WallU, &parts.Wall},
		{"journal", e.Journal, e.JournalU, g.JournalU, &parts.Journal},
	} {
		v, key, err := micrometer(part.key, part.x, part.own, part.u)
		if err != nil {
			return p.wrong(err, "group", i, "bearing", k, key)
		}
		*part.into = v
	}
	p.parts(&b, parts)
	into.Bearings = append(into.Bearings, b)
	return nil
}

// micrometer reads one part's measure with its uncertainty, its own or else the
// group's. Nothing written is no measure.
func micrometer(key, x, own, group string) (v quantity.Value, at string, err error) {
	if x == "" && own == "" {
		return v, "", nil
	}
	if x == "" {
		return v, key, errors.New("missing beside its uncertainty")
	}
	if v.X, err = positiveLength(x); err != nil {
		return v, key, err
	}
	if own == "" {
		own = group
	}
	if own == "" {
		return v, key + "_u", errors.New("missing; say how sure the measure is (its standard uncertainty), here or for the whole group")
	}
	if v.U, err = positiveLength(own); err != nil {
		return v, key + "_u", err
	}
	if v.U >= v.X/100 {
		return v, key + "_u", fmt.Errorf("%s is more than a hundredth of %s; check the unit", own, x)
	}
	return v, "", nil
}

// farOff in mm is a predicted clearance that no bearing has: some part's figure
// belongs to another or is a slip.
const farOff = 0.5

// parts keeps measures that give a clearance, and says of others what is missing.
func (p *parser) parts(b *Bearing, parts clearance.Parts) {
	none := quantity.Value{}
	switch {
	case parts == (clearance.Parts{}):
		return
	case parts.Bore == none || parts.Journal == none:
		p.build.doubt("%s: bore and journal are not both measured yet, so the parts predict no clearance", b.Name)
		return
	}
	v, _, err := parts.Predict()
	if err != nil { // every part was checked
		panic(err)
	}
	if math.Abs(v.X) > farOff {
		p.build.doubt("%s: bore less two shell walls less journal is %.3f mm, which is no clearance; check these figures", b.Name, v.X)
		return
	}
	b.Parts = &parts
}
