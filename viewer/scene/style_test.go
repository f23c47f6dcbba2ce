package scene

import (
	"fmt"
	"image/color"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Machado, Oliveira, Fernandes, "A Physiologically-based Model for Simulation
// of Color Vision Deficiency", IEEE TVCG 2009;15(6):1291-1298, table 1,
// severity 1.0, on linear RGB.
var sight = map[string][3][3]float64{
	"full colour":  {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
	"protanopia":   {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	"deuteranopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
	"tritanopia":   {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
}

// linear RGB by IEC 61966-2-1.
func linear(c color.NRGBA) [3]float64 {
	var out [3]float64
	for i, v := range []uint8{c.R, c.G, c.B} {
		x := float64(v) / 255
		if x <= 0.04045 {
			out[i] = x / 12.92
		} else {
			out[i] = math.Pow((x+0.055)/1.055, 2.4)
		}
	}
	return out
}

// lab is CIE 1976 L*a*b* for D65 of linear RGB seen through the matrix.
func lab(c color.NRGBA, m [3][3]float64) [3]float64 {
	l := linear(c)
	var s [3]float64
	for i := range s {
		s[i] = math.Max(0, math.Min(1, m[i][0]*l[0]+m[i][1]*l[1]+m[i][2]*l[2]))
	}
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return t*841/108 + 4.0/29
	}
	x := f((0.4124*s[0] + 0.3576*s[1] + 0.1805*s[2]) / 0.95047)
	y := f(0.2126*s[0] + 0.7152*s[1] + 0.0722*s[2])
	z := f((0.0193*s[0] + 0.1192*s[1] + 0.9505*s[2]) / 1.08883)
	return [3]float64{116*y - 16, 500 * (x - y), 200 * (y - z)}
}

func difference(a, b color.NRGBA, m [3][3]float64) float64 {
	p, q := lab(a, m), lab(b, m)
	return math.Sqrt((p[0]-q[0])*(p[0]-q[0]) + (p[1]-q[1])*(p[1]-q[1]) + (p[2]-q[2])*(p[2]-q[2]))
}

// A just noticeable difference is about 2.3 (Mahy et al., Color Res Appl
// 1994;19:105-121). Thin lines on a grey film need several times that; the
// caution colour and the first two needles, which nearly every case has, more.
func TestColoursHoldForColourBlindEyes(t *testing.T) {
	for eyes, m := range sight {
		for i := 1; i <= 4; i++ {
			a := Style(fmt.Sprintf("N%d", i)).Color
			if d := difference(a, Vermillion, m); d < 25 {
				t.Errorf("%s: N%d and a caution differ by %.1f", eyes, i, d)
			}
			for j := i + 1; j <= 4; j++ {
				least := 15.0
				if i == 1 && j == 2 {
					least = 40
				}
				if d := difference(a, Style(fmt.Sprintf("N%d", j)).Color, m); d < least {
					t.Errorf("%s: N%d and N%d differ by %.1f", eyes, i, j, d)
				}
			}
		}
	}
}

func TestDevicesDifferWithoutColour(t *testing.T) {
	for _, kind := range "NWL" {
		for i := 1; i <= 4; i++ {
			for j := i + 1; j <= 4; j++ {
				a, b := Style(fmt.Sprintf("%c%d", kind, i)), Style(fmt.Sprintf("%c%d", kind, j))
				if a.Color == b.Color || a.Tip == b.Tip || fmt.Sprint(a.Dash) == fmt.Sprint(b.Dash) {
					t.Errorf("%c%d and %c%d share colour, tip or pattern", kind, i, kind, j)
				}
			}
		}
	}
	for _, object := range []string{"N1", "N2", "W1", "L1"} {
		a, b := Style(object), Style(object+".2")
		if a.Color != b.Color || a.Tip != b.Tip {
			t.Errorf("%s and its second position should look like one device", object)
		}
		if fmt.Sprint(a.Dash) == fmt.Sprint(b.Dash) {
			t.Errorf("%s and its second position share their pattern", object)
		}
	}
	for _, odd := range []string{"", "N", "x", "N0", "N1.", "N99999999999", "ß2.1"} {
		Style(odd) // any name gives some style
	}
}

// WCAG 2.1, 1.4.3: contrast of text is at least 4.5 to 1.
func TestWordsReadOnTheirGround(t *testing.T) {
	luminance := func(c color.NRGBA) float64 {
		l := linear(c)
		return 0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2]
	}
	for _, ground := range []color.NRGBA{Ground, Dark} {
		for name, c := range map[string]color.NRGBA{"white": White, "grey": Grey, "bone": Bone, "mist": Mist, "caution": Vermillion,
			"N1": Style("N1").Color, "N2": Style("N2").Color, "N3": Style("N3").Color, "N4": Style("N4").Color} {
			if ratio := (luminance(c) + 0.05) / (luminance(ground) + 0.05); ratio < 4.5 {
				t.Errorf("%s on %v: contrast %.2f", name, ground, ratio)
			}
		}
	}
}

func TestDashesCoverWhatThePatternSays(t *testing.T) {
	length := func(pieces [][]r2.Vec) (sum float64) {
		for _, p := range pieces {
			for i := 1; i < len(p); i++ {
				sum += r2.Norm(r2.Sub(p[i], p[i-1]))
			}
		}
		return sum
	}
	all := Box(-1000, -1000, 2000, 2000)
	// A bent line of 190 units is ten periods of 12 ink and 7 gap.
	pts := []r2.Vec{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 90}}
	pieces := cut(pts, false, Dashed, 1, all)
	if len(pieces) != 10 || math.Abs(length(pieces)-120) > 1e-9 {
		t.Errorf("%d pieces of %g in all, want 10 of 120", len(pieces), length(pieces))
	}
	if got := length(cut(pts, false, Dashed, 2, all)); math.Abs(got-120) > 1e-9 {
		t.Errorf("at twice the size five periods ink %g, want 120", got)
	}
	// A closed square of 4 by 19 inks the same share.
	square := []r2.Vec{{}, {X: 19}, {X: 19, Y: 19}, {Y: 19}}
	if got := length(cut(square, true, Dashed, 1, all)); math.Abs(got-48) > 1e-9 {
		t.Errorf("a closed outline of 76 inks %g, want 48", got)
	}
	// Seen through a window far along a long line, the pattern is the same as on
	// the whole of it: period 19 from 0 on, so 12 of ink from 19 * 10000.
	far := []r2.Vec{{X: 0, Y: 5}, {X: 400000, Y: 5}}
	got := cut(far, false, Dashed, 1, Box(190000, 0, 38, 10))
	if len(got) > 6 {
		t.Errorf("%d pieces for a window of two periods", len(got))
	}
	found := false
	for _, p := range got {
		found = found || math.Abs(p[0].X-190000) < 1e-6 && math.Abs(p[len(p)-1].X-190012) < 1e-6
	}
	if !found {
		t.Errorf("no dash from 190000 to 190012 in %v", got)
	}
	if got := cut([]r2.Vec{{X: 1, Y: 1}, {X: 1, Y: 1}}, false, Dashed, 1, all); length(got) != 0 {
		t.Errorf("two points in one place ink %v", got)
	}
}
