package bench

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"stripgap/calib"
	"stripgap/clearance"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/folder"
	"stripgap/cmd/internal/pipeline"
	"stripgap/vision"
)

// TestReadAcceptAgain walks the page's way: read, accepted once however often it is
// asked, taken again, refused, taken back.
func TestReadAcceptAgain(t *testing.T) {
	b := start(t, "", 1)
	got := b.sent("M1", good(t, "M1"))
	if got.Refused != nil || !strings.Contains(got.Mean, "0.05") || len(got.Ends) != 2 || got.Sight == nil ||
		len(got.Verdicts) != 1 || got.Verdicts[0].State != "good" {
		t.Fatalf("%+v", got)
	}
	if s := b.shown(); len(s.Bearings[0].Waiting) != 1 || s.Bearings[0].Waiting[0].ID != got.ID || len(s.Bearings[1].Waiting) != 0 {
		t.Errorf("waiting: %+v", s.Bearings[0].Waiting)
	}
	if s := b.shown(); s.Bearings[0].State != "todo" || count(b.readings(), `"reading":`) != 0 {
		t.Errorf("kept before it was accepted: %+v", s.Bearings[0])
	}
	if a := b.do("GET", got.Picture.URL, "", nil); a.status != http.StatusOK || a.header.Get("Content-Type") != "image/jpeg" {
		t.Errorf("picture: %d %v", a.status, a.header)
	}
	for range 3 {
		a := b.do("POST", "/api/photos/"+got.ID+"/accept", "application/json", []byte("{}"))
		var n struct{ Number int }
		a.into(t, &n)
		if a.status != http.StatusOK || n.Number != 1 {
			t.Fatalf("%d %s", a.status, a.body)
		}
	}
	// The same photo sent again, as after an answer that was not heard.
	var n struct{ Number int }
	b.upload(field{"bearing", "", []byte("M1")}, field{"photo", "x", good(t, "M1")}).into(t, &n)
	if s := b.shown(); n.Number != 1 || s.Bearings[0].State != "good" || len(s.Bearings[0].Waiting) != 0 || len(s.Bearings[0].Readings) != 1 || count(b.readings(), `"reading":`) != 1 {
		t.Errorf("number %d, %+v", n.Number, s.Bearings[0])
	}
	if a := b.do("GET", b.shown().Bearings[0].Readings[0].Picture.URL, "", nil); a.status != http.StatusOK {
		t.Errorf("the reading's picture: %d", a.status)
	}
	if a := b.do("POST", "/api/photos/"+got.ID+"/again", "application/json", []byte("{}")); a.code(t) != codeAccepted {
		t.Errorf("an accepted reading is let go: %d %s", a.status, a.body)
	}

	other := b.sent("M2", good(t, "M2"))
	b.do("POST", "/api/photos/"+other.ID+"/again", "application/json", []byte("{}"))
	if a := b.do("POST", "/api/photos/"+other.ID+"/accept", "application/json", []byte("{}")); a.status != http.StatusNotFound {
		t.Errorf("accepted after it was let go: %d", a.status)
	}
	// The command line does not read it by itself.
	if jobs, problems := b.folder.View().Plan(folder.Ask{}); len(jobs) != 0 || len(problems) != 0 {
		t.Errorf("%+v %v", jobs, problems)
	}

	refused := b.sent("M2", noStrip(t, "M2"))
	if refused.Refused == nil || refused.Refused.Code != vision.CodeNoStrip || refused.Refused.Remedy == "" || refused.Picture == nil || refused.Sight == nil {
		t.Errorf("%+v", refused)
	}
	if a := b.do("POST", "/api/photos/"+refused.ID+"/accept", "application/json", []byte("{}")); a.status != http.StatusNotFound {
		t.Errorf("a refusal was accepted: %d", a.status)
	}
	for reason, want := range map[string]int{`{"reason":" "}`: http.StatusBadRequest, `{"reason":"wrong shell"}`: http.StatusOK} {
		if a := b.do("POST", "/api/readings/1/withdraw", "application/json", []byte(reason)); a.status != want {
			t.Errorf("%s: %d %s", reason, a.status, a.body)
		}
	}
	if s := b.shown(); s.Bearings[0].State != "todo" {
		t.Errorf("taken back: %+v", s.Bearings[0])
	}
}

