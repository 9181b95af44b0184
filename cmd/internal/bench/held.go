package bench

import (
	"slices"
	"sync"

	"stripgap/clearance/build"
	"stripgap/cmd/internal/folder"
	"stripgap/cmd/internal/pipeline"
)

// reading is a photo, or two of one strip, that was read and is not yet accepted.
type reading struct {
	id      string
	job     folder.Job
	outcome folder.Outcome
	result  pipeline.Result
	sight   *pipeline.Sight
	picture string // its file
}

// held are the readings that wait for their person's word. One that is forgotten
// is read again when its photo is sent again: photos are known by their bytes.
type held struct {
	mu    sync.Mutex
	byID  map[string]*reading
	order []string // oldest first
}

// maxHeld is how many readings may wait.
const maxHeld = 200

func newHeld() *held { return &held{byID: map[string]*reading{}} }

func (h *held) put(r *reading) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.byID[r.id] == nil {
		h.order = append(h.order, r.id)
	}
	h.byID[r.id] = r
	if len(h.order) > maxHeld {
		delete(h.byID, h.order[0])
		h.order = h.order[1:]
	}
}

func (h *held) get(id string) *reading {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.byID[id]
}

// all lists them, the oldest first.
func (h *held) all() (list []*reading) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, id := range h.order {
		list = append(list, h.byID[id])
	}
	return list
}

func (h *held) drop(id string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.byID, id)
	h.order = slices.DeleteFunc(h.order, func(o string) bool { return o == id })
}

// idOf names what was made of photos by their bytes.
func idOf(photos []build.Photo) string {
	id := ""
	for _, p := range photos {
		id += p.SHA256[:16]
	}
	return id
}
