package vision

import (
	"encoding/binary"
	"runtime"
	"sync"

	"stripgap/vision/hevc"
)

// decodeHEIC decodes a still picture of HEVC, whole or in tiles, as phones store
// it. The file's boxes are read here; the decoder, compiled to WebAssembly so that
// it can touch nothing outside its own memory, is given one coded picture at a
// time in a file made for it, whose size is known.
func decodeHEIC(data []byte) (*Photo, error) {
	h, err := parseHeif(data)
	if err != nil {
		return nil, Refuse(CodeTruncated, "")
	}
	g, err := h.grid()
	if err != nil {
		return nil, err
	}
	p := newPhoto420(g.w, g.h)
	if err := g.decode(p); err != nil {
		return nil, err
	}
	if !h.fullRange(g.first) {
		p.stretchStudio()
	}
	p.Exif.Orientation = h.items[h.primary].turn()
	return p, nil
}

// heifGrid is a picture laid out in tiles of one size, row by row; a picture in one
// piece is a grid of one. Tiles may stand over the right and the lower border.
type heifGrid struct {
	w, h         int // of the picture
	columns      int
	tileW, tileH int
	tiles        []heifTile
	first        uint32 // the item of the first tile
}

// heifTile is a coded picture: its decoder configuration record (ISO/IEC 14496-15
// section 8.3.3.1) and its data.
type heifTile struct{ config, data []byte }

// grid finds the primary picture's tiles and checks every size before one of them
// is decoded.
func (h *heif) grid() (*heifGrid, error) {
	primary := h.items[h.primary]
	g := &heifGrid{columns: 1}
	ids := []uint32{h.primary}
	var ok bool
	switch primary.kind {
	case "hvc1":
		if g.w, g.h, ok = primary.size(); !ok {
			return nil, Refuse(CodeTruncated, "")
		}
	case "grid":
		rows := 0
		if rows, ok = g.layout(h.data(primary)); !ok || rows*g.columns != len(h.tilesOf[h.primary]) {
			return nil, Refuse(CodeTruncated, "")
		}
		if rows*g.columns > maxHeifTiles {
			return nil, Refuse(CodeTooLarge, "in %d pieces", rows*g.columns)
		}
		ids = h.tilesOf[h.primary]
	case "av01":
		return nil, Refuse(CodeUnsupported, "it is AVIF")
	default:
		return nil, Refuse(CodeUnsupported, "a rare kind of HEIF")
	}
	if err := checkSize(g.w, g.h); err != nil {
		return nil, err
	}
	return g, h.gatherTiles(g, ids)
}

// layout reads the grid's own data (ISO/IEC 23008-12 section 6.6.2.3.2).
func (g *heifGrid) layout(data []byte, there bool) (rows int, ok bool) {
	c := cursor{data: data}
	c.uint(1)
	long := c.uint(1)&1 == 1
	rows, g.columns = int(c.uint(1))+1, int(c.uint(1))+1
	g.w, g.h = int(c.uint(idSize(long))), int(c.uint(idSize(long)))
	return rows, there && !c.failed
}

// gatherTiles collects the tiles and checks that they are of one size and kind
// and cover the picture, and no more than that.
func (h *heif) gatherTiles(g *heifGrid, ids []uint32) error {
	g.first = ids[0]
	total := 0
	for n, id := range ids {
		item := h.items[id]
		w, ht, ok := item.size()
		config, has := item.find("hvcC")
		data, there := h.data(item)
		// Tiles that share their bytes would make a small file large.
		total += len(data)
		if item.kind != "hvc1" || !ok || !has || !there || total > len(h.file) {
			return Refuse(CodeTruncated, "")
		}
		if n == 0 {
			g.tileW, g.tileH = w, ht
		}
		if w != g.tileW || ht != g.tileH {
			return Refuse(CodeTruncated, "")
		}
		if err := item.checkColours(config.body, w, ht); err != nil {
			return err
		}
		g.tiles = append(g.tiles, heifTile{config.body, data})
	}
	return g.checkCover()
}

// checkCover: the tiles reach over the picture, by less than one of them, and
// inner borders fall between two chroma samples.
func (g *heifGrid) checkCover() error {
	if err := checkSize(g.tileW, g.tileH); err != nil {
		return err
	}
	if min(g.tileW, g.tileH) < hevc.MinSide {
		return Refuse(CodeUnsupported, "a HEIC in pieces of %d x %d pixels", g.tileW, g.tileH)
	}
	rows := len(g.tiles) / g.columns
	over := func(n, tile, whole int) bool { return n*tile >= whole && (n-1)*tile < whole && (n == 1 || tile%2 == 0) }
	if !over(g.columns, g.tileW, g.w) || !over(rows, g.tileH, g.h) {
		return Refuse(CodeTruncated, "")
	}
	return nil
}

