package vision

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"slices"
	"testing"

	"stripgap/vision/hevc"
)

// heicParts is a HEIC file to be written: coded tiles, how they are laid out and
// what is said of the whole.
type heicParts struct {
	tile          heifTile
	tileW, tileH  int
	rows, columns int // 0: one picture, no grid
	w, h          int // of the whole
	whole         [][]byte
	exif          []byte // a TIFF block
}

// cornerParts is the fixture corner.heic taken apart.
func cornerParts(t testing.TB) heicParts {
	t.Helper()
	return partsOf(t, "corner.heic")
}

func partsOf(t testing.TB, name string) heicParts {
	t.Helper()
	h, err := parseHeif(fixture(t, name))
	if err != nil {
		t.Fatal(err)
	}
	item := h.items[h.primary]
	config, ok := item.find("hvcC")
	data, there := h.data(item)
	w, ht, sized := item.size()
	if !ok || !there || !sized {
		t.Fatalf("%s: not a picture with its size and decoder record", name)
	}
	return heicParts{tile: heifTile{config.body, data}, tileW: w, tileH: ht, w: w, h: ht}
}

func be32(v ...int) (out []byte) {
	for _, x := range v {
		out = binary.BigEndian.AppendUint32(out, uint32(x))
	}
	return out
}

func be16(v ...int) (out []byte) {
	for _, x := range v {
		out = binary.BigEndian.AppendUint16(out, uint16(x))
	}
	return out
}

// write puts the file together by ISO/IEC 14496-12 and 23008-12: item 1 is the
// whole, item 2 its Exif block, items 10 and up are the tiles.
func (p heicParts) write() []byte {
	type item struct {
		id     int
		kind   string
		data   []byte
		inside bool // in idat
		props  []int
	}
	props := [][]byte{appendBox(nil, "hvcC", p.tile.config), appendBox(nil, "ispe", be32(0, p.tileW, p.tileH)), appendBox(nil, "ispe", be32(0, p.w, p.h))}
	whole := item{id: 1, kind: "hvc1", data: p.tile.data, props: []int{1, 3}}
	var tiles []item
	if p.rows > 0 {
		whole = item{1, "grid", slices.Concat([]byte{0, 0, byte(p.rows - 1), byte(p.columns - 1)}, be16(p.w, p.h)), true, []int{3}}
		for n := range p.rows * p.columns {
			tiles = append(tiles, item{10 + n, "hvc1", p.tile.data, false, []int{1, 2}})
		}
	}
	for _, b := range p.whole {
		props = append(props, b)
		whole.props = append(whole.props, len(props))
	}
	items := append([]item{whole}, tiles...)
	if p.exif != nil {
		items = append(items, item{2, "Exif", slices.Concat(be32(0), p.exif), false, nil})
	}
	meta := func(at int) []byte {
		var infos, locations, said, inside []byte
		for _, i := range items {
			infos = appendBox(infos, "infe", be32(2<<24), be16(i.id, 0), []byte(i.kind+"\x00"))
			method, from := 0, at
			if i.inside {
				method, from = 1, len(inside)
				inside = append(inside, i.data...)
			} else {
				at += len(i.data)
			}
			locations = append(append(locations, be16(i.id, method, 0, 1)...), be32(from, len(i.data))...)
			said = append(append(said, be16(i.id)...), byte(len(i.props)))
			for _, n := range i.props {
				said = append(said, byte(n))
			}
		}
		body := appendBox(be32(0), "hdlr", be32(0, 0), []byte("pict"), make([]byte, 13))
		body = appendBox(body, "pitm", be32(0), be16(1))
		body = appendBox(body, "iinf", be32(0), be16(len(items)), infos)
		body = appendBox(body, "iloc", be32(1<<24), []byte{0x44, 0}, be16(len(items)), locations)
		if len(tiles) > 0 {
			refs := be16(1, len(tiles))
			for _, i := range tiles {
				refs = append(refs, be16(i.id)...)
			}
			body = appendBox(body, "iref", be32(0), appendBox(nil, "dimg", refs))
		}
		if p.exif != nil {
			refs := be32(0)
			body = appendBox(body, "iref", refs, appendBox(nil, "cdsc", be16(2, 1, 1)))
		}
		body = appendBox(body, "iprp", appendBox(nil, "ipco", props...), appendBox(nil, "ipma", be32(0, len(items)), said))
		if len(inside) > 0 {
			body = appendBox(body, "idat", inside)
		}
		return appendBox(nil, "meta", body)
	}
	out := appendBox(nil, "ftyp", []byte("heic\x00\x00\x00\x00mif1heic"))
	at := len(out) + len(meta(0)) + 8
	out = append(out, meta(at)...)
	var data []byte
	for _, i := range items {
		if !i.inside {
			data = append(data, i.data...)
		}
	}
	return appendBox(out, "mdat", data)
}

