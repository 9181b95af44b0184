package bench

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

var loadTime = flag.Duration("load", 0, "how long TestLoad sends 12-megapixel photos of samples/ (`make load` says two minutes); 0 sends a few small ones")

// The bounds that TestLoad holds memory to, in bytes: what the server, here the test
// itself, and what one reader take at most. A reader has 12-megapixel photos with
// everything made of them, the server what comes in of as many photos as have seats.
const (
	maxServerMemory = 400 << 20
	maxReaderMemory = 600 << 20
)

const clients = 8

// TestLoad has eight phones send photos as fast as they can, each its own, and accept
// every reading. Nothing goes wrong but being told to come again, and every accepted
// reading is in the log exactly once.
func TestLoad(t *testing.T) {
	if testing.Short() {
		t.Skip("sends many photos")
	}
	b := start(t, "", 2)
	base, until := good(t, "M1"), time.Now()
	forgetPeak(t)
	rounds := 3
	if *loadTime > 0 {
		var err error
		if base, err = os.ReadFile("../../../samples/build/photos/main1.jpg"); err != nil {
			t.Fatal(err)
		}
		rounds, until = 1<<30, until.Add(*loadTime)
	}
	var mu sync.Mutex
	accepted := map[string]int{} // by the photo's id
	busy, biggest := 0, 0
	var wait sync.WaitGroup
	for client := range clients {
		wait.Go(func() {
			for round := 0; round < rounds && (*loadTime == 0 || time.Now().Before(until)); round++ {
				id, number, told, err := b.sendAndAccept(numbered(base, client, round))
				mu.Lock()
				if err != nil {
					t.Errorf("client %d, photo %d: %v", client, round, err)
				} else {
					accepted[id] = number
				}
				busy += told
				for _, pid := range readersOf(t) {
					biggest = max(biggest, peakMemory(pid))
				}
				mu.Unlock()
				if err != nil {
					return
				}
			}
		})
	}
	wait.Wait()
	b.checkLog(accepted)
	server := peakMemory(os.Getpid())
	t.Logf("%d photos of %d kB accepted, told to come again %d times; at most %d MB for the server and %d MB for a reader",
		len(accepted), len(base)>>10, busy, server>>20, biggest>>20)
	if server > maxServerMemory || biggest > maxReaderMemory || biggest == 0 {
		t.Errorf("server %d MB, reader %d MB; at most %d and %d", server>>20, biggest>>20, maxServerMemory>>20, maxReaderMemory>>20)
	}
	if len(accepted) < clients {
		t.Errorf("only %d photos came through", len(accepted))
	}
}

// sendAndAccept does what a phone does, and comes again as often as it is told.
func (b *bench) sendAndAccept(photo []byte) (id string, number, busy int, err error) {
	kind, body := formOf(b.t, field{"bearing", "", []byte("M1")}, field{"photo", "image.jpg", photo})
	var shown photoShown
	for {
		status, answer, err := b.post("/api/photos", kind, body)
		if err != nil {
			return "", 0, busy, err
		}
		if status == http.StatusTooManyRequests {
			busy++
			time.Sleep(200 * time.Millisecond)
			continue
		}
		if err := json.Unmarshal(answer, &shown); err != nil || status != http.StatusOK || shown.Refused != nil {
			return "", 0, busy, fmt.Errorf("%d %s", status, answer)
		}
		break
	}
	status, answer, err := b.post("/api/photos/"+shown.ID+"/accept", "application/json", []byte("{}"))
	var n struct{ Number int }
	if err == nil && (status != http.StatusOK || json.Unmarshal(answer, &n) != nil) {
		err = fmt.Errorf("accept: %d %s", status, answer)
	}
	return shown.ID, n.Number, busy, err
}

func (b *bench) post(path, kind string, body []byte) (int, []byte, error) {
	response, err := http.Post(b.url+path, kind, bytes.NewReader(body))
	if err != nil {
		return 0, nil, err
	}
	defer response.Body.Close()
	answer, err := io.ReadAll(response.Body)
	return response.StatusCode, answer, err
}

// checkLog compares what phones were told with what is on the disk.
func (b *bench) checkLog(accepted map[string]int) {
	b.t.Helper()
	logged := map[string]int{}
	for _, r := range b.folder.View().Journal.Standing() {
		id := idOf(r.Photos)
		if _, twice := logged[id]; twice {
			b.t.Errorf("photo %s is in the log twice", id)
		}
		logged[id] = r.Number
	}
	if len(logged) != len(accepted) || count(b.readings(), `"reading":`) != len(accepted) {
		b.t.Errorf("%d accepted, %d in the log, %d on the disk", len(accepted), len(logged), count(b.readings(), `"reading":`))
	}
	for id, number := range accepted {
		if logged[id] != number {
			b.t.Errorf("photo %s was told to be reading %d and is %d", id, number, logged[id])
		}
	}
}

// numbered is the JPEG with a comment of its own, so that no two are the same file.
func numbered(jpg []byte, client, round int) []byte {
	comment := fmt.Sprintf("client %d, photo %d", client, round)
	segment := binary.BigEndian.AppendUint16([]byte{0xff, 0xfe}, uint16(len(comment)+2))
	segment = append(segment, comment...)
	return append(append(append([]byte{}, jpg[:2]...), segment...), jpg[2:]...)
}

// readersOf lists the processes that this one started.
func readersOf(t *testing.T) (pids []int) {
	lists, err := filepath.Glob("/proc/self/task/*/children")
	if err != nil {
		t.Error(err)
	}
	for _, list := range lists {
		text, _ := os.ReadFile(list) // a thread may have ended
		for _, word := range strings.Fields(string(text)) {
			if pid, err := strconv.Atoi(word); err == nil {
				pids = append(pids, pid)
			}
		}
	}
	return pids
}

// forgetPeak has the kernel count this process' most memory from now on: earlier
// tests render photos and send large files in it.
func forgetPeak(t *testing.T) {
	t.Helper()
	debug.FreeOSMemory()
	if err := os.WriteFile("/proc/self/clear_refs", []byte("5"), 0); err != nil {
		t.Fatal(err)
	}
}

// peakMemory is the most memory that a process held, in bytes; 0 when it is gone.
func peakMemory(pid int) int {
	text, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	for line := range strings.Lines(string(text)) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			kB, _ := strconv.Atoi(strings.TrimSuffix(strings.TrimSpace(rest), " kB"))
			return kB << 10
		}
	}
	return 0
}
