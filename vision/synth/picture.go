package synth

// picture is three planes of float32, row after row.
type picture struct {
	w, h int
	c    [3][]float32
}

func newPicture(w, h int) *picture {
	p := &picture{w: w, h: h}
	for i := range p.c {
		p.c[i] = make([]float32, w*h)
	}
	return p
}