// TestSightFitsPicture: the ends, mapped as the page maps them, lie on the dots that
// are drawn in the picture.
func TestSightFitsPicture(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	b := start(t, "", 1)
	got := b.sent("M1", good(t, "M1"))
	img, err := jpeg.Decode(bytes.NewReader(b.do("GET", got.Picture.URL, "", nil).body))
	if err != nil {
		t.Fatal(err)
	}
	if size := image.Rect(0, 0, got.Sight.Width, got.Sight.Height); img.Bounds() != size || image.Rect(0, 0, got.Picture.Width, got.Picture.Height) != size {
		t.Errorf("the picture is %v, said to be %d x %d, shown as %+v", img.Bounds(), got.Sight.Width, got.Sight.Height, got.Picture)
	}
	for _, e := range got.Ends {
		at, ok := calib.Homography(got.Sight.PictureFromCard).Image(calib.CardPoint{X: e.Card[0], Y: e.Card[1]})
		if !ok {
			t.Fatalf("%s end is not in the picture", e.Name)
		}
		// A white disc with a black one in it (vision's overlay draws it), small
		// beside the strip: two pixels off and the places below are none of it.
		for _, side := range []float64{-9, 9} {
			r, g, blue, _ := img.At(int(math.Round(at.X+side)), int(math.Round(at.Y))).RGBA()
			r2, g2, blue2, _ := img.At(int(math.Round(at.X)), int(math.Round(at.Y+side))).RGBA()
			if min(r, g, blue, r2, g2, blue2) < 0xc000 {
				t.Errorf("%s end: beside its dot is %x %x %x and %x %x %x", e.Name, r, g, blue, r2, g2, blue2)
			}
		}
	}
}

// TestSameAsCommandLine: what is accepted on the page is, but for the time, what the
// command line writes of the same photos, read in its own process.
func TestSameAsCommandLine(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	b := start(t, "", 1)
	got := b.sent("M1", good(t, "M1"))
	b.do("POST", "/api/photos/"+got.ID+"/accept", "application/json", []byte("{}"))
	b.sent("M2", noStrip(t, "M2"))

	dir := newFolder(t, text)
	f, err := folder.Open(dir, "the command line")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := f.AddSheet(build.Sheet{Serial: serial, Bearings: []string{"M1", "M2", "B1"}}); err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{"M1.jpg": good(t, "M1"), "M2.jpg": noStrip(t, "M2")} {
		if _, err := f.AddPhoto(name, data); err != nil {
			t.Fatal(err)
		}
	}
	g, err := given(f.View())
	if err != nil {
		t.Fatal(err)
	}
	jobs, _ := f.View().Plan(folder.Ask{})
	for _, j := range jobs {
		out, err := f.View().Read(j, lots, newReader(g).Read)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Keep(out); err != nil {
			t.Fatal(err)
		}
	}
	page, line := entries(t, b.dir), entries(t, dir)
	if len(page) != 4 || len(line) != len(page) {
		t.Fatalf("%d entries by the page, %d by the command line", len(page), len(line))
	}
	for i := range page {
		// The person chose the bearing on the page; the photo's name said it here.
		if r := line[i].Reading; r != nil && r.Assigned == build.ByName {
			r.Assigned = build.ByTag
		}
		a, b := page[i], line[i]
		a.Time, b.Time = "", ""
		one, _ := json.Marshal(a)
		other, _ := json.Marshal(b)
		if !bytes.Equal(one, other) {
			t.Errorf("entry %d: by the page\n%s\nby the command line\n%s", i+1, one, other)
		}
	}
	for _, name := range []string{"photos/M1.jpg"} {
		one, _ := os.ReadFile(filepath.Join(b.dir, name))
		if !bytes.Equal(one, good(t, "M1")) {
			t.Errorf("%s is not the photo as it was sent", name)
		}
	}
}

func entries(t *testing.T, dir string) []build.Entry {
	t.Helper()
	v, err := folder.Look(dir)
	if err != nil {
		t.Fatal(err)
	}
	return v.Journal.Entries
}

