package quantity

import (
	"strings"
	"testing"
)

func even95(quantity string, value, u95 float64, unit string) Measured {
	return Measured{Quantity: quantity, Value: value, Unit: unit, HasU: u95 > 0, Lo: value - u95, Hi: value + u95}
}

const tip = "tip-depth-along-needle"

// Wanted texts are written by hand from the rules: whole millimetres and
// degrees where u95 is above 0.5, u95 rounded up.
func TestHeadline(t *testing.T) {
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
		if got := even95("crossing", c.value, c.u95, c.unit).Headline(); got != c.want {
			t.Errorf("%g, u95 %g, %q reads %q, want %q", c.value, c.u95, c.unit, got, c.want)
		}
	}
	if got, want := even95("crossing", 11.24, 1.91, "mm").Detail(), "11.2 ± 2.0 mm"; got != want {
		t.Errorf("in full %q, want %q", got, want)
	}
}

// The sign is told in words; a depth whose interval holds zero lies at the
// margin; and rounding does not make an interval reach the margin that lies
// clear of it.
func TestSignInWords(t *testing.T) {
	for _, c := range []struct {
		quantity   string
		value, u95 float64
		want       string
	}{
		{tip, 11.2, 1.9, "11 ± 2 mm beyond margin"},
		{tip, -6.2, 1.9, "6 ± 2 mm short of margin"},
		{tip, 0.3, 1.8, "0 ± 2 mm, at the ventral margin"},
		{tip, 1.2, 1.8, "1 ± 2 mm beyond, at the ventral margin"},
		{tip, -3.4, 3.6, "3 ± 4 mm short, at the ventral margin"},
		{tip, 2.7, 2.3, "3 ± 2 mm beyond margin"}, // 0.4 to 5.0: never 3 ± 3
		{tip, -2.4, 1.8, "2 ± 2 mm short of margin"},
		{tip, 5.7, 2.3, "6 ± 3 mm beyond margin"}, // up, as nothing hangs on it
		{tip, 0.42, 0.38, "0.4 ± 0.4 mm beyond margin"},
		{"entry-from-foramen-medial", -2.2, 2.6, "2 ± 3 mm medial to it"},
		{"entry-from-foramen-superior", 3.3, 6.2, "3 ± 7 mm caudal to it"},
		{"entry-offset-midline", 0.3, 1.6, "0 ± 2 mm"},
		{"depth-change", -4.1, 1, "4 ± 1 mm shallower"},
	} {
		if got := even95(c.quantity, c.value, c.u95, "mm").Headline(); got != c.want {
			t.Errorf("%s %g, u95 %g reads %q, want %q", c.quantity, c.value, c.u95, got, c.want)
		}
	}
	if m := even95(tip, -6.2, 1.9, "mm"); m.Figure() != "6 ± 2 mm" || m.WhereVentral() != "short of the ventral margin" || m.Bare() != "6 ± 2" {
		t.Errorf("%q, %q, %q", m.Figure(), m.WhereVentral(), m.Bare())
	}
	if m := even95(tip, 1.2, 1.9, "mm"); m.WhereVentral() != "beyond, at the ventral margin" {
		t.Errorf("%q", m.WhereVentral())
	}
}

