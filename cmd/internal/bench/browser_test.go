package bench

import (
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// pictures is where screenshots go, to be looked at.
const pictures = "../../../out/bench"

// browser starts Debian's Chromium once for all tests.
func browser(t *testing.T) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("starts a browser")
	}
	program, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("chromium is not installed; `make setup` installs it")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(program), chromedp.NoSandbox,
		chromedp.WSURLReadTimeout(2*time.Minute), chromedp.Flag("lang", "en"))
	allocated, cancel := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(cancel)
	ctx, cancel := chromedp.NewContext(allocated)
	t.Cleanup(cancel)
	if err := chromedp.Run(ctx); err != nil {
		t.Fatal(err)
	}
	return ctx
}

// phone is a tab as wide as a phone.
type phone struct {
	t   *testing.T
	ctx context.Context
	mu  sync.Mutex
	bad []string // what its console complained of
}

// patience is how long anything on the page may take on a busy machine; nothing
// here measures how long it does.
const patience = time.Minute

func newPhone(t *testing.T, browser context.Context, url string) *phone {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser)
	t.Cleanup(cancel)
	p := &phone{t: t, ctx: ctx}
	chromedp.ListenTarget(ctx, func(e any) {
		p.mu.Lock()
		defer p.mu.Unlock()
		switch e := e.(type) {
		case *runtime.EventExceptionThrown:
			p.bad = append(p.bad, e.ExceptionDetails.Error())
		case *runtime.EventConsoleAPICalled:
			if e.Type == runtime.APITypeError {
				p.bad = append(p.bad, fmt.Sprint(e.Args))
			}
		}
	})
	// The first call makes the tab, which lives as long as this call's context.
	if err := chromedp.Run(ctx); err != nil {
		t.Fatal(err)
	}
	p.do("open", chromedp.EmulateViewport(390, 844, chromedp.EmulateScale(2), chromedp.EmulateMobile, chromedp.EmulateTouch),
		chromedp.Navigate(url))
	return p
}

func (p *phone) do(what string, actions ...chromedp.Action) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	if err := chromedp.Run(ctx, actions...); err != nil {
		p.t.Fatalf("%s: %v\nthe page shows: %s", what, err, p.text())
	}
}

// text is all that is to be read on the page.
func (p *phone) text() (text string) {
	ctx, cancel := context.WithTimeout(p.ctx, 10*time.Second)
	defer cancel()
	_ = chromedp.Run(ctx, chromedp.Evaluate(`document.body.innerText`, &text))
	return text
}

// sees waits until the page shows the words.
func (p *phone) sees(words string) {
	p.t.Helper()
	p.until(words, fmt.Sprintf(`document.body.innerText.includes(%q)`, words))
}

// until waits until the script gives true. A tab in the background draws no frames,
// so that it is asked from here.
func (p *phone) until(what, script string) {
	p.t.Helper()
	for deadline := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
		var yes bool
		p.do("waiting for "+what, chromedp.Evaluate(script, &yes))
		if yes {
			return
		}
		if time.Now().After(deadline) {
			p.t.Fatalf("waited for %q in vain; the page shows: %s", what, p.text())
		}
	}
}

// press presses the button or follows the link of that name, where it comes to rest:
// a page that is still being laid out, as by a message that goes, moves it.
func (p *phone) press(name string) {
	p.t.Helper()
	place := fmt.Sprintf(`(() => {
		const e = [...document.querySelectorAll('button, a')].find((e) => e.innerText.includes(%q) && !e.disabled);
		if (!e) return null;
		e.scrollIntoView({ block: 'center', behavior: 'instant' });
		const b = e.getBoundingClientRect(), x = b.x + b.width / 2, y = b.y + b.height / 2;
		return e.contains(document.elementFromPoint(x, y)) ? [x, y] : null;
	})()`, name)
	var last []float64
	for deadline := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
		var at []float64
		p.do("looking for "+name, chromedp.Evaluate(place, &at))
		if at != nil && slices.Equal(at, last) {
			p.do("pressing "+name, chromedp.MouseClickXY(at[0], at[1]))
			return
		}
		if last = at; time.Now().After(deadline) {
			p.t.Fatalf("nothing to press called %q; the page shows: %s", name, p.text())
		}
	}
}

