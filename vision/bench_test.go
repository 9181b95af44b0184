package vision

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"stripgap/vision/synth"
)

// benchPhotos are two rendered 12-megapixel photos that are read, one of each
// card, made once and only when a benchmark asks.
var benchPhotos = sync.OnceValues(func() (map[string][]byte, error) {
	photos := map[string][]byte{}
	for i := uint64(0); len(photos) < 2; i++ {
		s, err := synth.Random(rand.New(rand.NewPCG(1, i)), synth.Flat)
		if err != nil {
			return nil, err
		}
		if photos[s.Card.Layout] != nil {
			continue
		}
		if photos[s.Card.Layout], _, err = synth.Render(s); err != nil {
			return nil, err
		}
	}
	return photos, nil
})

// forEachCard runs a benchmark on the photo of each card. Per op is one photo.
func forEachCard(b *testing.B, run func(b *testing.B, data []byte)) {
	photos, err := benchPhotos()
	if err != nil {
		b.Fatal(err)
	}
	for _, layout := range []string{"bench", "rider"} {
		b.Run(layout, func(b *testing.B) { run(b, photos[layout]) })
	}
}

func BenchmarkGreyDecode(b *testing.B) {
	forEachCard(b, func(b *testing.B, data []byte) {
		for b.Loop() {
			greyDecode(b, data)
		}
	})
}

func greyDecode(b *testing.B, data []byte) {
	p, err := DecodeJPEGGrey(data)
	if err != nil {
		b.Fatal(err)
	}
	giveBack(p.Pix)
}

func BenchmarkLoad(b *testing.B) {
	forEachCard(b, func(b *testing.B, data []byte) {
		path := filepath.Join(b.TempDir(), "photo.jpg")
		if err := os.WriteFile(path, data, 0o644); err != nil {
			b.Fatal(err)
		}
		for b.Loop() {
			if _, err := Load(path); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// steps are a photo taken as far as finding the strip needs it.
type steps struct {
	p    *Photo
	card *found
	bars *Witness
}

func (s *steps) findCard(b *testing.B) {
	var r *Refusal
	if s.card, r = findCard(s.p, Options{}); r != nil {
		b.Fatal(r)
	}
}

func (s *steps) measureBars(b *testing.B) {
	var r *Refusal
	if s.bars, r = measureBars(s.p, s.card.view, s.card.card.Layout); r != nil {
		b.Fatal(r)
	}
}

func (s *steps) findStrip(b *testing.B) {
	if _, r := findStrip(s.p, s.card, s.bars, Options{quarry: crushedStrip}); r != nil {
		b.Fatal(r)
	}
}

func BenchmarkFindCard(b *testing.B) {
	forEachCard(b, func(b *testing.B, data []byte) {
		s := steps{p: mustDecode(b, "photo", data)}
		for b.Loop() {
			s.findCard(b)
		}
	})
}

func BenchmarkBars(b *testing.B) {
	forEachCard(b, func(b *testing.B, data []byte) {
		s := steps{p: mustDecode(b, "photo", data)}
		s.findCard(b)
		for b.Loop() {
			s.measureBars(b)
		}
	})
}

func BenchmarkFindStrip(b *testing.B) {
	forEachCard(b, func(b *testing.B, data []byte) {
		s := steps{p: mustDecode(b, "photo", data)}
		s.findCard(b)
		s.measureBars(b)
		for b.Loop() {
			s.findStrip(b)
		}
	})
}

func BenchmarkMeasure(b *testing.B) {
	forEachCard(b, func(b *testing.B, data []byte) {
		p := mustDecode(b, "photo", data)
		for b.Loop() {
			measure(b, p)
		}
	})
}

func measure(b *testing.B, p *Photo) {
	if _, err := Measure(p, Options{}); err != nil {
		b.Fatal(err)
	}
}

// BenchmarkRead is a whole reading. Its x-grey is the processor time of all
// threads over that of decoding the same photo to grey; the two take turns, so
// that a busy or throttled machine slows both alike.
func BenchmarkRead(b *testing.B) {
	forEachCard(b, func(b *testing.B, data []byte) {
		var grey, whole time.Duration
		for b.Loop() {
			b.StopTimer()
			t0 := processorTime(b)
			greyDecode(b, data)
			t1 := processorTime(b)
			b.StartTimer()
			p := mustDecode(b, "photo", data)
			measure(b, p)
			p.Close()
			grey, whole = grey+t1-t0, whole+processorTime(b)-t1
		}
		b.ReportMetric(float64(whole)/float64(grey), "x-grey")
	})
}

// processorTime is what this process has used so far, on all its threads.
func processorTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkProgram runs the program that the environment's STRIPGAP names on one
// photo, start-up included, and reports its peak memory and its processor time
// over that of decoding the same photo to grey.
func BenchmarkProgram(b *testing.B) {
	program := os.Getenv("STRIPGAP")
	if program == "" {
		b.Skip("STRIPGAP does not name the program; run make bench")
	}
	forEachCard(b, func(b *testing.B, data []byte) {
		path := filepath.Join(b.TempDir(), "photo.jpg")
		if err := os.WriteFile(path, data, 0o644); err != nil {
			b.Fatal(err)
		}
		var grey, whole time.Duration
		peak := 0
		for b.Loop() {
			b.StopTimer()
			t0 := processorTime(b)
			greyDecode(b, data)
			grey += processorTime(b) - t0
			b.StartTimer()
			used, kib := watch(b, exec.Command(program, "read", path))
			whole, peak = whole+used, max(peak, kib)
		}
		b.ReportMetric(float64(peak)*1024/1e6, "peak-MB")
		b.ReportMetric(float64(whole)/float64(grey), "x-grey")
	})
}

// watch runs a command and returns its processor time and peak memory in KiB.
// The peak is looked up while it runs: what getrusage reports after the end
// counts this process too, from which the command was split off.
func watch(b *testing.B, cmd *exec.Cmd) (used time.Duration, peak int) {
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	end := make(chan error)
	go func() { end <- cmd.Wait() }()
	for {
		select {
		case err := <-end:
			if err != nil || peak == 0 {
				b.Fatalf("peak %d KiB, %v: %s", peak, err, &out)
			}
			return cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime(), peak
		case <-time.After(5 * time.Millisecond):
			peak = max(peak, highWater(cmd.Process.Pid))
		}
	}
}

// highWater returns a process's peak resident memory in KiB (VmHWM, proc(5)), or
// 0 once it has ended.
func highWater(pid int) int {
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(status), "VmHWM:")
	var kib int
	if _, err := fmt.Sscan(rest, &kib); err != nil {
		return 0
	}
	return kib
}
