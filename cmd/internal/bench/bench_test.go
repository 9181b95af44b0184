package bench

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"mime/multipart"
	"net"
	"net/http"
	"net/textproto"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/folder"
	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/report"
	"stripgap/cmd/internal/worker"
	"stripgap/vision"
	"stripgap/vision/synth"
)

// TestMain lets the test binary be a reader, so that the server under test reads in
// processes of their own, as the program's does.
func TestMain(m *testing.M) {
	if worker.IsReader() {
		if err := worker.Serve(os.Stdin, func(g pipeline.Given, t pipeline.Task) pipeline.Entry { return newReader(g).Read(t) }); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func newReader(g pipeline.Given) *pipeline.Reader {
	return &pipeline.Reader{Load: vision.Load, Measure: vision.Measure, MeasurePair: vision.MeasurePair,
		Draw: report.BarePicture, Sight: report.BareSight, Given: g}
}

// text is an invented build. The strips of the scenes below read some 0.05 mm.
const text = `name = "Invented engine"
strip_lot = "invented"
temperature = "20 degC"
[[group]]
name = "mains"
strip_on = "flat"
limits_new = "0.020..0.080 mm"
torque = ["60 N m"]
[[group.bearing]]
name = "M1"
[[group.bearing]]
name = "M2"
[[group]]
name = "big ends"
strip_on = "flat"
limits_new = "0.010..0.030 mm"
positions = ["0 deg", "90 deg"]
[[group.bearing]]
name = "B1"
`

const serial = "23YJWH"

func lots(build.Strip) (calib.Lot, error) {
	return calib.Lot{Name: "invented", SectionArea: quantity.Value{X: 0.08, U: 0.0002}, RangeLo: 0.01, RangeHi: 0.2}, nil
}

func given(v folder.View) (pipeline.Given, error) {
	settings, err := v.Settings(lots)
	if err != nil {
		return pipeline.Given{}, err
	}
	g := pipeline.Given{Settings: settings, Coverage: 2, BarePictures: true}
	g.Options.Print = calib.PrintScale{X: 1, Y: 1, U: 2e-4}
	return g, nil
}

// bench is a server under test.
type bench struct {
	t      testing.TB
	url    string
	dir    string
	folder *folder.Folder
	server *Server
	log    *safeBuffer
	http   *http.Server
}

type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *safeBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *safeBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

func newFolder(t testing.TB, text string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "engine")
	if err := folder.Create(dir, text, "A7X4N2"); err != nil {
		t.Fatal(err)
	}
	return dir
}

// start serves a new build; key and readers as given.
func start(t testing.TB, key string, readers int) *bench {
	t.Helper()
	return startBuild(t, text, key, readers)
}

// startBuild is start for another build.toml.
func startBuild(t testing.TB, text, key string, readers int) *bench {
	t.Helper()
	dir := newFolder(t, text)
	f, err := folder.Open(dir, "the test")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	if err := f.AddSheet(build.Sheet{Serial: serial, Bearings: []string{"M1", "M2", "B1"}}); err != nil {
		t.Fatal(err)
	}
	pool := worker.NewPool(worker.Config{Command: worker.Self(), Readers: readers})
	t.Cleanup(pool.Close)
	b := &bench{t: t, dir: dir, folder: f, log: &safeBuffer{}}
	b.server = New(Config{Folder: f, Readers: readers, Key: key, Log: b.log,
		Now: func() (pipeline.Given, folder.Lots, error) {
			g, err := given(f.View())
			return g, lots, err
		}, Read: pool.Read})
	b.serve("127.0.0.1:0")
	t.Cleanup(b.stop)
	return b
}

// serve answers at the address; stop ends that, as when the laptop sleeps.
func (b *bench) serve(address string) {
	b.t.Helper()
	l, err := net.Listen("tcp", address)
	if err != nil {
		b.t.Fatal(err)
	}
	b.url = "http://" + l.Addr().String()
	b.http = b.server.HTTP()
	go b.http.Serve(l)
}

func (b *bench) stop() { b.http.Close() }

// scene is the smallest photo that passes the gates: a tag with a strip beside it.
func scene(bearing string, width float64) synth.Scene {
	s := synth.NewScene("rider")
	s.Seed = 7
	s.Card.Serial, s.Card.Bearing = serial, bearing
	s.Camera.Focal35, s.Camera.ExifFocal = 60, 60
	s.Camera.Width, s.Camera.Height = 1000, 750
	s.Pose = synth.Pose{Distance: 78, Target: calib.CardPoint{X: 0, Y: 3}, Tilt: 8, Azimuth: 60, Roll: 3}
	s.Strips = []synth.Strip{{Centre: calib.CardPoint{X: 1, Y: 10}, Angle: 4, Length: 18, Width: width, Taper: 0.02, Ragged: 0.2,
		SectionArea: 0.08, Colour: synth.RGB{0.1, 0.45, 0.15}, Opacity: 60}}
	s.Optics.Blur = 0.9
	s.Sensor.FullWell, s.Sensor.Read = 12000, 4
	s.Processing = synth.Processing{Curve: 0.2, Sharpen: 0.6, SharpenRadius: 1.2}
	return s
}

var rendered sync.Map

// photo renders a scene once.
func photo(t testing.TB, s synth.Scene) []byte {
	t.Helper()
	key, _ := json.Marshal(s)
	if data, ok := rendered.Load(string(key)); ok {
		return data.([]byte)
	}
	data, _, err := synth.Render(s)
	if err != nil {
		t.Fatal(err)
	}
	rendered.Store(string(key), data)
	return data
}

func good(t testing.TB, bearing string) []byte { return photo(t, scene(bearing, 1.6)) }

// noStrip shows the tag alone.
func noStrip(t testing.TB, bearing string) []byte {
	s := scene(bearing, 1.6)
	s.Strips = nil
	return photo(t, s)
}

// field is one part of a form.
type field struct {
	name, file string
	data       []byte
}

func formOf(t testing.TB, fields ...field) (contentType string, body []byte) {
	t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for _, f := range fields {
		h := textproto.MIMEHeader{}
		h.Set("Content-Disposition", fmt.Sprintf(`form-data; name=%q`, f.name))
		if f.file != "" {
			h.Set("Content-Disposition", fmt.Sprintf(`form-data; name=%q; filename=%q`, f.name, f.file))
		}
		p, err := w.CreatePart(h)
		if err == nil {
			_, err = p.Write(f.data)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return w.FormDataContentType(), b.Bytes()
}

// answer is what the server said.
type answer struct {
	status int
	header http.Header
	body   []byte
}

func (a answer) into(t testing.TB, v any) {
	t.Helper()
	if err := json.Unmarshal(a.body, v); err != nil {
		t.Fatalf("%d %s: %v", a.status, a.body, err)
	}
}

func (a answer) code(t testing.TB) string {
	t.Helper()
	var v struct{ Trouble trouble }
	a.into(t, &v)
	if v.Trouble.Code != "" && v.Trouble.Remedy == "" {
		t.Errorf("%s has no remedy", a.body)
	}
	return v.Trouble.Code
}

func (b *bench) do(method, path, contentType string, body []byte, header ...string) answer {
	b.t.Helper()
	r, err := http.NewRequest(method, b.url+path, bytes.NewReader(body))
	if err != nil {
		b.t.Fatal(err)
	}
	if contentType != "" {
		r.Header.Set("Content-Type", contentType)
	}
	for i := 0; i < len(header); i += 2 {
		if header[i] == "Host" {
			r.Host = header[i+1]
			continue
		}
		r.Header.Set(header[i], header[i+1])
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	response, err := client.Do(r)
	if err != nil {
		b.t.Fatal(err)
	}
	defer response.Body.Close()
	data, err := io.ReadAll(response.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return answer{response.StatusCode, response.Header, data}
}

func (b *bench) upload(fields ...field) answer {
	b.t.Helper()
	kind, body := formOf(b.t, fields...)
	return b.do("POST", "/api/photos", kind, body)
}

// sent uploads a photo of a bearing that must be read or refused as a photo.
func (b *bench) sent(bearing string, data []byte, more ...field) photoShown {
	b.t.Helper()
	a := b.upload(append([]field{{"bearing", "", []byte(bearing)}, {"photo", "photo", data}}, more...)...)
	if a.status != http.StatusOK {
		b.t.Fatalf("%d %s", a.status, a.body)
	}
	var p photoShown
	a.into(b.t, &p)
	return p
}

func (b *bench) shown() (s buildShown) {
	b.t.Helper()
	b.do("GET", "/api/build", "", nil).into(b.t, &s)
	return s
}

// files lists every file below the folder of the build's folder.
func (b *bench) files() []string {
	b.t.Helper()
	var list []string
	err := filepath.WalkDir(filepath.Dir(b.dir), func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			rel, _ := filepath.Rel(filepath.Dir(b.dir), path)
			list = append(list, rel)
		}
		return err
	})
	if err != nil {
		b.t.Fatal(err)
	}
	return list
}

func (b *bench) readings() string {
	b.t.Helper()
	data, err := os.ReadFile(filepath.Join(b.dir, "readings.jsonl"))
	if err != nil {
		b.t.Fatal(err)
	}
	return string(data)
}

func count(s, part string) int { return strings.Count(s, part) }
