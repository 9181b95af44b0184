package folder

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"

	"stripgap/clearance/build"
	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/wholefile"
)

// Photos lists the photos in photos/ by name, with their hashes. Files that
// cannot be read are told in problems.
func (v View) Photos() (photos []build.Photo, problems []error) {
	dir := v.Path(photosDir)
	if _, err := os.ReadDir(dir); err != nil {
		return nil, []error{err}
	}
	paths, _ := pipeline.Collect([]string{dir}) // its only problem now is that there are none
	for _, path := range paths {
		sum, err := v.hashes.of(path)
		if err != nil {
			problems = append(problems, err)
			continue
		}
		photos = append(photos, build.Photo{Name: filepath.Base(path), SHA256: sum})
	}
	return photos, problems
}

// hashes remembers the photos' hashes for a process that looks often. A file whose
// size and time are as they were is not read again.
type hashes struct {
	mu    sync.Mutex
	known map[string]hashedFile // by path
}

type hashedFile struct {
	size int64
	time time.Time
	sum  string
}

// of returns a file's SHA-256 in hexadecimal digits; nil remembers nothing.
func (h *hashes) of(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	if h == nil {
		return hashed(path)
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if k, ok := h.known[path]; ok && k.size == info.Size() && k.time.Equal(info.ModTime()) {
		return k.sum, nil
	}
	sum, err := hashed(path)
	if err == nil {
		h.known[path] = hashedFile{info.Size(), info.ModTime(), sum}
	}
	return sum, err
}

func hashed(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// plain replaces what a file's name should not hold.
func plain(r rune) rune {
	if !unicode.IsPrint(r) {
		return '_'
	}
	return r
}

// AddPhoto puts a photo's bytes into photos/ under the name, or one like it where
// that is taken, and returns what it is called there. The same bytes are there
// once: a photo that is there already is returned as it is.
func (f *Folder) AddPhoto(name string, data []byte) (build.Photo, error) {
	p, _, err := f.TakePhoto(name, data)
	return p, err
}

// TakePhoto is AddPhoto and tells whether the photo is new here.
func (f *Folder) TakePhoto(name string, data []byte) (p build.Photo, isNew bool, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	before, problems := f.view.Photos()
	if len(problems) > 0 {
		return build.Photo{}, false, problems[0]
	}
	p, err = f.addPhoto(name, data, before)
	return p, err == nil && !slices.Contains(before, p), err
}

// DropPhoto takes away a photo that nothing was noted of.
func (f *Folder) DropPhoto(p build.Photo) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if read, refused := f.view.Journal.Tried(p.SHA256); read || refused {
		return fmt.Errorf("%s: is noted in %s and stays", p.Name, readingsFile)
	}
	path := f.view.photoPath(p)
	if sum, err := hashed(path); err != nil || sum != p.SHA256 {
		return nil // it is gone, or is another one
	}
	if err := os.Remove(path); err != nil {
		return unwritable(path, err)
	}
	return syncFolder(filepath.Dir(path))
}

func (f *Folder) addPhoto(name string, data []byte, there []build.Photo) (build.Photo, error) {
	base := strings.Map(plain, filepath.Base(filepath.Clean("/"+strings.ReplaceAll(name, `\`, "/"))))
	ext := strings.ToLower(filepath.Ext(base))
	if !slices.Contains(pipeline.Extensions, ext) || strings.HasPrefix(base, ".") {
		return build.Photo{}, fmt.Errorf("%q: a photo's name must end in %s", name, strings.Join(pipeline.Extensions, ", "))
	}
	sum := sha256.Sum256(data)
	photo := build.Photo{Name: base, SHA256: hex.EncodeToString(sum[:])}
	for _, p := range there {
		if p.SHA256 == photo.SHA256 {
			return p, nil
		}
	}
	stem := strings.TrimSuffix(base, filepath.Ext(base))
	for n := 2; ; n++ {
		path := f.view.Path(photosDir + "/" + photo.Name)
		if _, err := os.Lstat(path); err != nil {
			if err := wholefile.Write(path, data); err != nil {
				return build.Photo{}, unwritable(path, err)
			}
			return photo, syncFolder(filepath.Dir(path))
		}
		photo.Name = fmt.Sprintf("%s~%d%s", stem, n, filepath.Ext(base))
	}
}