// TestHEICColours: what was drawn comes out, and no pixel beside its place.
func TestHEICColours(t *testing.T) {
	p := mustDecode(t, "corner.heic", fixture(t, "corner.heic"))
	if p.Width() != 160 || p.Height() != 128 {
		t.Fatalf("%d x %d", p.Width(), p.Height())
	}
	const levels = 4 // what -q 95 costs; 4:2:0 blurs colour at the borders only
	for _, c := range []struct {
		x, y int
		want [3]float64
	}{
		{20, 15, [3]float64{200, 40, 50}}, {60, 40, [3]float64{200, 40, 50}}, {100, 100, [3]float64{40, 150, 60}},
		{80, 0, [3]float64{235, 210, 140}}, {80, 127, [3]float64{40, 60, 90}},
	} {
		r, g, b := p.RGB(c.x, c.y)
		for i, v := range [3]float64{r, g, b} {
			if d := v - c.want[i]; d > levels || d < -levels {
				t.Errorf("at %d, %d: %.0f %.0f %.0f, want %v", c.x, c.y, r, g, b, c.want)
				break
			}
		}
	}
}

// TestHEICRange: the file's word on the range stands over the code's, and without
// it the code's counts.
func TestHEICRange(t *testing.T) {
	full := mustDecode(t, "full", fixture(t, "corner.heic"))
	want := stretchTable(16, 0, 219)[full.Luma.At(80, 64)]
	p := cornerParts(t)
	p.whole = [][]byte{appendBox(nil, "colr", []byte("nclx\x00\x01\x00\x0d\x00\x06\x00"))}
	if got := mustDecode(t, "studio by the file", p.write()).Luma.At(80, 64); got != want {
		t.Errorf("by the file's word: %d, want %d", got, want)
	}
	p = cornerParts(t)
	p.tile.config = withStudioBit(t, p.tile.config)
	if got := mustDecode(t, "studio by the code", p.write()).Luma.At(80, 64); got != want {
		t.Errorf("by the code's word: %d, want %d", got, want)
	}
	p.whole = [][]byte{appendBox(nil, "colr", []byte("nclx\x00\x01\x00\x0d\x00\x06\x80"))}
	if got := mustDecode(t, "full by the file", p.write()).Luma.At(80, 64); got != full.Luma.At(80, 64) {
		t.Errorf("full by the file, studio by the code: %d, want %d", got, full.Luma.At(80, 64))
	}
}

// withStudioBit clears the one bit of a decoder record that says full range and
// nothing else.
func withStudioBit(t *testing.T, config []byte) []byte {
	t.Helper()
	before, _ := readSPS(config)
	want := before
	want.fullRange = false
	var found [][]byte
	for bit := range 8 * len(config) {
		c := bytes.Clone(config)
		c[bit/8] ^= 0x80 >> (bit % 8)
		if got, ok := readSPS(c); ok && got == want {
			found = append(found, c)
		}
	}
	if !before.fullRange || len(found) != 1 {
		t.Fatalf("%+v: %d bits say the range", before, len(found))
	}
	return found[0]
}

// sameAsLibheif decodes the file with libheif's own reading of the boxes, the
// outside check of ours.
func sameAsLibheif(t *testing.T, what string, data []byte) *Photo {
	t.Helper()
	got := mustDecode(t, what, data)
	want, err := hevc.Decode(data, got.Width(), got.Height())
	if err != nil {
		t.Fatalf("%s: libheif has another size than %d x %d: %v", what, got.Width(), got.Height(), err)
	}
	for y := range got.Luma.H {
		if !bytes.Equal(got.Luma.Row(y), want.Y[y*want.Stride:][:got.Luma.W]) {
			t.Fatalf("%s: luma of row %d differs from libheif's", what, y)
		}
	}
	for y := range got.Cb.H {
		if !bytes.Equal(got.Cb.Row(y), want.Cb[y*want.ChromaStride:][:got.Cb.W]) || !bytes.Equal(got.Cr.Row(y), want.Cr[y*want.ChromaStride:][:got.Cr.W]) {
			t.Fatalf("%s: chroma of row %d differs from libheif's", what, y)
		}
	}
	return got
}

