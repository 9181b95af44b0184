package vision

import (
	"bytes"
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
