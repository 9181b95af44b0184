package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"stripgap/vision/synth"
)

// renderOptions are the flags of stripgap render.
type renderOptions struct {
	out     string
	count   int
	seed    uint64
	stratum string
	scene   string
	force   bool
}

func newRenderCommand() *cobra.Command {
	var o renderOptions
	cmd := &cobra.Command{
		Use:   "render --out DIR",
		Short: "Draw synthetic photos with their exact truth",
		Long: `Draw synthetic photos of a strip beside a card, each with its exact truth:
photo-NNN.jpg and photo-NNN.truth.json. The same seed gives the same bytes.
With --scene, draw that one scene instead of random ones.

Strata: ` + strataList() + `.`,
		Example: `  stripgap render --out out/photos --count 3 --stratum flat
  stripgap render --out out/photos --scene samples/scenes/main1.json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := o.check(); err != nil {
				return err
			}
			return o.run(cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "", "folder for the photos, made when missing")
	f.IntVar(&o.count, "count", 1, "how many photos")
	f.Uint64Var(&o.seed, "seed", 1, "seed of the run; photo N is the same whatever the count")
	f.StringVar(&o.stratum, "stratum", string(synth.Flat), "population the scenes are drawn from")
	f.StringVar(&o.scene, "scene", "", "JSON file with one scene, as in a truth file's \"scene\"")
	f.BoolVar(&o.force, "force", false, "overwrite existing files")
	cobra.CheckErr(cmd.MarkFlagRequired("out"))
	for _, one := range []string{"count", "seed", "stratum"} {
		cmd.MarkFlagsMutuallyExclusive("scene", one)
	}
	return cmd
}

func strataList() string { return strings.Join(strataNames(), ", ") }

func strataNames() (names []string) {
	for _, s := range synth.Strata() {
		names = append(names, string(s))
	}
	return names
}

func (o *renderOptions) check() error {
	if o.count < 1 {
		return usagef("--count %d: must be 1 or more", o.count)
	}
	if !slices.Contains(synth.Strata(), synth.Stratum(o.stratum)) {
		return usagef("--stratum %q: must be one of %s", o.stratum, strataList())
	}
	return nil
}

func (o *renderOptions) run(stdout io.Writer) error {
	scenes := func(i int) (synth.Scene, error) {
		return synth.Random(rand.New(rand.NewPCG(o.seed, uint64(i))), synth.Stratum(o.stratum))
	}
	if o.scene != "" {
		s, err := readScene(o.scene)
		if err != nil {
			return err
		}
		scenes = func(int) (synth.Scene, error) { return s, nil }
	}
	if err := os.MkdirAll(o.out, 0o755); err != nil {
		return err
	}
	for i := range o.count {
		s, err := scenes(i)
		if err != nil {
			return err
		}
		name := filepath.Join(o.out, fmt.Sprintf("photo-%03d", i))
		if err := renderOne(s, name, o.force); err != nil {
			return err
		}
		fmt.Fprintln(stdout, name+".jpg")
	}
	return nil
}

// renderOne writes name.jpg and name.truth.json, both or neither.
func renderOne(s synth.Scene, name string, force bool) error {
	photo, truth, err := synth.Render(s)
	if err != nil {
		return err
	}
	return writeFiles([]outputFile{
		{name + ".jpg", func(w io.Writer) error {
			_, err := w.Write(photo)
			return err
		}},
		{name + ".truth.json", func(w io.Writer) error {
			e := json.NewEncoder(w)
			e.SetIndent("", " ")
			return e.Encode(truth)
		}},
	}, force)
}

// readScene reads a scene of at most 1 MiB; unknown keys are refused, missing
// ones are zero.
func readScene(path string) (synth.Scene, error) {
	var s synth.Scene
	data, err := readSome(path, 1<<20)
	if err != nil {
		return s, err
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		return s, fmt.Errorf("scene %s: %w", path, err)
	}
	if d.More() {
		return s, fmt.Errorf("scene %s: more than one scene; keep one a file", path)
	}
	return s, nil
}
