package vision

import (
	"bytes"
	"math"
	"slices"
	"testing"
)

// TestClose: a photo in the memory of an earlier one is read like one in its own.
func TestClose(t *testing.T) {
	data := fixture(t, "video-001.q50.420.jpeg")
	want := mustDecode(t, "own memory", data)
	reused := 0
	for range 10 {
		used := bytes.Repeat([]byte{0xa5}, 4*want.Luma.W*want.Luma.H/2)
		giveBack(used)
		p := mustDecode(t, "used memory", data)
		if &p.Luma.Pix[0] == &used[0] {
			reused++
		}
		for i, planes := range [3][2]*Plane{{p.Luma, want.Luma}, {p.Cb, want.Cb}, {p.Cr, want.Cr}} {
			if !bytes.Equal(planes[0].Pix, planes[1].Pix) {
				t.Errorf("plane %d shows what was in the memory", i)
			}
		}
		p.Close()
		p.Close() // no harm
	}
	if reused == 0 { // a pool may forget, but not always
		t.Error("no photo lay in used memory: nothing was tested")
	}
}

// TestPools: edges and splines in used memory are those in their own.
func TestPools(t *testing.T) {
	edge := func() *edgeShape {
		s, ok := newShadedEdge(camera1D{S: 1.2, A: 0.5, R: 1.3}, grey(0.2), grey(0.7), filmShadow{castShadow, 0.1, 2})
		if !ok {
			t.Fatal("no edge")
		}
		return s
	}
	luma := mustDecode(t, "textured", asJPEG(t, textured(64, 48))).Luma
	window := func() *spline {
		s, ok := newSpline(luma, 5, 5, 40, 41)
		if !ok {
			t.Fatal("no spline")
		}
		return s
	}
	wantEdge, wantSpline := edge(), window()
	for range 10 {
		table, c := make([]float64, 2*len(wantEdge.table)), make([]float32, 2*len(wantSpline.c))
		for i := range table {
			table[i] = math.NaN()
		}
		for i := range c {
			c[i] = float32(math.NaN())
		}
		edgeTables.put(table)
		splines.put(c)
		if got := edge(); !slices.Equal(got.table, wantEdge.table) {
			t.Error("an edge shows what was in the memory")
		}
		if got := window(); !slices.Equal(got.c, wantSpline.c) {
			t.Error("a spline shows what was in the memory")
		}
	}
}

// TestNewRaster: rasters are zero, apart from one another, and as long as asked for,
// in the first room and beyond it.
func TestNewRaster(t *testing.T) {
	var all [][]uint32
	for k := range 3 * firstRoom / leastThere / 4 {
		r := newRaster[uint32](leastThere + k)
		for i, v := range r {
			if v != 0 {
				t.Fatalf("raster %d holds %d at %d", k, v, i)
			}
			r[i] = uint32(k + 1)
		}
		if len(r) != leastThere+k {
			t.Fatalf("%d values, want %d", len(r), leastThere+k)
		}
		all = append(all, r)
	}
	for k, r := range all {
		if r[0] != uint32(k+1) || r[len(r)-1] != uint32(k+1) {
			t.Errorf("raster %d was written over", k)
		}
	}
}
