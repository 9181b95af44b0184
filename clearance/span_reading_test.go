package clearance

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

func TestSpansFor(t *testing.T) {
	usual := CommonSpans()
	for _, c := range []struct {
		lo, hi float64 // inch
		want   []int
		advice string
	}{
		{0.0012, 0.0018, []int{0}, "use a strip made for 0.025..0.076 mm (0.0010..0.0030 in)"},
		{0.0021, 0.0022, []int{0, 1}, "0.0010..0.0030 in"},
		{0.0027, 0.0029, []int{1, 0}, "0.0020..0.0060 in"},
		{0.0045, 0.0055, []int{2, 1}, "0.0040..0.0090 in"},
		{0.001, 0.003, []int{0}, "0.0010..0.0030 in"},
		{0.0005, 0.0008, nil, "no strip is made"},
		{0.025, 0.026, nil, "no strip is made"},
		{0.0015, 0.005, nil, "no strip is made"},
	} {
		span := Limits{c.lo * inch, c.hi * inch}
		got, err := SpansFor(span, usual)
		if err != nil || fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%v..%v in: %v, %v; want %v", c.lo, c.hi, got, err, c.want)
		}
		if advice, err := SpanAdvice(span, usual); err != nil || !strings.Contains(advice, c.advice) {
			t.Errorf("%v..%v in: %q, %v", c.lo, c.hi, advice, err)
		}
	}
	for _, bad := range []Limits{{-1, 1}, {2, 1}, {0, inf}, {math.NaN(), 1}} {
		if got, err := SpansFor(bad, usual); err == nil {
			t.Errorf("%v: %v", bad, got)
		}
	}
	if got, err := SpansFor(Limits{0.02, 0.03}, []Span{{0, 1}}); err == nil {
		t.Errorf("span from 0: %v", got)
	}
}