// TestCorrect: ends and zone set by hand are used, and the photo stays the same.
func TestCorrect(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	b := start(t, "", 1)
	got := b.sent("M1", good(t, "M1"))
	first, second := got.Ends[0].Card, got.Ends[1].Card
	at := func(share float64) [2]float64 {
		return [2]float64{first[0] + share*(second[0]-first[0]), first[1] + share*(second[1]-first[1])}
	}
	set := func(c correction) photoShown {
		data, _ := json.Marshal(c)
		a := b.do("POST", "/api/photos/"+got.ID+"/correct", "application/json", data)
		var p photoShown
		a.into(t, &p)
		if a.status != http.StatusOK {
			t.Fatalf("%d %s", a.status, a.body)
		}
		return p
	}
	shorter := set(correction{Ends: &[2][2]float64{at(0.4), second}})
	if shorter.ID != got.ID || shorter.Refused != nil || reflect.DeepEqual(shorter.Ends[0], got.Ends[0]) ||
		!strings.Contains(strings.Join(shorter.Flags, " "), vision.FlagEndsByHand) {
		t.Errorf("%+v %+v", shorter, shorter.Refused)
	}
	// A correction that finds nothing leaves the reading and its picture as they were.
	picture := b.do("GET", shorter.Picture.URL, "", nil).body
	if a := b.do("POST", "/api/photos/"+got.ID+"/correct", "application/json", []byte(`{"zone":[-5,-60,5,-50]}`)); a.code(t) != vision.CodeNoStrip {
		t.Errorf("%d %s", a.status, a.body)
	}
	if held := b.shown().Bearings[0].Waiting; len(held) != 1 || held[0].Mean != shorter.Mean || !bytes.Equal(b.do("GET", shorter.Picture.URL, "", nil).body, picture) {
		t.Errorf("%+v", held)
	}
	// The way back, and the one accepted is the last.
	whole := set(correction{Zone: &[4]float64{-30, 2, 30, 20}})
	if whole.Refused != nil || whole.Mean != got.Mean {
		t.Errorf("%+v, first %s", whole, got.Mean)
	}
	if a := b.do("POST", "/api/photos/"+got.ID+"/accept", "application/json", []byte("{}")); a.status != http.StatusOK {
		t.Errorf("%d %s", a.status, a.body)
	}
	if count(b.readings(), `"reading":`) != 1 {
		t.Error(b.readings())
	}
}

// TestPair: a second photo from the other side goes with the first.
func TestPair(t *testing.T) {
	if testing.Short() {
		t.Skip("renders larger photos")
	}
	b := start(t, "", 1)
	sides := [2][]byte{}
	for i, azimuth := range []float64{90, 270} {
		s := scene("M1", 1.6)
		s.Pose.Tilt, s.Pose.Azimuth = 15, azimuth
		s.Camera.Width, s.Camera.Height = 1600, 1200
		sides[i] = photo(t, s)
	}
	first := b.sent("M1", sides[0])
	both := b.sent("M1", sides[1], field{"other", "", []byte(first.ID)})
	if both.Photos != 2 || both.Refused != nil || both.Second != "" {
		t.Fatalf("%+v", both)
	}
	b.do("POST", "/api/photos/"+both.ID+"/accept", "application/json", []byte("{}"))
	r := b.folder.View().Journal.Standing()
	if len(r) != 1 || len(r[0].Photos) != 2 {
		t.Errorf("%+v", r)
	}
	// Neither photo can be used once more.
	if a := b.do("POST", "/api/photos/"+first.ID+"/accept", "application/json", []byte("{}")); a.status != http.StatusOK || len(b.folder.View().Journal.Standing()) != 1 {
		t.Errorf("%d %s", a.status, a.body)
	}
	if a := b.upload(field{"bearing", "", []byte("M2")}, field{"photo", "", good(t, "M2")}, field{"other", "", []byte("nothing")}); a.code(t) != codeGone {
		t.Errorf("%d %s", a.status, a.body)
	}
}

