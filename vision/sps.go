package vision

// sps is what the sequence parameter set of an HEVC picture says of its samples
// (ITU-T H.265 sections 7.3.2.2 and E.2.1).
type sps struct {
	chroma, bits         int // 0 is none, 1 is 4:2:0; bits of luma or chroma, the greater
	w, h                 int // px, as coded
	saysRange, fullRange bool
}

// readSPS finds the parameter set in a decoder configuration record and reads it.
// A record with several is one of no still picture.
func readSPS(config []byte) (sps, bool) {
	const arrays, spsType = 22, 33
	if len(config) <= arrays {
		return sps{}, false
	}
	c := cursor{data: config}
	c.bytes(arrays)
	var found [][]byte
	for range c.uint(1) {
		kind := c.uint(1) & 63
		for range c.uint(2) {
			unit := c.bytes(int(c.uint(2)))
			if c.failed {
				return sps{}, false
			}
			if kind == spsType {
				found = append(found, unit)
			}
		}
	}
	if len(found) != 1 || len(found[0]) < 2 {
		return sps{}, false
	}
	b := &bitReader{data: unescaped(found[0][2:])}
	s := b.sps()
	return s, !b.failed
}

// unescaped takes out the bytes that keep start codes from showing up in the data
// (section 7.3.1.1).
func unescaped(data []byte) []byte {
	out := make([]byte, 0, len(data))
	zeros := 0
	for _, v := range data {
		if zeros >= 2 && v == 3 {
			zeros = 0
			continue
		}
		if v == 0 {
			zeros++
		} else {
			zeros = 0
		}
		out = append(out, v)
	}
	return out
}

// bitReader reads bits, highest first. Reading past the end sets failed.
type bitReader struct {
	data   []byte
	at     int // bit
	failed bool
}

func (b *bitReader) bits(n int) (v int) {
	for range n {
		if b.at >= 8*len(b.data) {
			b.failed = true
			return 0
		}
		v = v<<1 | int(b.data[b.at/8]>>(7-b.at%8)&1)
		b.at++
	}
	return v
}

func (b *bitReader) flag() bool { return b.bits(1) == 1 }

func (b *bitReader) skip(n int) {
	if b.at += n; b.at > 8*len(b.data) {
		b.failed = true
	}
}

// golomb reads an Exp-Golomb number (section 9.2); a signed one has the same bits.
func (b *bitReader) golomb() int {
	zeros := 0
	for !b.failed && !b.flag() {
		if zeros++; zeros > 24 {
			b.failed = true
		}
	}
	return 1<<zeros - 1 + b.bits(zeros)
}

// counted reads a count that must not be over most.
func (b *bitReader) counted(most int) int {
	n := b.golomb()
	if n > most {
		b.failed = true
	}
	if b.failed {
		return 0
	}
	return n
}

func (b *bitReader) sps() (s sps) {
	b.skip(4)
	layers := b.bits(3)
	b.skip(1)
	b.profile(layers)
	b.golomb() // id
	s.chroma = b.golomb()
	if s.chroma == 3 {
		b.skip(1)
	}
	s.w, s.h = b.golomb(), b.golomb()
	if b.flag() { // conformance window
		for range 4 {
			b.golomb()
		}
	}
	s.bits = 8 + max(b.golomb(), b.golomb())
	if !b.failed {
		b.untilUsability(layers, &s)
	}
	return s
}

// profile skips profile, tier and level (section 7.3.3).
func (b *bitReader) profile(layers int) {
	const profileBits, levelBits = 88, 8
	b.skip(profileBits + levelBits)
	var profiles, levels int
	for range layers {
		profiles += b.bits(1)
		levels += b.bits(1)
	}
	if layers > 0 {
		b.skip(2 * (8 - layers))
	}
	b.skip(profiles*profileBits + levels*levelBits)
}

// untilUsability skips what does not matter here up to the usability information,
// which holds the range.
func (b *bitReader) untilUsability(layers int, s *sps) {
	orderBits := 4 + b.counted(12)
	first := layers
	if b.flag() {
		first = 0
	}
	for range 3*(layers-first+1) + 6 { // sub-layers' ordering, then block sizes
		b.golomb()
	}
	if enabled := b.flag(); enabled && b.flag() { // and given here
		b.scalingLists()
	}
	b.skip(2)
	if b.flag() { // PCM
		b.skip(8)
		b.golomb()
		b.golomb()
		b.skip(1)
	}
	b.referenceSets()
	if b.flag() { // long-term references
		for range b.counted(32) {
			b.skip(orderBits + 1)
		}
	}
	b.skip(2)
	if b.flag() {
		b.usability(s)
	}
}

// scalingLists skips the quantiser's tables (section 7.3.4).
func (b *bitReader) scalingLists() {
	for size := range 4 {
		for matrix := 0; matrix < 6; matrix++ {
			if size == 3 && matrix%3 != 0 {
				continue
			}
			if !b.flag() {
				b.golomb()
				continue
			}
			n := min(64, 1<<(4+2*size))
			if size > 1 {
				n++
			}
			for range n {
				b.golomb()
			}
		}
	}
}

// referenceSets skips the short-term reference pictures (section 7.3.7), of which
// a still picture has none.
func (b *bitReader) referenceSets() {
	pictures := 0
	for set := range b.counted(64) {
		if set > 0 && b.flag() {
			b.skip(1)
			b.golomb()
			kept := 0
			for range pictures + 1 {
				if used := b.flag(); used || b.flag() {
					kept++
				}
			}
			pictures = kept
			continue
		}
		pictures = b.counted(16) + b.counted(16)
		for range pictures {
			b.golomb()
			b.skip(1)
		}
	}
}

// usability reads the range of the samples (section E.2.1).
func (b *bitReader) usability(s *sps) {
	const extendedRatio = 255
	if b.flag() && b.bits(8) == extendedRatio {
		b.skip(32)
	}
	if b.flag() { // overscan
		b.skip(1)
	}
	if b.flag() {
		b.skip(3)
		s.saysRange, s.fullRange = true, b.flag()
	}
}
