package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"stripgap/calib"
	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/progress"
	"stripgap/cmd/internal/userfiles"
	"stripgap/vision"
)

// phoneFile is where phones are remembered, among the person's own files.
const phoneFile = "phones.toml"

func newPhoneCommand() *cobra.Command {
	phone := &cobra.Command{
		Use:   "phone",
		Short: "Learn and list phones' cameras",
		Example: `  stripgap phone learn card-photos
  stripgap phone list`,
	}
	phone.AddCommand(newPhoneLearnCommand(), newPhoneListCommand())
	return phone
}

func newPhoneLearnCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "learn PHOTO|FOLDER...",
		Short: "Learn a phone's camera from photos of the bench card",
		Long: `learn measures a phone's focal length, lens distortion and principal point from
at least 4 photos of the bench card, and remembers them for this phone, lens,
zoom and photo size. read then uses them for photos by the same phone.

Lay the card flat, fill most of the picture with it, and take each photo from
another side, tilted by 15 to 25 degrees, from about as far as you take photos
of strips. Learning the same phone again replaces what was remembered.

A photo in which the card cannot be measured is told and left out. The file is
stripgap/phones.toml in $XDG_CONFIG_HOME, or in ~/.config.`,
		Example: `  stripgap phone learn card-photos`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return errors.New("no photo given; name photos or folders")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return learnPhone(cmd, args) },
	}
}

func learnPhone(cmd *cobra.Command, args []string) error {
	// Read first: a broken file must not cost the work of learning.
	if _, err := knownPhones(); err != nil {
		return err
	}
	photos, problems := pipeline.Collect(args)
	var sights []pipeline.CardSight
	line := progress.New(cmd.ErrOrStderr(), len(photos))
	for _, path := range photos {
		s, err := seeCard(path)
		if err != nil {
			problems = append(problems, fmt.Errorf("%s: left out: %w", path, err))
		} else {
			sights = append(sights, s)
		}
		line.Step(path)
	}
	line.Clear()
	for _, p := range problems {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s: %v\n", cmd.CommandPath(), p)
	}
	phone, fit, err := pipeline.LearnPhone(sights)
	if err != nil {
		return err
	}
	again, path, err := keepPhone(phone)
	if err != nil {
		return fmt.Errorf("%w; what was learnt is not kept", err)
	}
	return tellLearnt(cmd.OutOrStdout(), phone, fit, path, again)
}

// seeCard loads a photo and finds the card; an error carries its remedy.
func seeCard(path string) (pipeline.CardSight, error) {
	photo, err := vision.Load(path)
	var s pipeline.CardSight
	if err == nil {
		s, err = pipeline.SeeCard(photo)
	}
	var why *vision.Refusal
	if errors.As(err, &why) {
		err = fmt.Errorf("%w; %s", err, why.Remedy)
	}
	return s, err
}

func tellLearnt(w io.Writer, p calib.Phone, fit *calib.CameraFit, path string, again bool) error {
	c, u := p.Camera, func(i int) float64 { return math.Sqrt(p.Cov.At(i, i)) }
	_, err := fmt.Fprintf(w, `%v, learnt from %d photos
  focal length     %.1f px, u %.1f px
  k1               %.4f, u %.4f
  principal point  %.1f, %.1f px, u %.1f, %.1f px
  marks fit within %.2f px
`, p.Key, p.Photos, c.F, c.F*u(0), c.K1, u(1), c.CX, c.CY, u(2), u(3), slices.Max(fit.RMS))
	if again {
		fmt.Fprintln(w, "This replaces what was remembered of the same phone, lens, zoom and size.")
	}
	_, last := fmt.Fprintf(w, "Kept in %s\n", path)
	return errors.Join(err, last)
}

func newPhoneListCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "list",
		Short:   "List the phones whose cameras were learnt",
		Example: `  stripgap phone list`,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			phones, err := knownPhones()
			if err != nil {
				return err
			}
			return listPhones(cmd.OutOrStdout(), phones)
		},
	}
}

func listPhones(w io.Writer, phones []calib.Phone) error {
	if len(phones) == 0 {
		_, err := fmt.Fprintln(w, "No phone was learnt yet; see stripgap phone learn --help")
		return err
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "PHONE\tPHOTOS\tF px\tu px\tK1\tu\tCX, CY px\tu px")
	for _, p := range phones {
		c, u := p.Camera, func(i int) float64 { return math.Sqrt(p.Cov.At(i, i)) }
		fmt.Fprintf(t, "%v\t%d\t%.1f\t%.1f\t%.4f\t%.4f\t%.1f, %.1f\t%.1f, %.1f\n",
			p.Key, p.Photos, c.F, c.F*u(0), c.K1, u(1), c.CX, c.CY, u(2), u(3))
	}
	return t.Flush()
}

// knownPhones reads the phones that were learnt, none where there is no file.
func knownPhones() ([]calib.Phone, error) {
	data, path, err := userfiles.Read(phoneFile)
	if err != nil {
		return nil, fmt.Errorf("the phones remembered cannot be read: %w", err)
	}
	return calib.ParsePhones(data, path)
}

// keepPhone adds a phone to those remembered; again tells whether it takes the
// place of one.
func keepPhone(phone calib.Phone) (again bool, path string, err error) {
	path, err = userfiles.Update(phoneFile, func(data []byte, path string) ([]byte, error) {
		phones, err := calib.ParsePhones(data, path)
		if err != nil {
			return nil, err
		}
		same := func(p calib.Phone) bool { return p.Key == phone.Key }
		again = slices.ContainsFunc(phones, same)
		return calib.FormatPhones(append(slices.DeleteFunc(phones, same), phone))
	})
	return again, path, err
}