// photographs gives a file to the camera button.
func (p *phone) photographs(data []byte) {
	p.t.Helper()
	p.photographsWith(`.camera.main input`, data)
}

// photographsWith gives a file to the camera input of that selector.
func (p *phone) photographsWith(input string, data []byte) {
	p.t.Helper()
	file := filepath.Join(p.t.TempDir(), "image.jpg")
	if err := os.WriteFile(file, data, 0o600); err != nil {
		p.t.Fatal(err)
	}
	p.do("taking a photo", chromedp.SetUploadFiles(input, []string{file}, chromedp.ByQuery))
}

// picture takes a screenshot of the whole page, light and dark, and checks both
// with axe-core.
func (p *phone) picture(name string) {
	p.t.Helper()
	if err := os.MkdirAll(pictures, 0o755); err != nil {
		p.t.Fatal(err)
	}
	p.until("pictures", `[...document.images].every((i) => i.complete)`)
	p.until("their places to be theirs before they come",
		`[...document.images].every((i) => i.naturalWidth === 0 || (i.naturalWidth === Number(i.getAttribute('width')) && i.naturalHeight === Number(i.getAttribute('height'))))`)
	for _, scheme := range []string{"light", "dark"} {
		var shot []byte
		p.do("screenshot", page.BringToFront(), emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}),
			chromedp.FullScreenshot(&shot, 90))
		if err := os.WriteFile(filepath.Join(pictures, name+"-"+scheme+".jpg"), shot, 0o644); err != nil {
			p.t.Fatal(err)
		}
		p.accessible(name + ", " + scheme)
	}
}

var axe = sync.OnceValues(func() (string, error) {
	f, err := os.Open("../../../testdata/axe/axe.min.js.gz")
	if err != nil {
		return "", err
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		return "", err
	}
	code, err := io.ReadAll(z)
	return string(code), err
})

// accessible holds the page to what axe-core can check of WCAG 2.2, level AA.
func (p *phone) accessible(what string) {
	p.t.Helper()
	code, err := axe()
	if err != nil {
		p.t.Fatal(err)
	}
	var found struct {
		Violations []struct {
			ID, Help string
			Nodes    []struct{ HTML, FailureSummary string }
		}
		Passes []struct{ ID string }
	}
	var text string
	p.do("axe", chromedp.Evaluate(code+";undefined", nil), chromedp.Evaluate(
		`axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}).then((r) => JSON.stringify({violations: r.violations, passes: r.passes}))`,
		&text, func(e *runtime.EvaluateParams) *runtime.EvaluateParams { return e.WithAwaitPromise(true) }))
	if err := json.Unmarshal([]byte(text), &found); err != nil {
		p.t.Fatal(err)
	}
	for _, v := range found.Violations {
		p.t.Errorf("%s: axe: %s: %s: %+v", what, v.ID, v.Help, v.Nodes)
	}
	if len(found.Passes) < 10 {
		p.t.Errorf("%s: axe checked %d rules only, so it did not see the page", what, len(found.Passes))
	}
}

// quiet checks that nothing went wrong in the page's own code.
func (p *phone) quiet() {
	p.t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, b := range p.bad {
		p.t.Errorf("the page: %s", b)
	}
}

