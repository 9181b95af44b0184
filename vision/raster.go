package vision

import (
	"sync"
	"syscall"
	"unsafe"
)

// The kernel gives memory as it is first touched, mostly a page of 4 KiB at a time:
// asking for each costs as much as a third of a photo's decoding, and in a virtual
// machine more than all of it. The largest rasters, and those of a process's first
// photo, therefore lie in large pages where the kernel has some, and a photo's planes
// in the memory of an earlier one.

const (
	largePage  = 2 << 20  // bytes, on amd64 and on arm64 with pages of 4 KiB
	firstRoom  = 8 << 20  // bytes: what the smaller rasters of a photo take
	leastThere = 64 << 10 // bytes of a raster that is worth placing there
	cacheLine  = 64       // bytes; a multiple of every value's size
)

// newRaster returns n values, all 0.
func newRaster[T uint8 | int16 | uint32 | float32](n int) []T {
	size := n * int(unsafe.Sizeof(*new(T)))
	var memory []uint8
	switch {
	case size >= largePage:
		memory = inLargePages(size)
	case size >= leastThere:
		memory = inFirstRoom(size)
	}
	if memory == nil {
		return make([]T, n)
	}
	return unsafe.Slice((*T)(unsafe.Pointer(unsafe.SliceData(memory))), n)
}

// room is what is left of the first room; the collector has it when the last raster
// in it is gone. Later photos lie where the first one's rasters were.
var room struct {
	sync.Mutex
	begun bool
	left  []uint8
}

// inFirstRoom returns size bytes, all 0, nil when there is no room for them.
func inFirstRoom(size int) []uint8 {
	room.Lock()
	defer room.Unlock()
	if !room.begun {
		room.begun, room.left = true, inLargePages(firstRoom)
	}
	next := (size + cacheLine - 1) &^ (cacheLine - 1)
	if next > len(room.left) {
		room.left = nil
		return nil
	}
	memory := room.left[:size:size]
	room.left = room.left[next:]
	return memory
}

// closed are the memories of closed photos. What no photo takes the collector has.
var closed sync.Pool

func giveBack(memory []uint8) { closed.Put(&memory) }

// usedOrNew returns size bytes that hold anything.
func usedOrNew(size int) []uint8 {
	if used, ok := closed.Get().(*[]uint8); ok && cap(*used) >= size && cap(*used)/2 <= size {
		return (*used)[:size]
	}
	return inLargePages(size)
}

// pool keeps slices that were given back for those who need one for a while. What
// nobody takes the collector has.
type pool[T float32 | float64] struct{ used sync.Pool }

// get returns n values that hold anything.
func (p *pool[T]) get(n int) []T {
	if used, ok := p.used.Get().(*[]T); ok && cap(*used) >= n {
		return (*used)[:n]
	}
	return make([]T, n, n+n/4) // the next one may be a little larger
}

// put takes a slice that nothing uses any more.
func (p *pool[T]) put(v []T) { p.used.Put(&v) }

// inLargePages returns size bytes, all 0, that begin with a large page. The advice is
// only that, and may fail.
func inLargePages(size int) []uint8 {
	whole := (size + largePage - 1) &^ (largePage - 1)
	memory := make([]uint8, whole+largePage)
	from := -int(uintptr(unsafe.Pointer(unsafe.SliceData(memory)))) & (largePage - 1)
	_ = syscall.Madvise(memory[from:from+whole], syscall.MADV_HUGEPAGE)
	return memory[from : from+size]
}
