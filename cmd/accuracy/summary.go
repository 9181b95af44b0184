package main

import (
	"fmt"
	"slices"
	"strings"
)

// group is a population, or the part of it where a knob has one value.
type group struct {
	population  string
	knob, value string // "" for the whole population
	photos      int
	read        int
	right       int // what became of them is what should have
	wrongly     int // read, and nothing said, although a fault demands it
	codes       map[string]int
	width, net  spread
	taper       spread
	taperPlain  spread
	endsWrong   int
	marks       []float64 // px, each photo's root mean square
}

// summarise groups outcomes: each population whole, in the order they come,
// then by every knob that takes more than one value in it.
func summarise(rows []outcome) []group {
	var order []population
	members := map[string][]*outcome{}
	for i := range rows {
		o := &rows[i]
		if members[o.name] == nil {
			order = append(order, o.population)
		}
		members[o.name] = append(members[o.name], o)
	}
	var out []group
	for _, p := range order {
		out = append(out, newGroup(p, "", "", members[p.name]))
		for _, k := range knobs() {
			out = append(out, split(p, k, members[p.name])...)
		}
	}
	return out
}

// split returns one group for each value of the knob, or none if it has one.
func split(p population, k knob, all []*outcome) []group {
	parts := map[string][]*outcome{}
	for _, o := range all {
		if v := k.value(o); v != "" {
			parts[v] = append(parts[v], o)
		}
	}
	if len(parts) < 2 {
		return nil
	}
	var out []group
	for v, part := range parts {
		out = append(out, newGroup(p, k.name, v, part))
	}
	slices.SortFunc(out, func(a, b group) int { return compareBands(a.value, b.value) })
	return out
}

// compareBands orders bands by their limits and other names by the alphabet.
func compareBands(a, b string) int {
	key := func(s string) (float64, string) {
		var v float64
		switch {
		case strings.HasPrefix(s, "<"):
			return -1, ""
		case strings.HasPrefix(s, ">="):
			return 1e9, ""
		}
		if _, err := fmt.Sscanf(s, "%g to", &v); err == nil {
			return v, ""
		}
		return 0, s
	}
	x, s := key(a)
	y, t := key(b)
	switch {
	case x < y:
		return -1
	case x > y:
		return 1
	}
	return strings.Compare(s, t)
}

func newGroup(p population, knob, value string, all []*outcome) group {
	g := group{population: p.name, knob: knob, value: value, photos: len(all), codes: map[string]int{}}
	var width, net, taper, plain []deviation
	for _, o := range all {
		if o.marks > 0 {
			g.marks = append(g.marks, o.marksPx)
		}
		if o.right() {
			g.right++
		}
		if !o.read() {
			g.codes[o.code]++
			continue
		}
		g.read++
		if p.fault() && !o.right() {
			g.wrongly++
		}
		if o.profile == nil {
			continue // read where the truth has no strip
		}
		width, net, taper = append(width, o.width), append(net, o.net), append(taper, o.taper)
		plain = append(plain, deviation{o.taperPlain, o.taper.u})
		if o.endsWrong {
			g.endsWrong++
		}
	}
	g.width, g.net, g.taper, g.taperPlain = newSpread(width), newSpread(net), newSpread(taper), newSpread(plain)
	return g
}

// refusals lists the codes with their counts, the commonest first.
func (g *group) refusals() string {
	var list []string
	for c := range g.codes {
		list = append(list, c)
	}
	slices.SortFunc(list, func(a, b string) int {
		if n := g.codes[b] - g.codes[a]; n != 0 {
			return n
		}
		return strings.Compare(a, b)
	})
	for i, c := range list {
		list[i] = fmt.Sprintf("%s %d", c, g.codes[c])
	}
	return strings.Join(list, "; ")
}

// title names the group in a table.
func (g *group) title() string {
	if g.knob == "" {
		return g.population
	}
	return "  " + g.knob + " " + g.value
}
