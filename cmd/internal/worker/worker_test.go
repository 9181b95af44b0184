package worker

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"gocv.io/x/gocv"

	"stripgap/calib"
	"stripgap/clearance"
	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/report"
	"stripgap/vision"
)

func TestMain(m *testing.M) {
	if IsReader() {
		if err := Serve(os.Stdin, act); err != nil {
			os.Stderr.WriteString(err.Error() + "\n")
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// act reads a photo, or does what the photo's name says.
func act(g pipeline.Given, t pipeline.Task) pipeline.Entry {
	switch filepath.Base(t.Photo) {
	case "opencv":
		// Empty rasters are what vision never hands over: OpenCV throws, and
		// nothing in Go can catch it.
		src, dst := gocv.NewMat(), gocv.NewMat()
		gocv.CvtColor(src, &dst, gocv.ColorBGRToGray)
	case "exit":
		os.Exit(0)
	case "hog":
		hog := make([]byte, MemoryLimit+1<<30)
		hog[len(hog)/2] = 1
	case "print":
		// What a library prints must not get among the answers.
		os.Stdout.WriteString("{\"Result\":{}}\n")
		os.Stderr.WriteString("{\"Result\":{}}\n")
	}
	r := &pipeline.Reader{Load: vision.Load, Measure: vision.Measure, MeasurePair: vision.MeasurePair, Draw: report.Picture, Given: g}
	return r.Read(t)
}

func newPool(t *testing.T, readers int, timeout time.Duration) *Pool {
	t.Helper()
	p := NewPool(Config{Readers: readers, Timeout: timeout, Command: Self()})
	t.Cleanup(p.Close)
	return p
}

// refusal reads one photo that must be refused.
func refusal(t *testing.T, p *Pool, photo string) pipeline.Refusal {
	t.Helper()
	r := p.Read(pipeline.Given{Coverage: 2}, pipeline.Task{Photo: photo}).Result
	if r.Outcome != pipeline.OutcomeRefused || r.Refusal.Remedy == "" || len(r.Photos) != 1 || r.Photos[0] != photo {
		t.Fatalf("%s: %+v", photo, r)
	}
	return *r.Refusal
}

const samples = "../../../samples"

// TestPoolEqualsReader: a reading made in another process is the same, to the
// last digit, and so is its picture.
func TestPoolEqualsReader(t *testing.T) {
	if testing.Short() {
		t.Skip("reads photos of 12 MP")
	}
	dir := t.TempDir()
	p := newPool(t, 1, 0)
	data, err := os.ReadFile(filepath.Join(samples, "build", "lot.toml"))
	if err != nil {
		t.Fatal(err)
	}
	lots, err := calib.ParseLots(data, "lot.toml")
	if err != nil {
		t.Fatal(err)
	}
	given := pipeline.Given{Coverage: 2, Lot: &lots[0], Options: vision.Options{Surface: vision.Surface{Kind: vision.SurfaceShell, Radius: 27.5}},
		Limits: pipeline.Limits{New: &clearance.Limits{Lo: math.Inf(-1), Hi: 0.056}}}
	outcomes := map[string]int{}
	for _, name := range []string{"gauge050.jpg", "cap1-left.jpg", "lot.toml", "gone.jpg"} {
		var documents, pictures [2][]byte
		for i, read := range []func(pipeline.Given, pipeline.Task) pipeline.Entry{act, p.Read} {
			picture := filepath.Join(dir, "picture.jpg")
			e := read(given, pipeline.Task{Photo: filepath.Join(samples, name), Picture: picture})
			if e.PictureErr != nil {
				t.Fatal(e.PictureErr)
			}
			var b bytes.Buffer
			if err := report.JSON(&b, []pipeline.Result{e.Result}); err != nil {
				t.Fatal(err)
			}
			documents[i] = b.Bytes()
			outcomes[e.Result.Outcome]++
			pictures[i], _ = os.ReadFile(picture) // there is none of what is no photo
		}
		if !bytes.Equal(documents[0], documents[1]) {
			t.Errorf("%s: here\n%s\nin another process\n%s", name, documents[0], documents[1])
		}
		if !bytes.Equal(pictures[0], pictures[1]) {
			t.Errorf("%s: the pictures differ", name)
		}
	}
	if outcomes[pipeline.OutcomeRead] == 0 || outcomes[pipeline.OutcomeRefused] == 0 {
		t.Errorf("not every way through was tried: %v", outcomes)
	}
}

// TestCrash: whatever brings a reader down takes one photo with it.
func TestCrash(t *testing.T) {
	p := newPool(t, 1, 0)
	for photo, want := range map[string]string{
		"opencv": "cv::Exception", "exit": "exit status 0", "hog": "out of memory|failed to allocate", // the second is the race detector's word
	} {
		why := refusal(t, p, photo)
		if why.Code != CodeCrashed || !regexp.MustCompile(want).MatchString(why.Message) || strings.ContainsAny(why.Message, "\n\x1b") {
			t.Errorf("%s: %+v", photo, why)
		}
		if next := refusal(t, p, "gone.jpg"); next.Code != vision.CodeMissing {
			t.Errorf("after %s: %+v", photo, next)
		}
	}
}

func TestPrintingIsNoAnswer(t *testing.T) {
	if why := refusal(t, newPool(t, 1, 0), "print"); why.Code != vision.CodeMissing {
		t.Errorf("%+v", why)
	}
}

// TestKilled kills a reader in the middle of a photo, and one that has nothing to
// do, while others read on.
func TestKilled(t *testing.T) {
	p := newPool(t, 2, 0)
	stuck := filepath.Join(t.TempDir(), "stuck.jpg")
	if err := syscall.Mkfifo(stuck, 0o600); err != nil {
		t.Fatal(err)
	}
	lost := make(chan pipeline.Entry)
	go func() { lost <- p.Read(pipeline.Given{Coverage: 2}, pipeline.Task{Photo: stuck}) }()
	// Opening a pipe to write waits until someone has it open to read.
	pipe, err := os.OpenFile(stuck, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer pipe.Close()
	for range 3 {
		if why := refusal(t, p, "gone.jpg"); why.Code != vision.CodeMissing {
			t.Errorf("beside a stuck photo: %+v", why)
		}
	}
	pids := children(t)
	if len(pids) != 2 {
		t.Fatalf("readers %v, want two", pids)
	}
	for _, pid := range pids { // one in the middle of a photo, one idle
		syscall.Kill(pid, syscall.SIGKILL)
	}
	if r := (<-lost).Result; r.Outcome != pipeline.OutcomeRefused || r.Refusal.Code != CodeCrashed || !strings.Contains(r.Refusal.Message, "killed") {
		t.Errorf("killed in the middle: %+v", r.Refusal)
	}
	waitNoChildren(t)
	for range 3 {
		if why := refusal(t, p, "gone.jpg"); why.Code != vision.CodeMissing {
			t.Errorf("after the kill: %+v", why)
		}
	}
}

func TestTooSlow(t *testing.T) {
	p := newPool(t, 1, 100*time.Millisecond)
	dir := t.TempDir()
	stuck, picture := filepath.Join(dir, "stuck.jpg"), filepath.Join(dir, "stuck-read.jpg")
	if err := syscall.Mkfifo(stuck, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(picture, []byte("of an earlier run"), 0o600); err != nil {
		t.Fatal(err)
	}
	r := p.Read(pipeline.Given{Coverage: 2}, pipeline.Task{Photo: stuck, Picture: picture}).Result
	if r.Refusal == nil || r.Refusal.Code != CodeTooSlow {
		t.Errorf("%+v", r)
	}
	if _, err := os.Stat(picture); err == nil {
		t.Error("the picture of an earlier run is still there and would pass for this one's")
	}
}

func TestNoReader(t *testing.T) {
	p := NewPool(Config{Readers: 1, Command: func() *exec.Cmd { return exec.Command("/nonexistent/reader") }})
	defer p.Close()
	if why := refusal(t, p, "m1.jpg"); why.Code != CodeNoStart {
		t.Errorf("%+v", why)
	}
}

// TestCloseEndsReaders: closing leaves no process behind.
func TestCloseEndsReaders(t *testing.T) {
	p := newPool(t, 2, 0)
	p.Start()
	if len(children(t)) != 2 {
		t.Fatal("no reader was started, so this test sees nothing")
	}
	p.Close()
	waitNoChildren(t)
}

// TestReaderStartsNone: a reader that would start readers is refused, so that no
// mistake makes processes without end.
func TestReaderStartsNone(t *testing.T) {
	t.Setenv(readerEnv, "1")
	p := NewPool(Config{Readers: 1, Command: Self()})
	defer p.Close()
	if why := refusal(t, p, "m1.jpg"); why.Code != CodeNoStart {
		t.Errorf("%+v", why)
	}
}

// TestServeAlone: started by hand the command says so and does nothing.
func TestServeAlone(t *testing.T) {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), readerEnv+"=1")
	out, err := cmd.CombinedOutput()
	if err == nil || !strings.Contains(string(out), "use read") {
		t.Errorf("%v: %s", err, out)
	}
}

// children are the processes that this one started and that still run.
func children(t *testing.T) (pids []int) {
	t.Helper()
	stats, err := filepath.Glob("/proc/[0-9]*/stat")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range stats {
		text, _ := os.ReadFile(path) // it may have ended by now
		// pid (name) state parent ...; a name may hold anything.
		fields := strings.Fields(string(text[bytes.LastIndexByte(text, ')')+1:]))
		if len(fields) > 1 && fields[1] == strconv.Itoa(os.Getpid()) && fields[0] != "Z" {
			pid, err := strconv.Atoi(filepath.Base(filepath.Dir(path)))
			if err != nil {
				t.Fatal(err)
			}
			pids = append(pids, pid)
		}
	}
	return pids
}

func waitNoChildren(t *testing.T) {
	t.Helper()
	for len(children(t)) > 0 {
		if t.Context().Err() != nil {
			t.Fatal("readers are left")
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// TestTail keeps the end and shows one plain line of it.
func TestTail(t *testing.T) {
	var a tail
	a.Write(bytes.Repeat([]byte("x"), tailBytes))
	a.Write([]byte("\nthe \x1b[2Jreason\nmore"))
	if len(a.text) != tailBytes {
		t.Errorf("keeps %d bytes", len(a.text))
	}
	a.text = []byte("\nthe \x1b[2Jreason\nmore")
	if got := a.firstLine(); got != "the [2Jreason" {
		t.Errorf("%q", got)
	}
}

// TestEntryKeepsPictureErr: why there is no picture survives the way back.
func TestEntryKeepsPictureErr(t *testing.T) {
	in := pipeline.Entry{PictureErr: os.ErrPermission}
	data, err := json.Marshal(newAnswer(in))
	if err != nil {
		t.Fatal(err)
	}
	var a answer
	if err := json.Unmarshal(data, &a); err != nil {
		t.Fatal(err)
	}
	if got := a.entry().PictureErr; got == nil || got.Error() != os.ErrPermission.Error() {
		t.Errorf("%v", got)
	}
}