// TestEvents: another phone hears of an acceptance without asking.
func TestEvents(t *testing.T) {
	b := start(t, "", 1)
	response, err := http.Get(b.url + "/api/events")
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	lines := make(chan string, 100)
	go func() {
		buffer := make([]byte, 4096)
		for {
			n, err := response.Body.Read(buffer)
			if err != nil {
				close(lines)
				return
			}
			lines <- string(buffer[:n])
		}
	}()
	if first := <-lines; first != "data: 0\n\n" {
		t.Errorf("%q", first)
	}
	got := b.sent("M1", good(t, "M1"))
	b.do("POST", "/api/photos/"+got.ID+"/accept", "application/json", []byte("{}"))
	for heard := range lines {
		if heard == "data: 2\n\n" { // read, then accepted
			break
		}
		if heard != "data: 1\n\n" && !strings.HasPrefix(heard, "event: here") {
			t.Fatalf("%q", heard)
		}
	}
	b.server.Close()
	for range lines { // ends when the server does
	}
	b.server.Close()
}

// TestBusy: beyond the seats a phone is told when to come again, before its photo is
// taken in.
func TestBusy(t *testing.T) {
	b := start(t, "", 1)
	for range waiting {
		b.server.seats <- struct{}{}
	}
	a := b.upload(field{"bearing", "", []byte("M1")}, field{"photo", "", good(t, "M1")})
	if a.status != http.StatusTooManyRequests || a.header.Get("Retry-After") == "" || a.code(t) != codeBusy {
		t.Errorf("%d %v %s", a.status, a.header, a.body)
	}
	if files := b.files(); len(files) > 4 {
		t.Errorf("%v", files)
	}
	<-b.server.seats
	if got := b.sent("M1", good(t, "M1")); got.Refused != nil {
		t.Errorf("%+v", got.Refused)
	}
}

// TestSlowClient: who sends nothing is cut off, and others are answered meanwhile.
func TestSlowClient(t *testing.T) {
	h := New(Config{Readers: 1}).HTTP()
	for name, d := range map[string]time.Duration{"header": h.ReadHeaderTimeout, "body": h.ReadTimeout, "answer": h.WriteTimeout, "idle": h.IdleTimeout} {
		if d <= 0 || d > time.Minute {
			t.Errorf("%s: %v", name, d)
		}
	}
	if h.MaxHeaderBytes <= 0 || h.MaxHeaderBytes > 64<<10 {
		t.Errorf("%d bytes of header", h.MaxHeaderBytes)
	}
}

func TestKey(t *testing.T) {
	b := start(t, "sesame", 1)
	for name, c := range map[string]struct{ path, cookie string }{
		"nothing": {"/", ""}, "wrong": {"/?key=open", ""}, "wrong cookie": {"/api/build", "open"},
		"key elsewhere": {"/api/build?key=sesame", ""}, "empty": {"/?key=", ""},
	} {
		a := b.do("GET", c.path, "", nil, "Cookie", cookieName+"="+c.cookie)
		if a.status != http.StatusForbidden || bytes.Contains(a.body, []byte("Invented")) || bytes.Contains(a.body, []byte("<html")) {
			t.Errorf("%s: %d %s", name, a.status, a.body)
		}
	}
	a := b.do("GET", "/?key=sesame", "", nil)
	set := a.header.Get("Set-Cookie")
	if a.status != http.StatusSeeOther || a.header.Get("Location") != "/" || !strings.Contains(set, "HttpOnly") || !strings.Contains(set, "SameSite=Strict") {
		t.Errorf("%d %v", a.status, a.header)
	}
	cookie := strings.Split(set, ";")[0]
	for _, path := range []string{"/", "/app.js", "/api/build"} {
		if a := b.do("GET", path, "", nil, "Cookie", cookie); a.status != http.StatusOK {
			t.Errorf("%s with the key: %d", path, a.status)
		}
	}
	if log := b.log.String(); strings.Contains(log, "sesame") || strings.Contains(log, "open") || !strings.Contains(log, "403") {
		t.Errorf("the log holds a key or nothing:\n%s", log)
	}
}