// TestHEICTurns: every rotation and mirror box, alone and together, turns the
// picture as libheif does.
func TestHEICTurns(t *testing.T) {
	for angle := range 4 {
		for mirror := range 3 {
			p := cornerParts(t)
			p.whole = [][]byte{appendBox(nil, "irot", []byte{byte(angle)})}
			if mirror < 2 {
				p.whole = append(p.whole, appendBox(nil, "imir", []byte{byte(mirror)}))
			}
			sameAsLibheif(t, fmt.Sprintf("%d quarter turns, mirror %d", angle, mirror), p.write())
		}
	}
}

// TestHEICGrid: tiles are laid out as libheif does, the last ones cut. Its chroma
// it resamples on the way, so that of a tile is compared with the tile alone.
func TestHEICGrid(t *testing.T) {
	p := cornerParts(t)
	alone := mustDecode(t, "tile", p.write())
	p.rows, p.columns, p.w, p.h = 3, 2, 160+60, 2*128+34
	data := p.write()
	got := mustDecode(t, "grid", data)
	want, err := hevc.Decode(data, p.w, p.h)
	if err != nil {
		t.Fatal(err)
	}
	for y := range p.h {
		if !bytes.Equal(got.Luma.Row(y), want.Y[y*want.Stride:][:p.w]) {
			t.Fatalf("luma of row %d differs from libheif's", y)
		}
	}
	for y := range got.Cb.H {
		for x := range got.Cb.W {
			if got.Cb.At(x, y) != alone.Cb.At(x%80, y%64) || got.Cr.At(x, y) != alone.Cr.At(x%80, y%64) {
				t.Fatalf("chroma at %d, %d is not the tile's", x, y)
			}
		}
	}
	p.whole = [][]byte{appendBox(nil, "irot", []byte{3})}
	if turned := mustDecode(t, "turned grid", p.write()); turned.Luma.At(0, 0) != got.Luma.At(0, p.h-1) || turned.Width() != p.h {
		t.Error("the grid is not turned as a whole")
	}
}

// TestHEICExif: the camera's words are read; its orientation, which phones write
// beside the rotation box, does not turn the picture once more.
func TestHEICExif(t *testing.T) {
	p := cornerParts(t)
	p.exif = tiffOfCamera([]exifTag{{0x010f, exifText("Example Works")}, {0x0110, exifText("E1")}, {0x0112, exifShort(6)}},
		[]exifTag{{0x920a, exifRational(540, 100)}, {0xa405, exifShort(26)}})
	p.whole = [][]byte{appendBox(nil, "irot", []byte{3})} // a quarter turn clockwise: EXIF's 6
	got := sameAsLibheif(t, "with EXIF", p.write())
	want := Exif{Make: "Example Works", Model: "E1", FocalMM: 5.4, Focal35MM: 26, Orientation: 6}
	if got.Exif != want {
		t.Errorf("%+v, want %+v", got.Exif, want)
	}
	if w, h := got.StoredSize(); w != 160 || h != 128 {
		t.Errorf("stored as %d x %d", w, h)
	}
	p.whole = nil // no rotation box: the picture is upright as it is, whatever EXIF says
	if got := mustDecode(t, "no box", p.write()); got.Width() != 160 || got.Exif.Orientation != 1 {
		t.Errorf("EXIF turned it: %d wide, orientation %d", got.Width(), got.Exif.Orientation)
	}
}