// TestPhones walks through the page as two people with a phone each do.
func TestPhones(t *testing.T) {
	b := start(t, "", 1)
	chromium := browser(t)
	p := newPhone(t, chromium, b.url)
	other := newPhone(t, chromium, b.url)
	p.sees("to do")
	other.sees("to do")
	p.picture("1-list-new")

	p.press("M1")
	p.sees("Do not turn the shaft.")
	p.picture("2-bearing")
	p.photographs(good(t, "M1"))
	p.sees("M1: read")
	// A page that was closed meanwhile finds the reading again.
	p.do("loading the page again", chromedp.Reload())
	p.press("Look at the reading that waits")
	p.sees("M1: read")
	p.sees("limits for new parts: inside")
	p.sees("front end")
	p.picture("3-reading")

	drag(t, p)
	p.press("Accept")
	p.sees("Accepted readings")
	if n := count(b.readings(), `"reading":`); n != 1 {
		t.Errorf("%d readings in the log", n)
	}
	// The other phone is told without asking.
	other.sees("inside its limits")

	p.press("All bearings")
	p.press("M2")
	p.photographs(good(t, "M2"))
	p.sees("M2: read")
	p.press("Take again")
	p.sees("Before the photo")
	if n := count(b.readings(), `"reading":`); n != 1 {
		t.Errorf("%d readings in the log after one was taken again", n)
	}
	p.photographs(noStrip(t, "M2"))
	p.sees("M2: not read")
	p.sees("Lay the card closer to the strip")
	p.picture("4-refused")
	zone(t, p)
	p.press("Back to the bearing")
	p.sees("Before the photo")

	p.press("All bearings")
	p.press("B1")
	p.sees("90 degrees")
	p.do("choosing where the strip lies", chromedp.Click(`input[value="90"]`, chromedp.ByQuery))
	p.photographs(photo(t, scene("B1", 1.7)))
	p.sees("B1: read")
	p.sees("outside, too large")
	p.press("Accept")
	p.sees("90 degrees, read")
	p.press("All bearings")
	p.sees("Bearings")
	p.picture("5-list")
	p.quiet()
	other.quiet()
}

// bare is a build that does not say what the strips lie on.
const bare = `name = "Invented engine"
strip_lot = "invented"
temperature = "20 degC"
[[group]]
name = "mains"
limits_new = "0.020..0.080 mm"
[[group.bearing]]
name = "M1"
`

