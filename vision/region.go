package vision

// run is a row's stretch of set pixels, from start up to end, in packed places.
type run struct{ start, end int32 }

// regions returns the connected areas of non-zero pixels, diagonal neighbours
// included, that have at least least pixels: each as its places, row by row, in
// the order of their first places.
func regions(p *Plane, least int) [][]int32 {
	runs, rows := runsOf(p)
	set := make([]int32, len(runs)) // each run's way to the first run of its area
	for i := range set {
		set[i] = int32(i)
	}
	find := func(i int32) int32 {
		for set[i] != i {
			set[i] = set[set[i]]
			i = set[i]
		}
		return i
	}
	w := int32(p.W)
	for y := 1; y < p.H; y++ {
		above, here := rows[y-1], rows[y]
		for above < rows[y] && here < rows[y+1] {
			a, b := runs[above], runs[here]
			if a.start+w <= b.end && b.start <= a.end+w {
				i, j := find(above), find(here)
				set[max(i, j)] = min(i, j)
			}
			if a.end+w < b.end {
				above++
			} else {
				here++
			}
		}
	}
	size := make([]int32, len(runs))
	for i := range runs {
		size[find(int32(i))] += runs[i].end - runs[i].start
	}
	var out [][]int32
	slot := make([]int, len(runs))
	for i, r := range runs {
		first := find(int32(i))
		if int(size[first]) < least {
			continue
		}
		if first == int32(i) {
			slot[i] = len(out)
			out = append(out, make([]int32, 0, size[i]))
		}
		at := &out[slot[first]]
		for k := r.start; k < r.end; k++ {
			*at = append(*at, k)
		}
	}
	return out
}

// runsOf lists the plane's runs, and for each row the first of its runs; the last
// entry closes the list.
func runsOf(p *Plane) (runs []run, rows []int32) {
	rows = make([]int32, p.H+1)
	for y := range p.H {
		rows[y] = int32(len(runs))
		row, base := p.Row(y), int32(y*p.W)
		for x := 0; x < len(row); x++ {
			if row[x] == 0 {
				continue
			}
			start := x
			for x < len(row) && row[x] != 0 {
				x++
			}
			runs = append(runs, run{base + int32(start), base + int32(x)})
		}
	}
	rows[p.H] = int32(len(runs))
	return runs, rows
}
