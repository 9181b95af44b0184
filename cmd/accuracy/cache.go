package main

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"stripgap/cmd/internal/wholefile"
	"stripgap/vision/synth"
)

// cache keeps rendered photos with their truth in a folder, because rendering
// takes ten times as long as reading and a change of the reader leaves the
// photos as they are. The empty cache renders every time. A photo is found by
// its scene alone: after a change of the renderer the folder must be deleted.
type cache string

// render returns the photo and truth of a scene.
func (c cache) render(s synth.Scene) ([]byte, *synth.Truth, error) {
	if c == "" {
		return synth.Render(s)
	}
	key, err := json.Marshal(s)
	if err != nil {
		return nil, nil, err
	}
	sum := sha256.Sum256(key)
	name := filepath.Join(string(c), s.Name+"-"+hex.EncodeToString(sum[:12]))
	photo, truth, err := kept(name)
	if err == nil || !errors.Is(err, fs.ErrNotExist) {
		return photo, truth, err
	}
	photo, truth, err = synth.Render(s)
	if err != nil {
		return nil, nil, err
	}
	return photo, truth, writePhoto(name, photo, truth)
}

// writePhoto keeps a photo and its truth. The photo is written last, so that where it
// is its truth is, too.
func writePhoto(name string, photo []byte, truth *synth.Truth) error {
	text, err := json.MarshalIndent(truth, "", " ")
	if err != nil {
		return err
	}
	if err := wholefile.Write(name+".truth.json", append(text, '\n')); err != nil {
		return err
	}
	return wholefile.Write(name+".jpg", photo)
}

// kept reads what writePhoto wrote.
func kept(name string) ([]byte, *synth.Truth, error) {
	photo, err := os.ReadFile(name + ".jpg")
	if err != nil {
		return nil, nil, err
	}
	text, err := os.ReadFile(name + ".truth.json")
	if err != nil {
		return nil, nil, err
	}
	truth := new(synth.Truth)
	if err := json.Unmarshal(text, truth); err != nil {
		return nil, nil, fmt.Errorf("%s.truth.json: %w; delete it", name, err)
	}
	return photo, truth, nil
}
