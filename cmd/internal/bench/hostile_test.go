package bench

import (
	"bytes"
	"encoding/binary"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// TestHostileUploads sends a thousand forms and files that no page of ours sends. The
// server answers every one, keeps nothing of them outside the build's folder nor
// under a name of theirs, and reads an honest photo afterwards.
func TestHostileUploads(t *testing.T) {
	if testing.Short() {
		t.Skip("sends a thousand uploads")
	}
	b := start(t, "", 2)
	honest := good(t, "M1")
	before := b.files()
	rng := rand.New(rand.NewPCG(1, 2))
	statuses := map[int]int{}
	for i := range 1000 {
		a := hostile(t, b, rng, i, honest)
		statuses[a.status]++
		switch a.status {
		case http.StatusOK, http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity, http.StatusConflict,
			http.StatusNotFound, http.StatusForbidden, http.StatusMethodNotAllowed, http.StatusMovedPermanently, http.StatusTemporaryRedirect:
		default:
			t.Fatalf("upload %d: %d %s", i, a.status, a.body)
		}
	}
	t.Logf("answers: %v", statuses)
	if statuses[http.StatusBadRequest] < 200 || statuses[http.StatusUnprocessableEntity] < 200 {
		t.Errorf("not every kind was tried: %v", statuses)
	}
	for _, name := range b.files() {
		inside := strings.HasPrefix(name, "engine/photos/M1") || strings.HasPrefix(name, "engine/pictures/M1")
		if !slices.Contains(before, name) && !inside {
			t.Errorf("a file came about: %s", name)
		}
	}
	if got := b.sent("M1", honest); got.Refused != nil {
		t.Errorf("an honest photo afterwards: %+v", got.Refused)
	}
	if n := count(b.readings(), `"reading":`); n != 0 {
		t.Errorf("%d readings that nobody accepted", n)
	}
}

// hostile sends the i-th upload.
func hostile(t *testing.T, b *bench, rng *rand.Rand, i int, honest []byte) answer {
	bearing := field{"bearing", "", []byte("M1")}
	photo := func(data []byte) answer { return b.upload(bearing, field{"photo", "image.jpg", data}) }
	names := []string{"../../../evil.jpg", "/etc/evil.jpg", `C:\evil.jpg`, "a\x00b.jpg", "..", "", strings.Repeat("x", 5000) + ".jpg", "photos/../../evil.jpg", "\u202egpj.exe"}
	switch i % 10 {
	case 0: // cut short
		return photo(honest[:1+rng.IntN(len(honest)-1)])
	case 1: // a header that promises too much
		return photo(withGiantHeader(honest, rng))
	case 2: // other kinds of file
		kinds := []string{"", "GIF89a", "%PDF-1.7", "PK\x03\x04", "<!DOCTYPE html>", "\x7fELF", "II*\x00", "RIFF....WEBP", "\x00\x00\x00\x18ftypheic", "\x89PNG\r\n\x1a\n", "\xff\xd8\xff"}
		return photo([]byte(kinds[rng.IntN(len(kinds))] + strings.Repeat("\x00", rng.IntN(200))))
	case 3: // names that are paths
		name := names[rng.IntN(len(names))]
		return b.upload(bearing, field{"photo", name, honest[:200+rng.IntN(200)]})
	case 4: // bearings that are paths
		return b.upload(field{"bearing", "", []byte(names[rng.IntN(len(names))])}, field{"photo", "x", honest})
	case 5: // a field twice, or one that there is none of
		extra := []field{bearing, {"photo", "y", honest}, {"path", "", []byte("/etc/passwd")}, {"", "", nil}, {"position", "", []byte("NaN")}, {"other", "", bytes.Repeat([]byte("x"), 10_000)}}
		return b.upload(bearing, field{"photo", "x", honest}, extra[rng.IntN(len(extra))])
	case 6: // no form, or a broken one
		kind, body := formOf(t, bearing, field{"photo", "x", honest})
		kinds := []string{"", "image/jpeg", "application/json", "multipart/form-data", "multipart/form-data; boundary=other", kind}
		return b.do("POST", "/api/photos", kinds[rng.IntN(len(kinds))], body[:rng.IntN(len(body))])
	case 7: // what other routes do not expect
		paths := []string{"/api/photos/../../x/accept", "/api/photos/%2e%2e%2f/accept", "/api/readings/-1/withdraw", "/api/readings/9999999999999999999/withdraw", "/api/photos/x/correct"}
		bodies := []string{"", "{", `{"reason":"x","more":1}`, `{"ends":[[0,0],[0,0]]}`, `{"zone":[1e999,0,1,1]}`, strings.Repeat("[", 5000), "null"}
		return b.do("POST", paths[rng.IntN(len(paths))], "application/json", []byte(bodies[rng.IntN(len(bodies))]))
	case 8: // files that are asked for by path
		paths := []string{"/../server.go", "/page/../../x", "/%2e%2e/%2e%2e/etc/passwd", "/api/readings/..%2f..%2f/picture", "/api/photos/%00/picture", "/.lock", "/photos/", "/readings.jsonl"}
		a := b.do("GET", paths[rng.IntN(len(paths))], "", nil)
		if a.status == http.StatusOK && !bytes.Contains(a.body, []byte("<html")) {
			t.Fatalf("upload %d: got a file: %s", i, a.body)
		}
		return a
	}
	// Bytes changed anywhere.
	damaged := bytes.Clone(honest[:2000+rng.IntN(len(honest)-2000)])
	for range 1 + rng.IntN(20) {
		damaged[rng.IntN(len(damaged))] = byte(rng.Uint32())
	}
	return photo(damaged)
}

// withGiantHeader gives the JPEG a size of up to 65535 pixels square (SOF0 is at the
// marker FF C0: length, precision, then height and width).
func withGiantHeader(jpg []byte, rng *rand.Rand) []byte {
	out := bytes.Clone(jpg)
	at := bytes.Index(out, []byte{0xff, 0xc0})
	if at < 0 {
		at = bytes.Index(out, []byte{0xff, 0xc2})
	}
	binary.BigEndian.PutUint16(out[at+5:], uint16(10_000+rng.IntN(55_000)))
	binary.BigEndian.PutUint16(out[at+7:], uint16(10_000+rng.IntN(55_000)))
	return out
}

// TestTooLarge: a form beyond the bound is cut off, whatever it holds.
func TestTooLarge(t *testing.T) {
	if testing.Short() {
		t.Skip("sends 65 MB")
	}
	b := start(t, "", 1)
	big := append(bytes.Clone(good(t, "M1")), make([]byte, maxForm)...)
	if a := b.upload(field{"bearing", "", []byte("M1")}, field{"photo", "x", big}); a.status != http.StatusRequestEntityTooLarge {
		t.Errorf("%d %s", a.status, a.body)
	}
	if left, _ := os.ReadDir(filepath.Join(b.dir, "photos")); len(left) != 0 {
		t.Errorf("%v", left)
	}
}

// FuzzForm: whatever the bytes, an error or a form of which every part is bounded.
func FuzzForm(f *testing.F) {
	kind, body := formOf(f, field{"bearing", "", []byte("M1")}, field{"position", "", []byte("90")}, field{"photo", "../x.jpg", []byte("\xff\xd8\xff")})
	f.Add(kind, body)
	kind, body = formOf(f, field{"bearing", "", []byte("M1")}, field{"bearing", "", []byte("M2")})
	f.Add(kind, body)
	f.Add("multipart/form-data; boundary=x", []byte("--x\r\nContent-Disposition: form-data; name=photo\r\n\r\n--x--"))
	f.Fuzz(func(t *testing.T, kind string, body []byte) {
		got, err := parseForm(kind, bytes.NewReader(body))
		if err == nil && (got.bearing == "" || len(got.bearing) > maxField || len(got.other) > maxField || len(got.photo) > len(body)) {
			t.Fatalf("%+v", got)
		}
	})
}

// FuzzCorrection: whatever the bytes, an error or places that lie beside a card.
func FuzzCorrection(f *testing.F) {
	f.Add([]byte(`{"zone":[-5,-6,7,8]}`))
	f.Add([]byte(`{"ends":[[-9,10],[9.5,10.25]]}`))
	f.Fuzz(func(t *testing.T, body []byte) {
		c, err := parseCorrection(bytes.NewReader(body))
		if err != nil {
			return
		}
		if z := c.Zone; z != nil && !(z[0] < z[2] && z[1] < z[3] && z[0] >= -maxPlace && z[3] <= maxPlace) {
			t.Fatalf("%v", *z)
		}
	})
}
