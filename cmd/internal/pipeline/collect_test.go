package pipeline

import (
	"os"
	"path/filepath"
	"reflect"
	"testing"
)

// makeFiles makes empty files below a new folder and goes there.
func makeFiles(t *testing.T, names ...string) string {
	t.Helper()
	dir := t.TempDir()
	for _, n := range names {
		path := filepath.Join(dir, n)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	t.Chdir(dir)
	return dir
}

func TestCollect(t *testing.T) {
	dir := makeFiles(t, "b/m2.JPG", "b/m1.jpeg", "b/notes.txt", "b/m1-read.jpg", "b/.hidden.jpg",
		"b/deeper/m3.jpg", "b/folder.jpg/x.png", "a.bin")
	if err := os.Symlink("m2.JPG", "b/linked.jpg"); err != nil {
		t.Fatal(err)
	}
	cases := []struct {
		args, want []string
	}{
		// By name, capitals first, as the folder's listing sorts them. The link
		// is the same photo as the file it leads to.
		{[]string{"b"}, []string{"b/linked.jpg", "b/m1.jpeg"}},
		{[]string{"b/m2.JPG", "b"}, []string{"b/m2.JPG", "b/m1.jpeg"}},
		{[]string{"a.bin", "./a.bin", filepath.Join(dir, "a.bin")}, []string{"a.bin"}},
		{[]string{"gone.jpg"}, []string{"gone.jpg"}},
		{[]string{"b/m1-read.jpg"}, []string{"b/m1-read.jpg"}},
		{nil, nil},
	}
	for _, c := range cases {
		got, problems := Collect(c.args)
		if len(problems) > 0 || !reflect.DeepEqual(got, c.want) {
			t.Errorf("Collect(%q) = %q, %v; want %q", c.args, got, problems, c.want)
		}
	}
}

func TestCollectEmptyFolder(t *testing.T) {
	makeFiles(t, "a/readme.txt", "p.jpg")
	got, problems := Collect([]string{"a", "p.jpg"})
	if len(problems) != 1 || !reflect.DeepEqual(got, []string{"p.jpg"}) {
		t.Errorf("got %q, %v", got, problems)
	}
}

func TestPictureNames(t *testing.T) {
	makeFiles(t, "one/m1.jpg", "two/m1.jpg", "two/m1.png", "two/M1.webp", "out/m2-read.jpg", "one/m2.jpg")
	photos := []string{"one/m1.jpg", "two/m1.jpg", "two/m1.png", "two/M1.webp", "out/m2-read.jpg", "one/m2.jpg"}
	got := PictureNames("out", photos)
	want := []string{"out/m1-read.jpg", "out/two-m1-read.jpg", "out/two-m1-2-read.jpg", "out/two-M1-3-read.jpg",
		"out/m2-read-read.jpg",
		"out/one-m2-read.jpg"} // out/m2-read.jpg is itself a photo
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %q\nwant %q", got, want)
	}
}
