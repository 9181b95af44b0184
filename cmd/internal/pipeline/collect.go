package pipeline

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Extensions are the endings, in lower case, by which a folder's photos are
// told from its other files. A file named on its own is tried whatever its
// ending.
var Extensions = []string{".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif"}

// pictureSuffix ends the name of every picture this program writes. A folder's
// files with it are not taken for photos.
const pictureSuffix = "-read.jpg"

// Collect lists the photos that args name, in the order named and a folder's by
// file name; one named twice is listed once. A file that does not exist is
// listed all the same, to be refused like any other. Folders that cannot be
// read or hold no photo are reported in problems, one each.
func Collect(args []string) (photos []string, problems []error) {
	seen := map[string]bool{}
	add := func(path string) {
		if key := absolute(path); !seen[key] {
			seen[key] = true
			photos = append(photos, path)
		}
	}
	for _, arg := range args {
		if info, err := os.Stat(arg); err != nil || !info.IsDir() {
			add(arg)
			continue
		}
		found, err := folder(arg)
		if err != nil {
			problems = append(problems, err)
		}
		for _, path := range found {
			add(path)
		}
	}
	return photos, problems
}

// folder lists a folder's photos by name; it does not look into folders below.
func folder(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("%s: the folder cannot be read; check that you may open it", dir)
	}
	var photos []string
	for _, e := range entries {
		path := filepath.Join(dir, e.Name())
		if !isPhotoName(e.Name()) {
			continue
		}
		// Stat, not the entry's type: a link to a photo is a photo.
		if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
			continue
		}
		photos = append(photos, path)
	}
	if len(photos) == 0 {
		return nil, fmt.Errorf("%s: no photos in this folder; it must hold files ending in %s",
			dir, strings.Join(Extensions, " "))
	}
	return photos, nil
}

func isPhotoName(name string) bool {
	lower := strings.ToLower(name)
	return slices.Contains(Extensions, filepath.Ext(lower)) &&
		!strings.HasSuffix(lower, pictureSuffix) && !strings.HasPrefix(name, ".")
}

// absolute is a path's identity: absolute and with links followed where that is
// possible.
func absolute(path string) string {
	if full, err := filepath.Abs(path); err == nil {
		path = full
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	return path
}