// TestOtherSideInBrowser: the page asks for a photo from the other side of a strip of
// whose height and tilt one photo shows too little, takes it, and keeps the first
// where the second does not do.
func TestOtherSideInBrowser(t *testing.T) {
	b := startBuild(t, bare, "", 1)
	p := newPhone(t, browser(t), b.url+"/#/b/M1")
	p.sees("Before the photo")
	sample := func(name string) []byte {
		data, err := os.ReadFile(filepath.Join("../../../samples", name))
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	blurred := func(t *testing.T) []byte {
		s := scene("M1", 1.6)
		s.Optics.Blur = 6
		return photo(t, s)
	}
	const otherSide = `label.other-side input`
	p.photographs(sample("cap1-left.jpg"))
	p.sees("M1: read")
	p.sees("A second photo of the same strip and card, untouched, from its other side")
	if text := p.text(); strings.Contains(text, "surface-assumed") || strings.Contains(text, "--") {
		t.Errorf("the page says twice what is asked for, or speaks of the command line's options: %s", text)
	}
	p.picture("9-other-side-asked")

	p.photographsWith(otherSide, sample("cap1-left.jpg"))
	p.sees("This is the first photo once more.")
	p.photographs(blurred(t))
	p.sees("Second photo: the photo is not sharp")
	p.sees("the first photo will do if strip and card lie as they did")
	p.sees("Take the second photo again")
	p.picture("10-second-refused")
	p.press("Back to the first photo's reading")
	p.sees("M1: read")

	p.photographsWith(otherSide, noStrip(t, "M1"))
	p.sees("take the first photo again, too")
	if text := p.text(); strings.Contains(text, "Take the second photo again") {
		t.Errorf("the first photo is kept although the card must be laid anew: %s", text)
	}
	p.press("Back to the bearing")
	p.press("Look at the reading that waits")
	p.sees("M1: read")

	p.photographsWith(otherSide, sample("cap1-right.jpg"))
	p.sees("From both photos together.")
	p.until("no third photo asked for", `!document.querySelector('`+otherSide+`')`)
	p.picture("11-both-sides")
	p.press("Accept")
	p.sees("Accepted readings")
	r := b.folder.View().Journal.Standing()
	if len(r) != 1 || len(r[0].Photos) != 2 {
		t.Errorf("%+v", r)
	}
	p.quiet()
}

// drag moves the first end a third of the strip inwards with a finger, and has the
// photo read again.
func drag(t *testing.T, p *phone) {
	t.Helper()
	var before, after string
	firstEnd := `document.querySelector('dd').innerText`
	p.do("the first end", chromedp.Evaluate(firstEnd, &before))
	p.press("Correct the ends")
	p.sees("Drag the two rings")
	p.picture("6-ends")
	var at [4]float64
	p.do("the rings", chromedp.Evaluate(`[...document.querySelectorAll('.handle')].flatMap((h) => { const b = h.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; })`, &at))
	x, y := at[0]+(at[2]-at[0])/3, at[1]+(at[3]-at[1])/3
	p.do("dragging", chromedp.MouseEvent("mousePressed", at[0], at[1], chromedp.ButtonLeft, chromedp.ClickCount(1)),
		chromedp.MouseEvent("mouseMoved", (at[0]+x)/2, (at[1]+y)/2, chromedp.ButtonLeft),
		chromedp.MouseEvent("mouseMoved", x, y, chromedp.ButtonLeft),
		chromedp.MouseEvent("mouseReleased", x, y, chromedp.ButtonLeft))
	p.press("Read again with this")
	p.sees("ends-by-hand")
	p.do("the first end again", chromedp.Evaluate(firstEnd, &after))
	if before == after || after == "" {
		t.Errorf("the end was %s and is %s after it was moved", before, after)
	}
	p.picture("7-corrected")
}

// zone moves a corner of the zone by keys, and has the refused photo read again.
func zone(t *testing.T, p *phone) {
	t.Helper()
	p.press("Show where to look")
	p.sees("Drag the two rings so that the frame")
	p.do("moving by keys", chromedp.Focus(`.handle`, chromedp.ByQuery), chromedp.KeyEvent("\ue014\ue014"))
	p.press("Read again with this")
	p.until("the answer", `!document.querySelector('.handle')`)
	p.sees("M2: not read")
}

// TestLaptopAway: a photo that does not get through waits on the phone and is sent
// when the laptop is back, even when the page was closed meanwhile.
func TestLaptopAway(t *testing.T) {
	b := start(t, "", 1)
	chromium := browser(t)
	p := newPhone(t, chromium, b.url+"/#/b/M1")
	p.sees("Before the photo")
	address := strings.TrimPrefix(b.url, "http://")
	b.stop()
	p.sees("The laptop does not answer")
	p.photographs(good(t, "M1"))
	p.sees("waits on this phone")
	p.picture("8-away")
	b.serve(address)
	p.sees("M1: read")
	p.until("the laptop", `!document.body.innerText.includes('does not answer')`)

	p.press("Take again")
	p.sees("Before the photo")
	b.stop()
	p.sees("The laptop does not answer")
	p.photographs(photo(t, scene("M1", 1.65)))
	p.sees("waits on this phone")
	p.do("closing the page", chromedp.Navigate("about:blank"))
	b.serve(address)
	p.do("opening it again", chromedp.Navigate(b.url+"/"))
	p.sees("M1: read")
	p.press("Accept")
	p.sees("Accepted readings")
	if n := count(b.readings(), `"reading":`); n != 1 {
		t.Errorf("%d readings in the log", n)
	}
	p.quiet()
}

// TestKeyInBrowser: the address with the key opens the page and the key does not
// stay in it.
func TestKeyInBrowser(t *testing.T) {
	b := start(t, "sesame", 1)
	p := newPhone(t, browser(t), b.url+"/?key=sesame")
	p.sees("to do")
	var at string
	p.do("the address", chromedp.Location(&at))
	if strings.Contains(at, "sesame") {
		t.Errorf("the address is %s", at)
	}
	var nodes []*cdp.Node
	p.do("headings", chromedp.Nodes(`h1`, &nodes, chromedp.ByQueryAll))
	if len(nodes) != 1 {
		t.Errorf("%d headings of the first rank", len(nodes))
	}
	p.quiet()
}
