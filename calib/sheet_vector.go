package calib

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"math"
	"strconv"
)

// WriteSVG writes the page as an SVG drawing whose lengths are in mm. Errors are
// the writer's.
func (s *Sheet) WriteSVG(w io.Writer) error {
	outlines, err := s.Outlines()
	if err != nil {
		return err
	}
	var b bytes.Buffer
	width, height := decimal(s.Paper.Width), decimal(s.Paper.Height)
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %s %s">`+"\n",
		width, height, width, height)
	fmt.Fprintf(&b, "<title>stripgap %s %s</title>\n", s.Paper.Name, s.Serial)
	fmt.Fprintf(&b, `<rect width="%s" height="%s" fill="#fff"/>`+"\n", width, height)
	for _, o := range outlines {
		b.WriteString(`<path fill="#000" fill-rule="evenodd" d="`)
		writeRings(&b, o, "M%s %s", "L%s %s", "Z")
		b.WriteString(`"/>` + "\n")
	}
	b.WriteString("</svg>\n")
	_, err = w.Write(b.Bytes())
	return err
}

// WritePDF writes the page as a one-page PDF (ISO 32000) of filled paths. It is
// written here because two things matter that a general writer does not give:
// the print dialog is asked not to scale, and coordinates keep 0.1 um. Errors are
// the writer's.
func (s *Sheet) WritePDF(w io.Writer) error {
	outlines, err := s.Outlines()
	if err != nil {
		return err
	}
	const points = 72 / 25.4 // per mm
	var content bytes.Buffer
	// The page's frame: mm from the top left, y down.
	fmt.Fprintf(&content, "%.10f 0 0 %.10f 0 %.6f cm\n", points, -points, s.Paper.Height*points)
	for _, o := range outlines {
		writeRings(&content, o, "%s %s m\n", "%s %s l\n", "h\n")
		content.WriteString("f*\n")
	}
	var packed bytes.Buffer
	z := zlib.NewWriter(&packed)
	z.Write(content.Bytes()) // a buffer takes everything
	z.Close()
	_, err = w.Write(pdfFile([]string{
		"<< /Type /Catalog /Pages 2 0 R /ViewerPreferences << /PrintScaling /None >> >>",
		"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
		fmt.Sprintf("<< /Type /Page /Parent 2 0 R /MediaBox [0 0 %.4f %.4f] /Resources << >> /Contents 4 0 R >>",
			s.Paper.Width*points, s.Paper.Height*points),
		fmt.Sprintf("<< /Length %d /Filter /FlateDecode >>\nstream\n%s\nendstream", packed.Len(), packed.Bytes()),
		fmt.Sprintf("<< /Title (stripgap %s %s) >>", s.Paper.Name, s.Serial),
	}))
	return err
}

// pdfFile joins numbered objects to a file with its cross-reference table; the
// first is the catalogue and the last the document's information.
func pdfFile(objects []string) []byte {
	var b bytes.Buffer
	b.WriteString("%PDF-1.6\n%\xe2\xe3\xcf\xd3\n") // the second line marks the file as binary
	xref := fmt.Sprintf("xref\n0 %d\n0000000000 65535 f \n", len(objects)+1)
	for i, o := range objects {
		xref += fmt.Sprintf("%010d 00000 n \n", b.Len())
		fmt.Fprintf(&b, "%d 0 obj\n%s\nendobj\n", i+1, o)
	}
	start := b.Len()
	fmt.Fprintf(&b, "%strailer\n<< /Size %d /Root 1 0 R /Info %d 0 R >>\nstartxref\n%d\n%%%%EOF\n",
		xref, len(objects)+1, len(objects), start)
	return b.Bytes()
}

// writeRings writes an outline's rings as path commands, each format taking x
// and y in mm.
func writeRings(b *bytes.Buffer, o Outline, move, line, end string) {
	for _, ring := range o.Rings {
		for i, p := range ring {
			format := line
			if i == 0 {
				format = move
			}
			fmt.Fprintf(b, format, decimal(p.X), decimal(p.Y))
		}
		b.WriteString(end)
	}
}

// decimal writes a length in mm to 0.1 um, without trailing zeros.
func decimal(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e4)/1e4, 'f', -1, 64)
}
