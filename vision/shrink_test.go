package vision

import (
	"bytes"
	"math/rand/v2"
	"testing"
)

// TestShrinkEqualsOpenCV: averaging by twos gives what OpenCV's area average does.
func TestShrinkEqualsOpenCV(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, size := range [][2]int{{4, 4}, {16, 8}, {44, 20}, {1000, 64}} {
		p := NewPlane(size[0], size[1])
		for i := range p.Pix {
			p.Pix[i] = uint8(rng.IntN(256))
		}
		half, err := resizeArea(p, p.W/2, p.H/2)
		if err != nil {
			t.Fatal(err)
		}
		if !p.canHalve(1) || !bytes.Equal(halve(p).Pix, half.Pix) {
			t.Errorf("%v: the halves differ", size)
		}
		fourth, err := resizeArea(half, p.W/4, p.H/4)
		if err != nil {
			t.Fatal(err)
		}
		if !p.canHalve(2) || !bytes.Equal(quarter(p).Pix, fourth.Pix) {
			t.Errorf("%v: the quarters differ", size)
		}
	}
	for _, size := range [][2]int{{11, 4}, {16, 5}} {
		if NewPlane(size[0], size[1]).canHalve(1) {
			t.Errorf("%v can not be halved", size)
		}
	}
}
