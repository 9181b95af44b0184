package vision

import "math"

// spreadRange bounds the strip's own edge spread over the bars' that is taken
// into its edge model: a strip may lie a little out of the focus of the card.
// What lies outside is not blur but the strip's edge itself.
var spreadRange = [2]float64{0.8, 1.5}

// superEdges lays the stations' edges over one another, side by side.
func (t *traced) superEdges(cuts []cut) (edges [2]superEdge) {
	for side := range edges {
		var sum edgeSum
		for i := range cuts {
			sum.add(cuts[i].slice, &cuts[i].fit, side)
		}
		edges[side] = sum.edge(t.film, t.metal[side])
	}
	return edges
}

// spreads measures each edge's own spread, px; the bars' where it does not show.
func (t *traced) spreads(edges *[2]superEdge) {
	for side := range edges {
		s, ok := edges[side].spread(t.cam)
		switch {
		case ok && t.cam.isTint():
			t.spread[side] = math.Hypot(t.cam.S, s)
		case ok:
			t.spread[side] = s
		case t.cam.isTint(): // no bars show how much chroma is smoothed
			t.spread[side] = t.softest()
		default:
			t.spread[side] = t.cam.S
		}
	}
	if t.cam.isTint() { // one smoothing for both
		a, b := t.camera(0).R, t.camera(1).R
		t.cam.R = (a + b) / 2
	}
}

// camera is the edge model of one side, with that edge's own spread.
func (t *traced) camera(side int) camera1D {
	c := t.cam
	if c.isTint() {
		own := math.Sqrt(math.Max(0, t.spread[side]*t.spread[side]-c.S*c.S))
		c.R = math.Max(tintBlurs[0], math.Min(tintBlurs[1], own))
		return c
	}
	c.S = math.Max(spreadRange[0]*c.S, math.Min(spreadRange[1]*c.S, t.spread[side]))
	return c
}
