package phantom

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging/carm"
)

// Mass attenuation coefficients (cm2/g) at 60 keV as tables 3 and 4 of NISTIR 5632
// (Hubbell and Seltzer) have them; densities (g/cm3) of its table 2 from memory,
// that of steel common practice.
func TestAttenuationAgainstNIST(t *testing.T) {
	for name, c := range map[string]struct{ got, massCoefficient, density float64 }{
		"Bone, Cortical (ICRU-44)": {boneAttenuation, 3.148e-1, 1.92},
		"Tissue, Soft (ICRU-44)":   {softAttenuation, 2.048e-1, 1.06},
		"Adipose Tissue (ICRU-44)": {fatAttenuation, 1.974e-1, 0.95},
		"Iron, as dense as steel":  {steelAttenuation, 1.205, 8.0},
		"Polymethyl Methacrylate":  {hubAttenuation, 1.924e-1, 1.19},
	} {
		if math.Abs(c.got-c.massCoefficient*c.density) > 1e-9 {
			t.Errorf("%s: %g 1/cm", name, c.got)
		}
	}
	if effectiveEnergy != 60 {
		t.Error("the table's row is that of 60 keV")
	}
}

func camera(t *testing.T, primary float64) carm.Camera {
	t.Helper()
	c, err := carm.FromGeometry(geometry(primary, 0))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// A ray square to the shaft through its axis passes a diameter of steel in place
// of soft tissue: exp(-mu d), by Beer and Lambert.
func TestShaftAttenuates(t *testing.T) {
	n := needle{tip: r3.Vec{}, hub: r3.Vec{Y: needleLength}}
	want := 2 * needleRadius / 10 * (1.205*8 - 0.2048*1.06)
	at := func(x, y float64) float64 {
		return n.attenuation(r3.Vec{X: x, Y: y, Z: -500}, r3.Vec{Z: 1})
	}
	if got := at(0, 40); math.Abs(got-want) > 1e-12 {
		t.Errorf("through the axis %g, want %g", got, want)
	}
	half := want * math.Sqrt(1-0.25)
	if got := at(needleRadius/2, 40); math.Abs(got-half) > 1e-12 {
		t.Errorf("half a radius off %g, want %g", got, half)
	}
	for _, p := range [][2]float64{{needleRadius + 0.01, 40}, {0, -0.5}, {0, 130}} {
		if got := at(p[0], p[1]); got != 0 {
			t.Errorf("beside the needle at %v: %g", p, got)
		}
	}
}

// The grid's line integral against the same line stepped finely through the
// field itself. Where a ray grazes a cortex the grid's 0.5 mm cannot follow the
// 0.8 mm rise of bone (linear interpolation is off by up to h^2/8 of its second
// derivative, 0.3 of bone, over a centimetre or two of 0.39/cm), so single rays
// may differ by a tenth; there must be no bias, and little spread.
func TestVolumeHoldsTheAnatomy(t *testing.T) {
	a := newAnatomy(newMidline())
	// A block about S2 to S4 is enough.
	low, high := r3.Vec{X: -45, Y: -30, Z: -40}, r3.Vec{X: 20, Y: 25, Z: 10}
	v := newVolume(a, low, high, func(float64) {})
	c := camera(t, 90)
	r := rand.New(rand.NewPCG(5, 6))
	var sum, squares float64
	const rays = 200
	for range rays {
		o, d := c.Ray(r2.Vec{X: 430 + 180*r.Float64(), Y: 470 + 240*r.Float64()})
		want := 0.0
		const h = 0.1
		for s := 550.0; s < 850; s += h {
			p := r3.Add(o, r3.Scale(s+h/2, d))
			if p.X < low.X || p.X > high.X || p.Y < low.Y || p.Y > high.Y || p.Z < low.Z || p.Z > high.Z {
				continue
			}
			col := a.column(p.Y, p.Z)
			mu := a.fraction(&col, p.X) * (0.3148*1.92 - 0.2048*1.06)
			if mu == 0 {
				mu = -gasAt(p.X, p.Y, p.Z, a.grain) * 0.2048 * 1.06
			}
			want += mu * h / 10
		}
		off := v.integral(o, d) - want
		sum += off
		squares += off * off
	}
	bias, spread := sum/rays, math.Sqrt(squares/rays)
	// The bias of 200 rays of such spread has a standard error of 0.0025.
	if math.Abs(bias) > 0.0075 || spread > 0.035 {
		t.Errorf("grid less field: bias %.4f, spread %.4f", bias, spread)
	} else {
		t.Logf("grid less field: bias %.4f, spread %.4f", bias, spread)
	}
}

// Quantum noise: the counts of a flat field have the mean the exposure control
// sets and, being Poisson, a variance as large, less what spreading the light
// takes: the sum of the squares of its kernel.
func TestNoiseIsPoisson(t *testing.T) {
	flat := newPlate(filmSide / 2)
	for i := range flat.v {
		flat.v[i] = 4
	}
	p := counts(camera(t, 180), flat, nil, 9)
	var v []float64
	for j := 480; j < 544; j++ { // the middle, where the beam is even
		v = append(v, p.v[j*filmSide+480:j*filmSide+544]...)
	}
	mean := 0.0
	for _, x := range v {
		mean += x / float64(len(v))
	}
	variance := 0.0
	for _, x := range v {
		variance += sq(x-mean) / float64(len(v)-1)
	}
	// A Gaussian of 0.55 px on whole pixels, normalised, in each direction.
	sum, squares := 0.0, 0.0
	for k := -3.0; k <= 3; k++ {
		w := math.Exp(-k * k / (2 * 0.55 * 0.55))
		sum += w
		squares += w * w
	}
	share := sq(squares / (sum * sum))
	// 4096 samples, neighbours correlated: about 3 % of standard deviation.
	if ratio := variance / (mean * share); math.Abs(ratio-1) > 0.1 {
		t.Errorf("variance over mean is %.3f of Poisson's", ratio)
	}
	// The level is the median over the middle ninth, the beam's middle is a
	// little above it.
	if mean < quanta || mean > 1.06*quanta {
		t.Errorf("mean count %.0f, the exposure control aims at %g", mean, quanta)
	}
}

func TestExposureIsRepeatable(t *testing.T) {
	m := newMidline()
	back := newPlate(filmSide / 2)
	c := camera(t, 90)
	needles := []needle{plans[0].place(m)}
	a, b := expose(c, back, needles, 3), expose(c, back, needles, 3)
	if !slices.Equal(a, b) {
		t.Error("the same film twice differs")
	}
	// Black outside the round field, and twelve bits.
	if a[0] != 0 || slices.Max(a) > 4095 {
		t.Errorf("corner %d, largest %d", a[0], slices.Max(a))
	}
}
