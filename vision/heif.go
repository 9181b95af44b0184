package vision

import (
	"bytes"
	"slices"
)

// heif is the still picture of a HEIF file (ISO/IEC 23008-12): which HEVC coded
// pictures make it up, and how it is turned.
type heif struct {
	items    map[uint32]heifItem
	primary  uint32
	tilesOf  map[uint32][]uint32 // by derived picture, row by row
	itemData []byte              // of the box idat
	file     []byte
}

// heifItem is a picture, a part of one, or what is said of it.
type heifItem struct {
	kind       string // "hvc1", "grid", "Exif"
	inItemData bool   // its extents lie in idat, else in the file
	extents    []extent
	props      []box // in the order in which they apply
}

type extent struct{ at, length uint64 }

// Bounds of what a file may say of itself, far above any phone's: a 100-megapixel
// picture has 400 tiles of 512 pixels square.
const (
	maxHeifItems = 10_000
	maxHeifTiles = 4_096
	maxHeifProps = 100 // of one item
)

// parseHeif reads the boxes that say what a HEIF file holds. No pixel is touched.
func parseHeif(data []byte) (*heif, error) {
	h := &heif{items: map[uint32]heifItem{}, tilesOf: map[uint32][]uint32{}, file: data}
	meta, err := heifMeta(data)
	if err != nil {
		return nil, err
	}
	for _, b := range meta {
		switch b.kind {
		case "pitm":
			version, _, c := b.full()
			h.primary = uint32(c.uint(idSize(version > 0)))
		case "idat":
			h.itemData = b.body
		case "iinf":
			err = h.readKinds(b)
		case "iloc":
			err = h.readExtents(b)
		case "iref":
			err = h.readReferences(b)
		case "iprp":
			err = h.readProperties(b)
		}
		if err != nil {
			return nil, err
		}
	}
	if _, ok := h.items[h.primary]; !ok {
		return nil, errBoxes
	}
	return h, nil
}

// heifMeta finds the boxes in the file's meta box. A file that was cut short still
// has it, and is noticed when its pictures are missing.
func heifMeta(data []byte) ([]box, error) {
	for len(data) > 0 {
		c := cursor{data: data}
		size, kind := c.uint(4), c.text(4)
		if size == 1 {
			size = c.uint(8)
		}
		if size == 0 || size > uint64(len(data)) {
			size = uint64(len(data))
		}
		if c.failed || size < uint64(c.at) {
			return nil, errBoxes
		}
		if kind == "meta" {
			_, _, inner := box{body: data[c.at:size]}.full()
			return boxes(inner.rest())
		}
		data = data[size:]
	}
	return nil, errBoxes
}

func idSize(long bool) int {
	if long {
		return 4
	}
	return 2
}

// readKinds reads what each item is (ISO/IEC 14496-12 section 8.11.6).
func (h *heif) readKinds(b box) error {
	version, _, c := b.full()
	c.uint(idSize(version > 0)) // the count; the boxes tell
	entries, err := boxes(c.rest())
	if err != nil || len(entries) > maxHeifItems {
		return errBoxes
	}
	for _, e := range entries {
		version, _, c := e.full()
		if e.kind != "infe" || version < 2 {
			continue
		}
		id := uint32(c.uint(idSize(version > 2)))
		c.uint(2) // protection
		item := h.items[id]
		item.kind = c.text(4)
		if c.failed {
			return errBoxes
		}
		h.items[id] = item
	}
	return nil
}

// readExtents reads where each item lies (ISO/IEC 14496-12 section 8.11.3).
func (h *heif) readExtents(b box) error {
	version, _, c := b.full()
	sizes := c.uint(2)
	offset, length, base, index := int(sizes>>12), int(sizes>>8&15), int(sizes>>4&15), int(sizes&15)
	if version == 0 {
		index = 0
	}
	if max(offset, length, base, index) > 8 {
		return errBoxes
	}
	extents := 0
	for range c.uint(idSize(version > 1)) {
		id := uint32(c.uint(idSize(version > 1)))
		item := h.items[id]
		if version > 0 {
			method := c.uint(2) & 15
			item.inItemData = method == 1
			if method > 1 {
				return errBoxes // made of other items, which no camera does
			}
		}
		c.uint(2) // data reference: this file
		from := c.uint(base)
		for range c.uint(2) {
			c.uint(index)
			item.extents = append(item.extents, extent{from + c.uint(offset), c.uint(length)})
			if extents++; c.failed || extents > maxBoxes {
				return errBoxes
			}
		}
		if c.failed || len(h.items) > maxHeifItems {
			return errBoxes
		}
		h.items[id] = item
	}
	return nil
}