// An interval that is not even about its value is told by its ends, and a
// magnified length never without what it may be at the sacrum.
func TestUnevenAndMagnified(t *testing.T) {
	const detector = "on the detector, magnified"
	for _, c := range []struct {
		m            Measured
		want, figure string
	}{
		{Measured{Quantity: "insertion-angle-fusion", Value: 3, Unit: "deg", HasU: true, Lo: 0, Hi: 8.6}, "3° (0 to 9°)", "3° (0 to 9°)"},
		// 4.1 and 4.0 to either side differ by less than 5 %.
		{Measured{Quantity: tip, Value: 10, Unit: "mm", HasU: true, Lo: 5.9, Hi: 14}, "10 ± 4 mm beyond margin", "10 ± 4 mm"},
		{Measured{Quantity: tip, Value: 17, Unit: "mm", HasU: true, Lo: 7.2, Hi: 20, Magnified: detector},
			"17 mm on the detector, magnified; 7 to 20 mm at the sacrum, beyond margin", "7 to 20 mm"},
		{Measured{Quantity: tip, Value: -17, Unit: "mm", HasU: true, Lo: -20, Hi: -7.2, Magnified: detector},
			"17 mm on the detector, magnified; 7 to 20 mm at the sacrum, short of margin", "7 to 20 mm"},
		{Measured{Quantity: tip, Value: 2, Unit: "mm", HasU: true, Lo: -1, Hi: 5, Magnified: detector},
			"2 mm on the detector, magnified; 1 mm short to 5 mm beyond at the sacrum", "1 mm short to 5 mm beyond"},
		{Measured{Quantity: "crossing", Value: 40, Unit: "mm", HasU: true, Lo: 18, Hi: 44, Magnified: detector},
			"40 mm on the detector, magnified; 18 to 44 mm at the sacrum", "18 to 44 mm"},
	} {
		if got := c.m.Headline(); got != c.want {
			t.Errorf("%+v reads %q, want %q", c.m, got, c.want)
		}
		if got := c.m.Figure(); got != c.figure {
			t.Errorf("%+v has the figure %q, want %q", c.m, got, c.figure)
		}
	}
}

func TestSeries(t *testing.T) {
	lead := func(u95 float64, depths ...float64) (all []Measured) {
		for _, d := range depths {
			all = append(all, even95("contact-depth", d, u95, "mm"))
		}
		return all
	}
	detector := lead(3, 12, 6)
	for i := range detector {
		detector[i].Magnified, detector[i].Lo = "on the detector, magnified", detector[i].Value/2-1.5
	}
	for want, all := range map[string][]Measured{
		"25, 20, 13, 6 mm beyond, each ± 3 mm at most":                                                     lead(2.6, 24.8, 19.7, 13.2, 5.8),
		"14 mm beyond, 0 mm, 6 mm short, each ± 2 mm at most":                                              lead(1.8, 14.2, 0.3, -5.8),
		"4 mm short, ± 2 mm":                                                                               lead(1.8, -4),
		"2.1, 1.4 mm beyond, 0.2 mm short, each ± 0.3 mm at most":                                          lead(0.3, 2.1, 1.4, -0.2),
		"12, 6 mm on the detector, magnified; 4 to 15, 1 to 9 mm at the sacrum, beyond the ventral margin": detector,
	} {
		if got := Series(all); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
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

// Whatever the figures, the printed interval reaches zero where the interval
// does, and never lies across zero where the interval does not.
func TestRoundingKeepsTheSideOfZero(t *testing.T) {
	for value := -6.0; value < 6; value += 0.083 {
		for u95 := 0.03; u95 < 6; u95 += 0.037 {
			m := even95(tip, value, u95, "mm")
			n := decimals(m, false)
			size, half := m.Value, m.rounded(n)
			if size < 0 {
				size = -size
			}
			size = outward(size, n, func(v float64) float64 { return float64(int(v + 0.5)) })
			switch {
			case m.SpansZero() && size > half+1e-9:
				t.Errorf("%g, u95 %g is printed as %g ± %g, clear of zero", value, u95, size, half)
			case !m.SpansZero() && size < half-1e-9:
				t.Errorf("%g, u95 %g is printed as %g ± %g, across zero", value, u95, size, half)
			}
		}
	}
}

func TestWords(t *testing.T) {
	for name, w := range words {
		if Words(name) == name || strings.Contains(w, "bone") || len(w) > 30 {
			t.Errorf("%s: %q is not short plain words", name, w)
		}
	}
	for name := range ways {
		if _, ok := words[name]; !ok {
			t.Errorf("%s is no quantity", name)
		}
	}
	if got := Class("frontal-deflection", "0-30"); got != "0-30 degrees, published class" {
		t.Error(got)
	}
	if got := Class("contact-depth", "astride"); got != "astride" {
		t.Error(got)
	}
}

// 3.1 in 0.6 to 5.4 keeps off zero, and 3 ± 3 would not: it is told by its ends,
// rounded outward but not onto zero.
func TestUnevenKeepsOffZero(t *testing.T) {
	m := Measured{Quantity: "tip-depth-along-needle", Value: 3.145, Unit: "mm", HasU: true, Lo: 0.61, Hi: 5.34}
	if got, want := m.Figure(), "3 mm (1 to 6 mm)"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