// checkColours refuses pictures without colour or with more than eight bits, and
// those whose code says another size than the file.
func (i heifItem) checkColours(config []byte, w, h int) error {
	sps, ok := readSPS(config)
	switch {
	case !ok:
		return Refuse(CodeTruncated, "")
	case sps.chroma == 0:
		return Refuse(CodeNoColour, "")
	case sps.bits > 8:
		return Refuse(CodeSixteenBit, "it has %d", sps.bits)
	case sps.chroma != 1:
		return Refuse(CodeUnsupported, "a HEIC with unusual colour subsampling")
	case sps.w < w || sps.h < h || sps.w > w+codingSlack || sps.h > h+codingSlack:
		return Refuse(CodeTruncated, "")
	}
	return nil
}

// codingSlack is how much wider and higher in px a coded picture may be than what
// is shown of it: it is padded to whole coding blocks, of 64 px at most.
const codingSlack = 64

// fullRange reports whether black is 0 and white 255. The file's word (colr) goes
// before the code's; where neither says, still pictures are full range (ISO/IEC
// 23000-22 section 7.3.6.4).
func (h *heif) fullRange(tile uint32) bool {
	for _, id := range []uint32{h.primary, tile} {
		for _, p := range h.items[id].props {
			if p.kind == "colr" && len(p.body) >= 11 && string(p.body[:4]) == "nclx" {
				return p.body[10]&0x80 != 0
			}
		}
	}
	if c, ok := h.items[tile].find("hvcC"); ok {
		if sps, ok := readSPS(c.body); ok && sps.saysRange {
			return sps.fullRange
		}
	}
	return true
}

// decode decodes the tiles into the photo, as many at a time as there are
// processors.
func (g *heifGrid) decode(p *Photo) error {
	next := make(chan int)
	failed := make([]error, len(g.tiles))
	var wait sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(g.tiles)) {
		wait.Go(func() {
			for n := range next {
				failed[n] = g.decodeTile(p, n)
			}
		})
	}
	for n := range g.tiles {
		next <- n
	}
	close(next)
	wait.Wait()
	for _, err := range failed {
		if err != nil {
			return err
		}
	}
	return nil
}

// decodeTile decodes the n-th tile into its place.
func (g *heifGrid) decodeTile(p *Photo, n int) error {
	t, err := hevc.Decode(g.tiles[n].file(g.tileW, g.tileH), g.tileW, g.tileH)
	if err != nil {
		return Refuse(CodeTruncated, "")
	}
	x, y := n%g.columns*g.tileW, n/g.columns*g.tileH
	paste(p.Luma, x, y, t.Y, t.Stride, g.tileW, g.tileH)
	paste(p.Cb, x/2, y/2, t.Cb, t.ChromaStride, (g.tileW+1)/2, (g.tileH+1)/2)
	paste(p.Cr, x/2, y/2, t.Cr, t.ChromaStride, (g.tileW+1)/2, (g.tileH+1)/2)
	return nil
}

// file is a HEIF file with this one coded picture in it.
func (t heifTile) file(w, h int) []byte {
	be := binary.BigEndian
	u32 := func(v ...int) (out []byte) {
		for _, x := range v {
			out = be.AppendUint32(out, uint32(x))
		}
		return out
	}
	const id = "\x00\x01"
	meta := func(at int) []byte {
		props := appendBox(nil, "ipco", appendBox(nil, "hvcC", t.config), appendBox(nil, "ispe", u32(0, w, h)))
		// One item with two properties, the first of them needed to decode it.
		props = appendBox(props, "ipma", u32(0, 1), []byte(id+"\x02\x81\x02"))
		body := appendBox(u32(0), "hdlr", u32(0, 0), []byte("pict"), make([]byte, 13))
		body = appendBox(body, "pitm", u32(0), []byte(id))
		body = appendBox(body, "iinf", u32(0), []byte("\x00\x01"),
			appendBox(nil, "infe", u32(2<<24), []byte(id+"\x00\x00hvc1\x00")))
		body = appendBox(body, "iloc", u32(0), []byte("\x44\x00\x00\x01"+id+"\x00\x00\x00\x01"), u32(at, len(t.data)))
		body = appendBox(body, "iprp", props)
		return appendBox(nil, "meta", body)
	}
	out := appendBox(nil, "ftyp", []byte("heic\x00\x00\x00\x00mif1heic"))
	at := len(out) + len(meta(0)) + 8
	out = append(out, meta(at)...)
	return appendBox(out, "mdat", t.data)
}