// readReferences reads which pictures a derived one is made of (ISO/IEC 14496-12
// section 8.11.12).
func (h *heif) readReferences(b box) error {
	version, _, c := b.full()
	list, err := boxes(c.rest())
	if err != nil {
		return err
	}
	size := idSize(version > 0)
	for _, r := range list {
		if r.kind != "dimg" {
			continue
		}
		c := cursor{data: r.body}
		from := uint32(c.uint(size))
		for range c.uint(2) {
			h.tilesOf[from] = append(h.tilesOf[from], uint32(c.uint(size)))
			if c.failed {
				return errBoxes
			}
		}
	}
	return nil
}

// readProperties reads what is said of each item (ISO/IEC 23008-12 section 9.3).
func (h *heif) readProperties(b box) error {
	parts, err := boxes(b.body)
	if err != nil {
		return err
	}
	var props []box
	for _, p := range parts {
		if p.kind == "ipco" {
			if props, err = boxes(p.body); err != nil {
				return err
			}
		}
	}
	for _, p := range parts {
		if p.kind == "ipma" {
			if err := h.associate(p, props); err != nil {
				return err
			}
		}
	}
	return nil
}

// associate gives items their properties.
func (h *heif) associate(b box, props []box) error {
	version, flags, c := b.full()
	for range c.uint(4) {
		id := uint32(c.uint(idSize(version > 0)))
		item := h.items[id]
		for range c.uint(1) {
			// The highest bit says only that the property must be understood.
			i := int(c.uint(1 + int(flags&1)))
			if flags&1 == 1 {
				i &= 0x7fff
			} else {
				i &= 0x7f
			}
			if i > len(props) || len(item.props) > maxHeifProps {
				return errBoxes
			}
			if i > 0 {
				item.props = append(item.props, props[i-1])
			}
		}
		if c.failed || len(h.items) > maxHeifItems {
			return errBoxes
		}
		h.items[id] = item
	}
	return nil
}

// find returns the item's property of that kind.
func (i heifItem) find(kind string) (box, bool) {
	n := slices.IndexFunc(i.props, func(b box) bool { return b.kind == kind })
	if n < 0 {
		return box{}, false
	}
	return i.props[n], true
}

// size is the item's own, before it is turned.
func (i heifItem) size() (w, h int, ok bool) {
	b, ok := i.find("ispe")
	_, _, c := b.full()
	w, h = int(c.uint(4)), int(c.uint(4))
	return w, h, ok && !c.failed
}

// data gathers an item's bytes.
func (h *heif) data(i heifItem) ([]byte, bool) {
	from := h.file
	if i.inItemData {
		from = h.itemData
	}
	var parts [][]byte
	total := uint64(0)
	for _, e := range i.extents {
		if e.length == 0 && len(i.extents) == 1 && e.at <= uint64(len(from)) {
			e.length = uint64(len(from)) - e.at
		}
		if e.at > uint64(len(from)) || e.length > uint64(len(from))-e.at {
			return nil, false
		}
		// Extents may lie on one another; together they are no longer than the file.
		if total += e.length; total > uint64(len(from)) {
			return nil, false
		}
		parts = append(parts, from[e.at:e.at+e.length])
	}
	if len(parts) == 1 {
		return parts[0], len(parts[0]) > 0
	}
	return bytes.Join(parts, nil), total > 0
}

// turn is the EXIF orientation that says what the file's own properties irot and
// imir say (ISO/IEC 23008-12 sections 6.5.10 and 6.5.12), in their order.
func (i heifItem) turn() int {
	t := turns[1]
	for _, p := range i.props {
		if len(p.body) < 1 {
			continue
		}
		switch p.kind {
		case "irot": // quarter turns anticlockwise
			for range p.body[0] & 3 {
				t = t.then(turns[8])
			}
		case "imir": // 0 swaps top and bottom, 1 left and right
			t = t.then(turns[[2]int{4, 2}[p.body[0]&1]])
		}
	}
	return 1 + slices.Index(turns[1:], t)
}

// then is t followed by u.
func (t turn) then(u turn) turn {
	if u.swap { // the flips of t come to act on the other axis
		t.flipX, t.flipY = t.flipY, t.flipX
	}
	return turn{t.swap != u.swap, t.flipX != u.flipX, t.flipY != u.flipY}
}
