package calib

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// somePhones are two made-up profiles, the second without a focal length.
func somePhones() []Phone {
	cov := mat.NewSymDense(4, []float64{
		2.5e-5, 1e-7, 2e-4, -1e-4,
		1e-7, 1e-6, 1e-5, 0,
		2e-4, 1e-5, 4, 0.3,
		-1e-4, 0, 0.3, 9,
	})
	return []Phone{
		{PhoneKey{"Maker", "Phone \"7\"", 5.43, 26, 4000, 3000}, Camera{F: 3012.3, CX: 2003.1, CY: 1488.2, K1: -0.0123}, cov, 6},
		{PhoneKey{"Maker", "Phone 8", 0, 0, 4000, 3000}, Camera{F: 2900, CX: 1999.5, CY: 1499.5}, cov, 4},
	}
}

func TestPhonesRoundTrip(t *testing.T) {
	want := somePhones()
	text, err := FormatPhones(want)
	if err != nil {
		t.Fatal(err)
	}
	got, err := ParsePhones(text, "phones.toml")
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	if len(got) != len(want) {
		t.Fatalf("%d phones, want %d", len(got), len(want))
	}
	for i := range want {
		if got[i].Key != want[i].Key || got[i].Camera != want[i].Camera || got[i].Photos != want[i].Photos {
			t.Errorf("%+v, want %+v", got[i], want[i])
		}
		if !mat.EqualApprox(got[i].Cov, want[i].Cov, 1e-15) {
			t.Errorf("covariance %v, want %v", mat.Formatted(got[i].Cov), mat.Formatted(want[i].Cov))
		}
	}
	if p, ok := FindPhone(got, want[1].Key); !ok || p.Camera.F != 2900 {
		t.Errorf("found %+v, %v", p, ok)
	}
	other := want[0].Key
	other.Focal35MM = 52 // digital zoom
	if _, ok := FindPhone(got, other); ok {
		t.Error("a profile is found for another zoom")
	}
	if none, err := ParsePhones(nil, "phones.toml"); err != nil || len(none) != 0 {
		t.Errorf("an empty file: %v, %v", none, err)
	}
}

func TestParsePhonesRefuses(t *testing.T) {
	text, err := FormatPhones(somePhones()[:1])
	if err != nil {
		t.Fatal(err)
	}
	good := string(text[len(phoneFileHead):])
	line := func(key string) string {
		i := strings.Index(good, "\n"+key+" = ") + 1
		return good[i : i+strings.Index(good[i:], "\n")+1]
	}
	bad := []struct{ name, text, want string }{
		{"unknown key", good + "colour = 1\n", "p.toml:18:1: unknown key phone.colour"},
		{"missing key", strings.Replace(good, line("k1"), "", 1), "p.toml:1:3: phone 1: k1: missing"},
		{"missing figure that may be 0", strings.Replace(good, line("cx_px"), "", 1), "phone 1: cx_px: missing"},
		{"no model", strings.Replace(good, line("model"), "model = ' '\n", 1), "p.toml:3:1: phone 1: model: empty"},
		{"F 0", strings.Replace(good, line("f_px"), "f_px = 0.0\n", 1), "f_px: 0 is not possible"},
		{"F not a number", strings.Replace(good, line("f_px"), "f_px = nan\n", 1), "f_px: NaN is not possible"},
		{"infinite", strings.Replace(good, line("cx_px"), "cx_px = inf\n", 1), "cx_px: +Inf is not possible"},
		{"u 0", strings.Replace(good, line("k1_u"), "k1_u = 0.0\n", 1), "k1_u: 0 is not possible"},
		{"3 photos", strings.Replace(good, line("photos"), "photos = 3\n", 1), "photos: 3 is not possible"},
		{"text", strings.Replace(good, line("photos"), "photos = 'six'\n", 1), "p.toml:8:"},
		{"5 correlations", strings.Replace(good, line("correlation"), "correlation = [0,0,0,0,0]\n", 1), "correlation: 5 numbers, must be 6"},
		{"correlation 1", strings.Replace(good, line("correlation"), "correlation = [1,0,0,0,0,0]\n", 1), "correlation: 1 lies outside"},
		{"impossible together", strings.Replace(good, line("correlation"), "correlation = [0.9,0.9,0,-0.9,0,0]\n", 1), "not positive definite"},
		{"twice", good + good, "phone 2: model: the same phone, lens and size stand above"},
		{"repeated key", good + line("k1"), "p.toml:18:"},
		{"too long", strings.Repeat("#", phoneFormat.MaxBytes+1), "at most"},
	}
	if _, err := ParsePhones([]byte(good), "p.toml"); err != nil {
		t.Fatal(err)
	}
	for _, b := range bad {
		if _, err := ParsePhones([]byte(b.text), "p.toml"); err == nil || !strings.Contains(err.Error(), b.want) {
			t.Errorf("%s: %v, want %q", b.name, err, b.want)
		}
	}
}

// TestPhonePrior: 0.5 % of the profile and 1 % of focusing make 1.12 %, and 2 px
// with 0.1 % of 4000 px make 4.47 px; covariances stay.
func TestPhonePrior(t *testing.T) {
	p := somePhones()[0]
	prior := p.Prior()
	if math.Abs(prior.FRel-math.Sqrt(1.25e-4)) > 1e-12 || math.Abs(prior.CXSD-math.Sqrt(20)) > 1e-12 || math.Abs(prior.K1SD-0.001) > 1e-12 {
		t.Errorf("sd %g, %g px, %g", prior.FRel, prior.CXSD, prior.K1SD)
	}
	if got := prior.Corr.At(0, 2) * prior.FRel * prior.CXSD; math.Abs(got-2e-4) > 1e-15 {
		t.Errorf("covariance of ln F and CX %g, want 2e-4", got)
	}
	if prior.F != p.Camera.F || *prior.Principal != (PixelPoint{p.Camera.CX, p.Camera.CY}) || prior.K1 != p.Camera.K1 {
		t.Errorf("prior %+v of %+v", prior, p.Camera)
	}
}
