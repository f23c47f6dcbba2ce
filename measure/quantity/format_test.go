package quantity

import (
	"strings"
	"testing"
)

func TestHeadline(t *testing.T) {
	// Rule: whole millimetres and degrees where u95 is above 0.5.
	for _, c := range []struct {
		value, u95 float64
		unit, want string
	}{
		{11.2, 1.9, "mm", "11 ± 2 mm"},
		{-3.4, 2.02, "mm", "-3 ± 2 mm"},
		{72.4, 2.6, "deg", "72 ± 3°"},
		{35.6, 4.2, "px", "36 ± 5 px"},
		{11.24, 0.5, "mm", "11.2 ± 0.5 mm"},
		{11.24, 0.51, "mm", "11 ± 1 mm"},
		{-0.3, 1.2, "mm", "0 ± 2 mm"},
		{-0.04, 0.2, "mm", "0.0 ± 0.2 mm"},
		{3, 0, "1", "3"},
		{0.123, 0.0445, "1", "0.12 ± 0.05"},
		{6.25, 0, "mm", "6.3 mm"},
	} {
		if got := Headline(c.value, c.u95, c.unit); got != c.want {
			t.Errorf("Headline(%g, %g, %q) = %q, want %q", c.value, c.u95, c.unit, got, c.want)
		}
	}
	if got, want := Detail(11.24, 1.91, "mm"), "11.2 ± 2.0 mm"; got != want {
		t.Errorf("Detail = %q, want %q", got, want)
	}
}

func TestRoundUpFollowsGUM(t *testing.T) {
	// JCGM 100:2008, 7.2.6: 10.47 mΩ might be rounded up to 11 mΩ; 28.05 kHz
	// should be rounded down to 28 kHz.
	for in, want := range map[float64]float64{10.47: 11, 28.05: 28} {
		if got := RoundUp(in, 0); got != want {
			t.Errorf("RoundUp(%g) = %g, want %g", in, got, want)
		}
	}
}

func TestWords(t *testing.T) {
	for name, w := range words {
		if Words(name) == name || strings.Contains(w, "bone") || len(w) > 30 {
			t.Errorf("%s: %q is not short plain words", name, w)
		}
	}
	if Against(0.1) != "beyond margin" || Against(-0.1) != "short of margin" {
		t.Error("depth is positive beyond the margin")
	}
}
