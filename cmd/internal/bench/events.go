package bench

import (
	"fmt"
	"net/http"
	"sync"
	"time"
)

// hub tells every page that listens when the build has changed.
type hub struct {
	mu      sync.Mutex
	version int
	ears    map[chan int]bool
	closed  bool
}

// changed tells all.
func (h *hub) changed() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.version++
	for ear := range h.ears {
		select {
		case ear <- h.version:
		default: // it has not yet heard the last one, and will ask for everything then
		}
	}
}

// listen returns a channel of versions, closed when the server is, or nil when as
// many listen as may.
func (h *hub) listen() chan int {
	const most = 100
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed || len(h.ears) >= most {
		return nil
	}
	if h.ears == nil {
		h.ears = map[chan int]bool{}
	}
	ear := make(chan int, 1)
	ear <- h.version
	h.ears[ear] = true
	return ear
}

func (h *hub) leave(ear chan int) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.ears, ear)
}

func (h *hub) close() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = true
	for ear := range h.ears {
		close(ear)
		delete(h.ears, ear)
	}
}

// heartbeat is how often a listening page is told that the laptop is there.
const heartbeat = 5 * time.Second

// events is a stream of server-sent events: the version of the build whenever it
// changes.
func (s *Server) events(w http.ResponseWriter, r *http.Request) {
	ear := s.hub.listen()
	if ear == nil {
		w.Header().Set("Retry-After", "10")
		refuse(w, http.StatusServiceUnavailable, "too-many", "too many pages are open", "close some of them")
		return
	}
	defer s.hub.leave(ear)
	out := http.NewResponseController(w)
	out.SetReadDeadline(time.Time{})
	w.Header().Set("Content-Type", "text/event-stream")
	beat := time.NewTicker(heartbeat)
	defer beat.Stop()
	for {
		// A page that does not take what it is sent is cut off.
		out.SetWriteDeadline(time.Now().Add(2 * heartbeat))
		select {
		case version, open := <-ear:
			if !open {
				return
			}
			fmt.Fprintf(w, "data: %d\n\n", version)
		case <-beat.C:
			fmt.Fprint(w, "event: here\ndata:\n\n")
		case <-r.Context().Done():
			return
		}
		if out.Flush() != nil {
			return
		}
	}
}
