package vision

import (
	"encoding/binary"
	"errors"
)

// errBoxes says that the boxes of a file make no sense.
var errBoxes = errors.New("boxes do not fit")

// box is one box of the ISO base media file format (ISO/IEC 14496-12 section 4.2).
type box struct {
	kind string
	body []byte
}

// maxBoxes bounds the boxes in one box: a 100-megapixel HEIC has some thousand.
const maxBoxes = 20_000

// boxes splits data into boxes. What is left over at the end is an error.
func boxes(data []byte) (out []box, err error) {
	for len(data) > 0 {
		c := cursor{data: data}
		size, kind := uint64(c.uint(4)), c.text(4)
		switch size {
		case 0: // to the end
			size = uint64(len(data))
		case 1:
			size = c.uint(8)
		}
		if c.failed || size < uint64(c.at) || size > uint64(len(data)) || len(out) == maxBoxes {
			return nil, errBoxes
		}
		out = append(out, box{kind, data[c.at:size]})
		data = data[size:]
	}
	return out, nil
}

// full parts a full box into version, flags and the rest.
func (b box) full() (version byte, flags uint32, c cursor) {
	c = cursor{data: b.body}
	v := uint32(c.uint(4))
	return byte(v >> 24), v & 0xffffff, c
}

// cursor reads big-endian numbers. Reading past the end sets failed and gives 0.
type cursor struct {
	data   []byte
	at     int
	failed bool
}

// bytes takes n bytes, nil when there are not so many.
func (c *cursor) bytes(n int) []byte {
	if c.failed || n < 0 || n > len(c.data)-c.at {
		c.failed = true
		return nil
	}
	c.at += n
	return c.data[c.at-n : c.at]
}

// uint takes a number of 0 to 8 bytes.
func (c *cursor) uint(n int) uint64 {
	var b [8]byte
	copy(b[8-n:], c.bytes(n))
	return binary.BigEndian.Uint64(b[:])
}

func (c *cursor) text(n int) string { return string(c.bytes(n)) }

// rest is what has not been taken.
func (c *cursor) rest() []byte {
	if c.failed {
		return nil
	}
	return c.data[c.at:]
}

// appendBox appends a box that holds the bodies one after the other.
func appendBox(to []byte, kind string, bodies ...[]byte) []byte {
	size := 8
	for _, b := range bodies {
		size += len(b)
	}
	to = binary.BigEndian.AppendUint32(to, uint32(size))
	to = append(to, kind...)
	for _, b := range bodies {
		to = append(to, b...)
	}
	return to
}
