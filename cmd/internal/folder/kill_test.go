package folder

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// helperFolder names the folder in which the test binary, run again, is a process
// that reads photos until it is killed.
const helperFolder = "STRIPGAP_TEST_HELPER_FOLDER"

func TestMain(m *testing.M) {
	if dir := os.Getenv(helperFolder); dir != "" {
		if err := readAll(dir, os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// readAll reads the new photos of a folder as build read does, and tells each
// number once Keep has returned.
func readAll(dir string, w io.Writer) error {
	f, err := Open(dir, "the helper")
	if err != nil {
		return err
	}
	f.log.file = piecewise{f.log.file}
	jobs, problems := f.View().Plan(Ask{})
	if len(problems) > 0 {
		return problems[0]
	}
	fmt.Fprintln(w, "begin")
	for _, j := range jobs {
		out, err := f.View().Read(j, thin, gives(result("", "")))
		if err != nil {
			return err
		}
		r, err := f.Keep(out)
		if err != nil {
			return err
		}
		fmt.Fprintln(w, "kept", r.Number, j.Photos[0].SHA256)
	}
	return f.Close()
}

// piecewise writes a line in pieces with time between them, so that a process is
// killed in the middle of one.
type piecewise struct{ file }

func (p piecewise) WriteAt(b []byte, off int64) (int, error) {
	for n := 0; n < len(b); n += 400 {
		if _, err := p.file.WriteAt(b[n:min(n+400, len(b))], off+int64(n)); err != nil {
			return n, err
		}
		time.Sleep(200 * time.Microsecond)
	}
	return len(b), nil
}

const kills, killedPhotos = 200, 400

// TestKilled kills a process that reads photos 200 times at random moments. Every
// reading it told is there afterwards, each photo is read exactly once, and what
// was cut off is set aside. The seed fixes how long each process is let live, not
// where that finds it.
func TestKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("starts 200 processes")
	}
	dir := made(t)
	f := opened(t, dir)
	for i := range killedPhotos {
		add(t, f, fmt.Sprintf("M%d-%d.jpg", 1+i%2, i))
	}
	closed(t, f)
	told := map[string]string{} // number by photo
	draw := rand.New(rand.NewPCG(4, 200))
	for range kills {
		live(t, dir, time.Duration(draw.Float64()*float64(10*time.Millisecond)), told)
	}
	v, err := Look(dir)
	if err != nil {
		t.Fatal(err)
	}
	torn, _ := filepath.Glob(filepath.Join(dir, "readings-torn-*.txt"))
	t.Logf("%d readings told before a kill, %d on the disk, %d lines torn", len(told), len(v.Journal.Standing()), len(torn))
	if len(told) == 0 || len(v.Journal.Standing()) == killedPhotos {
		t.Fatalf("%d of %d were read: the kills did not come while there was work", len(told), killedPhotos)
	}
	if err := readAll(dir, io.Discard); err != nil {
		t.Fatal(err)
	}
	checkExactlyOnce(t, dir, told)
}

// live runs a process for a while after it has found its photos, kills it, and adds to told what it said until then.
func live(t *testing.T, dir string, while time.Duration, told map[string]string) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), helperFolder+"="+dir)
	var errors strings.Builder
	cmd.Stderr = &errors
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	lines.Scan()
	time.AfterFunc(while, func() { cmd.Process.Signal(syscall.SIGKILL) })
	for lines.Scan() {
		var number, sha string
		if n, _ := fmt.Sscanf(lines.Text(), "kept %s %s", &number, &sha); n == 2 && len(sha) == 64 {
			told[sha] = number
		}
	}
	cmd.Wait()
	if errors.Len() > 0 {
		t.Fatal(errors.String())
	}
}

func checkExactlyOnce(t *testing.T, dir string, told map[string]string) {
	t.Helper()
	v, err := Look(dir)
	if err != nil {
		t.Fatal(err)
	}
	photos, problems := v.Photos()
	if len(problems) > 0 || len(photos) != killedPhotos {
		t.Fatal(len(photos), problems)
	}
	times := map[string]int{}
	for _, r := range v.Journal.Readings() {
		sha := r.Photos[0].SHA256
		times[sha]++
		if n, ok := told[sha]; ok && n != fmt.Sprint(r.Number) {
			t.Errorf("%s was told as reading %s and is %d", r.Photos[0].Name, n, r.Number)
		}
	}
	for _, p := range photos {
		if times[p.SHA256] != 1 {
			t.Errorf("%s is there %d times", p.Name, times[p.SHA256])
		}
	}
	left, _ := filepath.Glob(filepath.Join(dir, "*", ".stripgap-*"))
	if len(left) > 0 {
		t.Errorf("left over: %v", left)
	}
}

// TestCrowd has many goroutines accept readings of the same photos: each photo
// once, the numbers without a gap.
func TestCrowd(t *testing.T) {
	f := opened(t, made(t))
	add(t, f, "M1-a.jpg", "M1-b.jpg", "M1-c.jpg")
	jobs, _ := f.View().Plan(Ask{})
	done := make(chan error)
	for range 8 {
		for _, j := range jobs {
			go func() {
				out, err := f.View().Read(j, thin, gives(result("", "")))
				if err == nil {
					_, err = f.Keep(out)
				}
				done <- err
			}()
		}
	}
	refused := 0
	for range 8 * len(jobs) {
		if err := <-done; err != nil {
			if !strings.Contains(err.Error(), "is the photo of reading") {
				t.Error(err)
			}
			refused++
		}
	}
	var strips []int
	for _, r := range f.View().Journal.Standing() {
		strips = append(strips, r.Strip)
	}
	if refused != 7*len(jobs) || fmt.Sprint(strips) != "[1 2 3]" {
		t.Errorf("%d refused, strips %v", refused, strips)
	}
}