func TestOnlyThisComputer(t *testing.T) {
	b := start(t, "", 1)
	for host, want := range map[string]int{"": http.StatusOK, "localhost:80": http.StatusOK, "[::1]:80": http.StatusOK,
		"elsewhere.example": http.StatusForbidden, "192.168.1.5:80": http.StatusForbidden, "127.0.0.1.elsewhere.example": http.StatusForbidden} {
		if a := b.do("GET", "/api/build", "", nil, "Host", host); a.status != want {
			t.Errorf("Host %q: %d, want %d", host, a.status, want)
		}
	}
	for header, value := range map[string]string{"Origin": "http://elsewhere.example", "Sec-Fetch-Site": "cross-site"} {
		if a := b.do("POST", "/api/readings/1/withdraw", "application/json", []byte(`{"reason":"x"}`), header, value); a.status != http.StatusForbidden {
			t.Errorf("%s %s: %d %s", header, value, a.status, a.body)
		}
	}
}

func TestHeaders(t *testing.T) {
	b := start(t, "sesame", 1)
	for _, path := range []string{"/", "/app.js", "/api/build", "/nothing"} {
		for _, cookie := range []string{"", cookieName + "=sesame"} {
			h := b.do("GET", path, "", nil, "Cookie", cookie).header
			csp := h.Get("Content-Security-Policy")
			if !strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") || strings.Contains(csp, "http") ||
				h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Referrer-Policy") != "no-referrer" {
				t.Errorf("%s: %v", path, h)
			}
		}
	}
	// Nothing inline, nothing from elsewhere.
	err := filepath.WalkDir("page", func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		for _, bad := range []string{"https://", "http://", "style=", "onclick=\"", "innerHTML", "eval("} {
			if i := bytes.Index(text, []byte(bad)); i >= 0 && !bytes.Contains(text, []byte("http://www.w3.org/2000/svg")) {
				t.Errorf("%s: %s", path, bad)
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestPosition: a group with positions asks for one, and it is in the photo's name.
func TestPosition(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	b := start(t, "", 1)
	if got := b.sent("B1", good(t, "B1")); got.Refused == nil || got.Refused.Code != "position" {
		t.Errorf("%+v", got)
	}
	s := scene("B1", 1.7)
	got := b.sent("B1", photo(t, s), field{"position", "", []byte("90")})
	if got.Refused != nil || *got.Position != 90 || got.Verdicts[0].State != "outside" {
		t.Fatalf("%+v", got)
	}
	b.do("POST", "/api/photos/"+got.ID+"/accept", "application/json", []byte("{}"))
	if r := b.folder.View().Journal.Standing(); len(r) != 1 || r[0].Photos[0].Name != "B1-90deg.jpg" || *r[0].Position != 90 {
		t.Errorf("%+v", r)
	}
	if got := b.sent("M1", good(t, "M2")); got.Refused == nil || got.Refused.Code != "tag-of-another-bearing" {
		t.Errorf("%+v", got.Refused)
	}
}

// TestNoPlaceInDerivedFiles: where a photo was taken stays in the photo.
func TestNoPlaceInDerivedFiles(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	b := start(t, "", 1)
	tagged := withGPS(good(t, "M1"))
	got := b.sent("M1", tagged)
	b.do("POST", "/api/photos/"+got.ID+"/accept", "application/json", []byte("{}"))
	marked := 0
	for _, name := range b.files() {
		data, err := os.ReadFile(filepath.Join(filepath.Dir(b.dir), name))
		if err != nil {
			t.Fatal(err)
		}
		holds := bytes.Contains(data, []byte(gpsMark))
		if original := strings.Contains(name, "/photos/"); holds != original {
			t.Errorf("%s: position %v", name, holds)
		}
		if holds {
			marked++
		}
		if strings.Contains(name, "/pictures/") && bytes.Contains(data, []byte("Exif\x00\x00")) {
			t.Errorf("%s carries EXIF", name)
		}
	}
	if marked != 1 {
		t.Errorf("%d files with the position; the photo as sent must be one", marked)
	}
}

const gpsMark = "51 deg 28 min 40 s"

// withGPS puts an EXIF block with a position into a JPEG, behind its own. The text
// stands in GPSAreaInformation, where it can be found again.
func withGPS(jpg []byte) []byte {
	tiff := []byte("II*\x00\x08\x00\x00\x00" + "\x01\x00" + "\x25\x88\x04\x00\x01\x00\x00\x00\x1a\x00\x00\x00" + "\x00\x00\x00\x00" +
		"\x01\x00" + "\x1c\x00\x02\x00" + fmt.Sprintf("%c\x00\x00\x00", len(gpsMark)+1) + "\x2c\x00\x00\x00" + "\x00\x00\x00\x00" + gpsMark + "\x00")
	block := append([]byte("Exif\x00\x00"), tiff...)
	n := len(block) + 2
	segment := append([]byte{0xff, 0xe1, byte(n >> 8), byte(n)}, block...)
	return append(append(append([]byte{}, jpg[:2]...), segment...), jpg[2:]...)
}

// TestKinds: what a photo is called follows from what it is, and one in which nothing
// is to be seen is neither kept nor noted.
func TestKinds(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	b := start(t, "", 1)
	heic, err := os.ReadFile("../../../testdata/photos/corner.heic")
	if err != nil {
		t.Fatal(err)
	}
	if got := b.sent("M1", heic); got.Refused == nil || got.Refused.Code != vision.CodeNoCard {
		t.Errorf("%+v", got.Refused)
	}
	if _, err := os.Stat(filepath.Join(b.dir, "photos", "M1.heic")); err != nil {
		t.Error(err)
	}
	before, log := b.files(), b.readings()
	for _, data := range [][]byte{nil, []byte("GIF89a"), []byte("\x89PNG\r\n\x1a\n"), heic[:300], good(t, "M1")[:5000]} {
		a := b.upload(field{"bearing", "", []byte("M1")}, field{"photo", "photo.jpg", data})
		if a.status != http.StatusUnprocessableEntity || !vision.OfFile(a.code(t)) {
			t.Errorf("%.8q: %d %s", data, a.status, a.body)
		}
	}
	if after := b.files(); !reflect.DeepEqual(after, before) || b.readings() != log {
		t.Errorf("%v became %v", before, after)
	}
}

// TestBuildChanged: build.toml may be changed while the page is served; one with a
// mistake is told and changes nothing.
func TestBuildChanged(t *testing.T) {
	b := start(t, "", 1)
	path := filepath.Join(b.dir, "build.toml")
	for _, c := range []struct{ text, name, note string }{
		{strings.Replace(text, "Invented engine", "Another name", 1), "Another name", ""},
		{"nonsense = 1", "Another name", "nonsense"},
		{text, "Invented engine", ""},
	} {
		if err := os.WriteFile(path, []byte(c.text), 0o644); err != nil {
			t.Fatal(err)
		}
		s := b.shown()
		if s.Name != c.name || !strings.Contains(strings.Join(s.Notes, " "), c.note) || (c.note == "") != (len(s.Notes) == 0) {
			t.Errorf("%q, notes %q; want %q and %q", s.Name, s.Notes, c.name, c.note)
		}
	}
}

// TestOtherSide: a second photo is asked for where height and tilt are what keeps the
// verdict open, and not where it would change nothing.
func TestOtherSide(t *testing.T) {
	open := build.BearingStatus{New: &build.Judgement{Verdict: clearance.CannotTell}}
	settled := build.BearingStatus{New: &build.Judgement{Verdict: clearance.Inside}}
	tilted := []pipeline.Term{{Name: "edge noise", U: 0.001}, {Name: "height", U: 0.001}, {Name: "plane tilt", U: 0.002}}
	noisy := []pipeline.Term{{Name: "edge noise", U: 0.004}, {Name: "height", U: 0.001}, {Name: "plane tilt", U: 0.002}}
	for name, c := range map[string]struct {
		budget []pipeline.Term
		flags  []string
		photos int
		status build.BearingStatus
		want   bool
	}{
		"open, of tilt":               {tilted, nil, 1, open, true},
		"open, of noise":              {noisy, nil, 1, open, false},
		"settled":                     {tilted, nil, 1, settled, false},
		"settled on what was guessed": {tilted, []string{vision.FlagSurfaceAssumed}, 1, settled, true},
		"two photos already":          {tilted, []string{vision.FlagSurfaceAssumed}, 2, open, false},
	} {
		got := &reading{job: folder.Job{Photos: make([]build.Photo, c.photos)}, result: pipeline.Result{Budget: c.budget, Flags: c.flags}}
		if words := otherSide(got, c.status); (words != "") != c.want {
			t.Errorf("%s: %q", name, words)
		}
	}
}
