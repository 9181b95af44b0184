package main

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"

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
}

func newRenderCommand() *cobra.Command {
	var o renderOptions
	cmd := &cobra.Command{
		Use:   "render --out DIR",
		Short: "Draw synthetic photos with their exact truth",
		Long: `Draw synthetic photos of a strip beside a card, each with its exact truth:
photo-NNN.jpg and photo-NNN.truth.json. The same seed gives the same bytes.
With --scene, draw that one scene instead of random ones.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return render(cmd, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "", "folder for the photos, made when missing")
	f.IntVar(&o.count, "count", 1, "how many photos")
	f.Uint64Var(&o.seed, "seed", 1, "seed of the first photo; the next ones follow from it")
	f.StringVar(&o.stratum, "stratum", string(synth.Flat), fmt.Sprint("population of scenes, one of ", synth.Strata()))
	f.StringVar(&o.scene, "scene", "", "JSON file with one scene")
	cobra.CheckErr(cmd.MarkFlagRequired("out"))
	return cmd
}

func render(cmd *cobra.Command, o renderOptions) error {
	if o.count < 1 {
		return fmt.Errorf("render: --count is %d, want at least 1", o.count)
	}
	scenes := func(i int) (synth.Scene, error) {
		return synth.Random(rand.New(rand.NewPCG(o.seed, uint64(i))), synth.Stratum(o.stratum))
	}
	if o.scene != "" {
		s, err := readScene(o.scene)
		if err != nil {
			return err
		}
		o.count = 1
		scenes = func(int) (synth.Scene, error) { return s, nil }
	}
	if err := os.MkdirAll(o.out, 0o755); err != nil {
		return fmt.Errorf("render: %w", err)
	}
	for i := range o.count {
		s, err := scenes(i)
		if err != nil {
			return fmt.Errorf("render: %w", err)
		}
		name := filepath.Join(o.out, fmt.Sprintf("photo-%03d", i))
		if err := renderOne(s, name); err != nil {
			return err
		}
		fmt.Fprintln(cmd.OutOrStdout(), name+".jpg")
	}
	return nil
}

// renderOne writes name.jpg and name.truth.json.
func renderOne(s synth.Scene, name string) error {
	photo, truth, err := synth.Render(s)
	if err != nil {
		return fmt.Errorf("render: %w", err)
	}
	text, err := json.MarshalIndent(truth, "", " ")
	if err != nil {
		return fmt.Errorf("render: truth: %w", err)
	}
	if err := os.WriteFile(name+".jpg", photo, 0o644); err != nil {
		return fmt.Errorf("render: %w", err)
	}
	if err := os.WriteFile(name+".truth.json", append(text, '\n'), 0o644); err != nil {
		return fmt.Errorf("render: %w", err)
	}
	return nil
}

// readScene reads a scene; unknown keys are refused, missing ones are zero.
func readScene(path string) (synth.Scene, error) {
	var s synth.Scene
	f, err := os.Open(path)
	if err != nil {
		return s, fmt.Errorf("render: %w", err)
	}
	defer f.Close()
	d := json.NewDecoder(f)
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		return s, fmt.Errorf("render: scene %s: %w", path, err)
	}
	return s, nil
}
