package calib

import (
	"bytes"
	"fmt"
	"image"
	"io"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
)

func TestCodeTextAndBack(t *testing.T) {
	for _, c := range []struct{ bearing, text string }{
		{"", testSerial},
		{"M1", testSerial + "/M1"},
		{"BE 3+4", testSerial + "/BE 3+4"},
		{"L/R", testSerial + "/L/R"},
		{"0123456789ABC", testSerial + "/0123456789ABC"},
	} {
		text, err := CodeText(testSerial, c.bearing)
		if err != nil || text != c.text {
			t.Errorf("CodeText(%q) = %q, %v; want %q", c.bearing, text, err, c.text)
		}
		serial, bearing, err := ParseCode(c.text)
		if err != nil || serial != testSerial || bearing != c.bearing {
			t.Errorf("ParseCode(%q) = %q, %q, %v", c.text, serial, bearing, err)
		}
	}
}

func TestCodeTextRefuses(t *testing.T) {
	for _, c := range []struct{ serial, bearing, says string }{
		{"", "", "0 characters"},
		{"a7X4N2", "", `'a'`},
		{"A7X4N3", "", "check character"},
		{testSerial, "m1", `'m'`},
		{testSerial, "M_1", `'_'`},
		{testSerial, "Lager Ä", `'a'`},
		{testSerial, " M1", "space"},
		{testSerial, "0123456789ABCD", "longer than 13"},
	} {
		if text, err := CodeText(c.serial, c.bearing); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("CodeText(%q, %q) = %q, %v; want an error with %q", c.serial, c.bearing, text, err, c.says)
		}
	}
}

func TestParseCodeRefuses(t *testing.T) {
	for _, text := range []string{"", "HTTP://EXAMPLE.COM", testSerial + "/", "/" + testSerial, testSerial + "/m1", testSerial + "/M1\n"} {
		if serial, bearing, err := ParseCode(text); err == nil {
			t.Errorf("ParseCode(%q) = %q, %q", text, serial, bearing)
		}
	}
}

// A version 1 symbol has 17 + 4 x 1 modules a side and holds 20 alphanumeric
// characters at level M (ISO/IEC 18004), whatever their mixture.
func TestCodeIsVersionOne(t *testing.T) {
	for _, bearing := range []string{"", "M1", "0123456789ABC", "1A2B3C4D5E6F7", "1111111111111", "A000000A00000"} {
		modules, err := codeModules(testSerial, bearing)
		if err != nil {
			t.Errorf("%q: %v", bearing, err)
			continue
		}
		for _, row := range modules {
			if len(modules) != 17+4 || len(row) != 17+4 {
				t.Fatalf("%q: symbol is %d by %d modules", bearing, len(row), len(modules))
			}
		}
	}
}

// Two decoders that share nothing with the drawing read every code of a full
// sheet: one from its PDF as poppler draws it, one from its PNG.
func TestCodesDecode(t *testing.T) {
	var bearings []string
	for i := range 12 {
		bearings = append(bearings, fmt.Sprintf("M%d", i+1), fmt.Sprintf("BE%d", i+1))
	}
	want := []string{testSerial}
	for _, b := range bearings {
		want = append(want, testSerial+"/"+b)
	}
	slices.Sort(want)
	s := newTestSheet(t, "letter", bearings...)
	page := rasterisedPDF(t, s, 600)
	t.Run("gozxing", func(t *testing.T) {
		for _, card := range s.Cards {
			text := zxing(t, codeOf(card, page))
			if serial, bearing, err := ParseCode(text); err != nil || serial != testSerial || bearing != card.Bearing {
				t.Errorf("%s %q reads %q: %v", card.Layout.Name, card.Bearing, text, err)
			}
		}
	})
	t.Run("zbar", func(t *testing.T) {
		got := zbar(t, s)
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("codes read %q\nwant %q", got, want)
		}
	})
}

// codeOf cuts a card's code with a margin of 1.5 of its modules from the page.
func codeOf(card Placement, page raster) image.Image {
	code := card.Layout.Code
	c := card.SheetFromCard(code.Centre)
	reach := code.Side/2 + 1.5*code.Side/CodeModules
	return page.grey.SubImage(image.Rect(page.pixel(c.X-reach), page.pixel(c.Y-reach), page.pixel(c.X+reach), page.pixel(c.Y+reach)))
}

func zxing(t *testing.T, m image.Image) string {
	t.Helper()
	bitmap, err := gozxing.NewBinaryBitmapFromImage(m)
	if err != nil {
		t.Fatal(err)
	}
	result, err := qrcode.NewQRCodeReader().Decode(bitmap, nil)
	if err != nil {
		t.Errorf("gozxing: %v", err)
		return ""
	}
	return result.GetText()
}

// zbar returns the texts of all QR codes that zbarimg finds on the sheet's PNG.
func zbar(t *testing.T, s *Sheet) []string {
	t.Helper()
	tool, err := exec.LookPath("zbarimg")
	if err != nil {
		t.Skip("zbarimg (Debian zbar-tools) is not installed")
	}
	path := filepath.Join(t.TempDir(), "page.png")
	writeTo(t, path, func(w io.Writer) error { return s.WritePNG(w, 600) })
	out, err := exec.Command(tool, "--nodbus", "--quiet", "--raw", "-Sdisable", "-Sqrcode.enable", path).Output()
	if err != nil {
		t.Fatalf("zbarimg: %v", err)
	}
	return strings.Fields(string(bytes.TrimSpace(out)))
}
