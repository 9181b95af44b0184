package build

import (
	"stripgap/calib/quantity"
	"stripgap/clearance"
)

// groupSurvey looks at the bearings of one group together.
type groupSurvey struct {
	build    *Build
	group    *Group
	coverage quantity.Coverage
	bearings []*assessment
}

// survey flags bearings that stand apart from the others, and looks for parts in
// another's place; the hint says which, empty where nothing speaks for it.
func (g *groupSurvey) survey() (hint string, err error) {
	if err := g.apart(); err != nil {
		return "", err
	}
	return g.swap()
}

// gauged is the bearing as the group's checks take it: the surest strip of the
// places that are settled.
func (a *assessment) gauged() (clearance.Gauged, bool) {
	var members []strip
	for _, p := range a.places {
		if p.known {
			members = append(members, p.members()...)
		}
	}
	if len(members) == 0 {
		return clearance.Gauged{}, false
	}
	return surest(members).gauged, true
}

// apart compares each bearing with the others; fewer than three cannot be.
func (g *groupSurvey) apart() error {
	var list []clearance.Gauged
	var who []*assessment
	for _, a := range g.bearings {
		if x, ok := a.gauged(); ok {
			list, who = append(list, x), append(who, a)
		}
	}
	if len(list) < 3 {
		return nil
	}
	standing, err := clearance.FindApart(list, clearance.ApartLimit, clearance.Laying, g.coverage)
	if err != nil {
		return err
	}
	for i, s := range standing {
		if s.Apart != "" {
			who[i].flag(FlagApart, "its clearance is %s from the others of the %s", lengths(s.FromMedian.X), g.group.Name)
		}
	}
	return nil
}

// kinds are the parts that two bearings of the group may have exchanged.
func (g *groupSurvey) kinds(walls bool) []clearance.SwapKind {
	var kinds []clearance.SwapKind
	switch g.group.Kind {
	case Mains:
		kinds = []clearance.SwapKind{clearance.SwapCaps}
	case BigEnds:
		kinds = []clearance.SwapKind{clearance.SwapRods, clearance.SwapCaps}
	}
	if walls && g.group.Kind != Other {
		kinds = append(kinds, clearance.SwapShells)
	}
	return kinds
}

// swap looks for one exchange of parts among the bearings that are both measured
// and read, with shell walls as the first of them.
func (g *groupSurvey) swap() (string, error) {
	var list []clearance.Listed
	var who []*assessment
	walls := false
	for _, a := range g.bearings {
		x, ok := a.gauged()
		if !ok || a.bearing.Parts == nil {
			continue
		}
		has := a.bearing.Parts.Wall != quantity.Value{}
		if len(list) == 0 {
			walls = has
		}
		if has == walls {
			list, who = append(list, clearance.Listed{Name: a.bearing.Name, Parts: *a.bearing.Parts, Read: x}), append(who, a)
		}
	}
	kinds := g.kinds(walls)
	if len(list) < 2 || len(kinds) == 0 {
		return "", nil
	}
	found, err := clearance.FindSwap(list, kinds, clearance.Laying)
	if err != nil || !found.Hint {
		return "", err
	}
	for _, c := range found.Candidates[:found.Likely] {
		who[c.A].inOrder, who[c.B].inOrder = true, true
	}
	return found.Describe(list), nil
}