func TestHEICRefused(t *testing.T) {
	cases := map[string]struct {
		change func(p *heicParts)
		code   string
	}{
		"huge":                {func(p *heicParts) { p.w, p.h = 65500, 65500 }, CodeTooLarge},
		"no width":            {func(p *heicParts) { p.w = 0 }, CodeNotAPhoto},
		"code of other size":  {func(p *heicParts) { p.w = 4000 }, CodeTruncated},
		"huge grid":           {func(p *heicParts) { p.rows, p.columns, p.w, p.h = 70, 70, 9000, 8000 }, CodeTooLarge},
		"grid beyond tiles":   {func(p *heicParts) { p.rows, p.columns, p.w, p.h = 2, 2, 321, 256 }, CodeTruncated},
		"grid of spare tiles": {func(p *heicParts) { p.rows, p.columns, p.w, p.h = 2, 2, 160, 256 }, CodeTruncated},
		"no data":             {func(p *heicParts) { p.tile.data = nil }, CodeTruncated},
		"no record":           {func(p *heicParts) { p.tile.config = nil }, CodeTruncated},
		"damaged data":        {func(p *heicParts) { p.tile.data = bytes.Repeat([]byte{7}, len(p.tile.data)) }, CodeTruncated},
	}
	for name, c := range cases {
		p := cornerParts(t)
		c.change(&p)
		if c.code == CodeTooLarge && p.rows > 0 {
			p.tile.data = p.tile.data[:1] // thousands of whole ones take long to write
		}
		if photo, err := Decode(name, p.write()); refusalCode(err) != c.code || photo != nil {
			t.Errorf("%s: %s (%v), want %s", name, refusalCode(err), err, c.code)
		}
	}
	for name, code := range map[string]string{"corner-grey.heic": CodeNoColour, "corner-10bit.heic": CodeSixteenBit, "corner-444.heic": CodeUnsupported} {
		if _, err := Decode(name, fixture(t, name)); refusalCode(err) != code {
			t.Errorf("%s: %s (%v), want %s", name, refusalCode(err), err, code)
		}
	}
	whole := fixture(t, "corner.heic")
	for n := 12; n < len(whole); n += 7 {
		if photo, err := Decode("cut", whole[:n]); photo != nil || refusalCode(err) != CodeTruncated {
			t.Fatalf("cut at %d of %d: %s (%v)", n, len(whole), refusalCode(err), err)
		}
	}
	tiles := cornerParts(t)
	tiles.rows, tiles.columns, tiles.w, tiles.h = 1, 2, 320, 128
	shared := tiles.write()
	// Both tiles at the first one's place, and one of them as long as the file: a
	// small file must not become a large one.
	if h, err := parseHeif(shared); err != nil {
		t.Fatal(err)
	} else {
		i := h.items[10]
		i.extents = []extent{{0, uint64(len(shared))}}
		h.items[10] = i
		if _, err := h.grid(); refusalCode(err) != CodeTruncated {
			t.Errorf("tiles longer than the file: %v", err)
		}
	}
}

// TestReadSPS: size, kind and range of what another encoder wrote.
func TestReadSPS(t *testing.T) {
	for name, want := range map[string]sps{
		"corner.heic":       {chroma: 1, bits: 8, w: 160, h: 128, saysRange: true, fullRange: true},
		"corner-444.heic":   {chroma: 3, bits: 8, w: 160, h: 128, saysRange: true, fullRange: true},
		"corner-10bit.heic": {chroma: 1, bits: 10, w: 160, h: 128, saysRange: true, fullRange: true},
	} {
		p := partsOf(t, name)
		if got, ok := readSPS(p.tile.config); !ok || got != want {
			t.Errorf("%s: %+v %v, want %+v", name, got, ok, want)
		}
		for n := range p.tile.config {
			readSPS(p.tile.config[:n])
		}
	}
}

// FuzzHEIC: whatever the boxes say, no tile is asked for that was not checked.
func FuzzHEIC(f *testing.F) {
	p := cornerParts(f)
	p.exif = tiffWith(exifTag{0x0112, exifShort(6)})
	f.Add(p.write())
	p.rows, p.columns, p.w, p.h = 2, 2, 320, 256
	p.whole = [][]byte{appendBox(nil, "irot", []byte{1}), appendBox(nil, "colr", []byte("nclx\x00\x01\x00\x0d\x00\x06\x80"))}
	f.Add(p.write())
	f.Add(fixture(f, "corner-10bit.heic"))
	f.Fuzz(func(t *testing.T, data []byte) {
		h, err := parseHeif(data)
		if err != nil {
			return
		}
		h.fullRange(h.primary)
		if turn := h.items[h.primary].turn(); turn < 1 || turn > 8 {
			t.Fatalf("orientation %d", turn)
		}
		g, err := h.grid()
		if err != nil {
			if _, ok := refusals[refusalCode(err)]; !ok {
				t.Fatal(err)
			}
			return
		}
		if g.w*g.h > MaxPixels || g.tileW*g.tileH*len(g.tiles) > 4*MaxPixels {
			t.Fatalf("%d x %d in %d tiles of %d x %d", g.w, g.h, len(g.tiles), g.tileW, g.tileH)
		}
		if g.w*g.h < 1<<16 && g.tileW*g.tileH < 1<<16 { // the decoder is another's, and slow
			_ = g.decode(newPhoto420(g.w, g.h))
		}
	})
}
