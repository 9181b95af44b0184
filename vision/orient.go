package vision

// turn is one of the eight ways a stored picture becomes upright: its rows and
// columns swapped or not, then mirrored left-right and top-bottom or not.
type turn struct{ swap, flipX, flipY bool }

// turns is indexed by the EXIF orientation, 1 to 8. CIPA DC-008 says at which
// side of the upright picture the stored 0th row and 0th column lie.
var turns = [9]turn{
	1: {false, false, false}, // row top, column left
	2: {false, true, false},  // row top, column right
	3: {false, true, true},   // row bottom, column right
	4: {false, false, true},  // row bottom, column left
	5: {true, false, false},  // row left, column top
	6: {true, true, false},   // row right, column top
	7: {true, true, true},    // row right, column bottom
	8: {true, false, true},   // row left, column bottom
}

// upright returns the photo with its stored orientation applied. Orientations
// the standard does not know leave it as it is, as every viewer does.
func (p *Photo) upright() *Photo {
	o := p.Exif.Orientation
	if o < 2 || o > 8 {
		return p
	}
	t := turns[o]
	defer p.Close()
	q := *p
	q.memory = nil
	q.Luma, q.Cb, q.Cr = p.Luma.turned(t), p.Cb.turned(t), p.Cr.turned(t)
	if t.swap {
		q.ChromaX, q.ChromaY = p.ChromaY, p.ChromaX
		q.ShiftX, q.ShiftY = p.ShiftY, p.ShiftX
	}
	// Seen from the other side, the chroma grid starts where it ended.
	if t.flipX {
		q.ShiftX = q.Cb.W*q.ChromaX - q.ShiftX - q.Luma.W
	}
	if t.flipY {
		q.ShiftY = q.Cb.H*q.ChromaY - q.ShiftY - q.Luma.H
	}
	return &q
}

// turned returns a copy of p with t applied. Every turn is affine in the pixel
// index: one step right or down in the copy is a fixed step in p.
func (p *Plane) turned(t turn) *Plane {
	q := NewPlane(p.W, p.H)
	right, down := 1, p.W
	if t.swap {
		q.W, q.H = p.H, p.W
		right, down = down, right
	}
	start := 0
	if t.flipX {
		start += right * (q.W - 1)
		right = -right
	}
	if t.flipY {
		start += down * (q.H - 1)
		down = -down
	}
	// Tiles keep both planes' rows in the cache when rows become columns.
	const tile = 64
	for y0 := 0; y0 < q.H; y0 += tile {
		for x0 := 0; x0 < q.W; x0 += tile {
			for y := y0; y < min(y0+tile, q.H); y++ {
				row := q.Row(y)[x0:min(x0+tile, q.W)]
				i := start + right*x0 + down*y
				for x := range row {
					row[x] = p.Pix[i]
					i += right
				}
			}
		}
	}
	if p.half != nil {
		q.half = p.half.turned(t)
	}
	if p.fourth != nil {
		q.fourth = p.fourth.turned(t)
	}
	return q
}
