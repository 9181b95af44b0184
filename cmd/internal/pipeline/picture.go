package pipeline

import (
	"fmt"
	"path/filepath"
	"strings"
)

// PictureNames gives each photo a file in dir for its picture: the photo's name
// with "-read.jpg". Where two photos would share one, the later takes its
// folder's name in front, then a number. No name is that of a photo, so a
// picture never overwrites one. Names that differ only in case count as the
// same, as some file systems do.
func PictureNames(dir string, photos []string) []string {
	taken := map[string]bool{}
	key := func(path string) string { return strings.ToLower(absolute(path)) }
	for _, p := range photos {
		taken[key(p)] = true
	}
	// The folder may not exist yet, so its own path is resolved, not the files'.
	base := absolute(dir)
	names := make([]string, len(photos))
	for i, p := range photos {
		for n := 0; names[i] == ""; n++ {
			name := pictureStem(p, n) + pictureSuffix
			if k := key(filepath.Join(base, name)); !taken[k] {
				taken[k] = true
				names[i] = filepath.Join(dir, name)
			}
		}
	}
	return names
}

// pictureStem is the n-th try at a picture's name, without the suffix.
func pictureStem(photo string, n int) string {
	stem := strings.TrimSuffix(filepath.Base(photo), filepath.Ext(photo))
	parent := filepath.Base(filepath.Dir(absolute(photo)))
	switch n {
	case 0:
		return stem
	case 1:
		return parent + "-" + stem
	default:
		return fmt.Sprintf("%s-%s-%d", parent, stem, n)
	}
}
