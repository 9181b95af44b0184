package report

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// browser runs a headless Chromium of its own on a page; `make setup` installs it.
func browser(t *testing.T, page string, args ...string) string {
	t.Helper()
	if testing.Short() {
		t.Skip("starts a browser")
	}
	program, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("chromium is not installed; `make setup` installs it")
	}
	all := append([]string{"--headless=new", "--no-sandbox", "--disable-gpu", "--allow-file-access-from-files",
		"--user-data-dir=" + t.TempDir()}, args...)
	out, err := exec.Command(program, append(all, "file://"+page)...).Output()
	if err != nil {
		t.Fatalf("chromium: %v", err)
	}
	return string(out)
}

// writtenRecord writes the fixed record and returns its path; with a paper it asks
// to be printed on that.
func writtenRecord(t *testing.T, paper string) string {
	t.Helper()
	text := recordText(t, fixedRecord())
	if paper != "" {
		text = strings.Replace(text, "</head>", "<style>@page { size: "+paper+" }</style></head>", 1)
	}
	path := filepath.Join(t.TempDir(), "record.html")
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestRecordPrints prints the record on both papers: its own size, a running header
// and a page number on every page, and everything still there.
func TestRecordPrints(t *testing.T) {
	for paper, size := range map[string]string{"A4": "595 x 842", "letter": "612 x 792"} {
		pdf := filepath.Join(t.TempDir(), "record.pdf")
		browser(t, writtenRecord(t, paper), "--no-pdf-header-footer", "--print-to-pdf="+pdf)
		info := toolOutput(t, "pdfinfo", pdf)
		m := regexp.MustCompile(`Page size: +([0-9.]+) x ([0-9.]+)`).FindStringSubmatch(info)
		if m == nil {
			t.Fatalf("pdfinfo: %s", info)
		}
		if got := rounded(t, m[1]) + " x " + rounded(t, m[2]); got != size {
			t.Errorf("%s: pages of %s points, want %s", paper, got, size)
		}
		pages := strings.Split(strings.TrimSuffix(toolOutput(t, "pdftotext", "-layout", pdf, "-"), "\f"), "\f")
		if len(pages) < 3 {
			t.Errorf("%s: %d pages; summary, bearings and the page to sign are at least three", paper, len(pages))
		}
		for i := range pages {
			// The number's own blanks are lost between a page's pieces of text.
			pages[i] = strings.ReplaceAll(strings.Join(strings.Fields(pages[i]), " "), " / ", "/")
			for _, want := range []string{"Four-cylinder, made up", "Oil clearance record, 25 November 2026",
				"it does not replace the engine maker's manual", fmt.Sprintf("%d/%d", i+1, len(pages))} {
				if !strings.Contains(pages[i], want) {
					t.Errorf("%s: page %d does not say %q", paper, i+1, want)
				}
			}
		}
		all := strings.Join(pages, "\n")
		for _, b := range fixedRecord().Bearings {
			if !strings.Contains(all, b.StateWord) {
				t.Errorf("%s: nothing of %s, %s", paper, b.Name, b.StateWord)
			}
		}
		if last := pages[len(pages)-1]; !strings.Contains(last, "Signature") {
			t.Errorf("%s: the last page has no line to sign", paper)
		}
	}
}

func rounded(t *testing.T, s string) string {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%.0f", x)
}

func toolOutput(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).Output()
	if err != nil {
		t.Skipf("%s: %v; `make setup` installs it", name, err)
	}
	return string(out)
}

// TestRecordOnScreens lays the record out as wide as a phone, a tablet and a small
// window on a laptop: nothing hangs over the side.
func TestRecordOnScreens(t *testing.T) {
	record := writtenRecord(t, "")
	for _, wide := range []int{390, 900, 1080} {
		frame := filepath.Join(t.TempDir(), "frame.html")
		page := fmt.Sprintf(`<iframe id="f" src="file://%s" style="width:%dpx;height:800px;border:0"></iframe>
<script>onload = () => {
	const d = document.getElementById("f").contentDocument
	const out = [...d.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > %d.5 && !e.closest(".scroll") && !e.closest("thead"))
	document.body.insertAdjacentHTML("beforeend", "<pre>width " + d.documentElement.scrollWidth + ", over " + out.length + ", rows " + d.querySelectorAll(".cards tr").length + "</pre>")
}</script>`, record, wide, wide)
		if err := os.WriteFile(frame, []byte(page), 0o644); err != nil {
			t.Fatal(err)
		}
		dom := browser(t, frame, "--window-size=1300,900", "--virtual-time-budget=5000", "--dump-dom")
		m := regexp.MustCompile(`width (\d+), over (\d+), rows (\d+)`).FindStringSubmatch(dom)
		if m == nil {
			t.Fatalf("the page was not measured: %.300s", dom)
		}
		if width, _ := strconv.Atoi(m[1]); width > wide || m[2] != "0" || m[3] == "0" {
			t.Errorf("at %d px the page is %s px wide, %s parts hang over, %s rows", wide, m[1], m[2], m[3])
		}
	}
}
