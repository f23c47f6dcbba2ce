package vision

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging/phantom"
)

// The round field of the made-up films: 228 mm across on pixels of 0.225 mm, about
// the image's centre.
func TestField(t *testing.T) {
	p := pictureOf(t, bodyFrom(t, 0).Film(phantom.Exposure{Seed: 8}))
	f := findField(p)
	if f.shape != "circular" || math.Abs(f.radius-228/0.225/2) > 5 || r2.Norm(r2.Sub(f.centre, r2.Vec{X: 512, Y: 512})) > 2 {
		t.Errorf("%s, radius %.1f about %v", f.shape, f.radius, f.centre)
	}
	shutter := plain(func(x float64) float64 {
		if x < 40 || x > 200 {
			return 0
		}
		return 1000 + 3*x
	}, 0, 1)
	if f := findField(shutter); f.shape != "rectangular" || f.from.X != 40 || f.to.X != 200 {
		t.Errorf("shutters: %s from %v to %v", f.shape, f.from, f.to)
	}
}

// Noise and blur as they were put in: white noise of 30, edges spread by 1.5 and 3
// pixels.
func TestNoiseAndBlur(t *testing.T) {
	for _, s := range []float64{1.5, 3} {
		p := plain(func(x float64) float64 {
			return 1000 + 600*(normalCDF((x-60)/s)-normalCDF((x-120)/s)+normalCDF((x-190)/s))
		}, 30, 3)
		f := findField(p)
		noise, _ := grainOf(p, f)
		if math.Abs(noise-30) > 2 {
			t.Errorf("noise of 30 told as %.1f", noise)
		}
		if got, ok := blurOf(p, f, noise); !ok || math.Abs(got-s) > 0.35*s {
			t.Errorf("edges spread by %g told as %.2f (%v)", s, got, ok)
		}
	}
}

// Frames that jump by 3 px after the fourth of seven: the first four lie still.
func TestStillSpan(t *testing.T) {
	var run []Picture
	for k := range 7 {
		at := 128.0
		if k >= 4 {
			at += 3
		}
		p := plain(func(x float64) float64 { return 1000 + 400*normalCDF((x-at)/4) }, 20, uint64(k))
		// Something that varies down the columns too.
		for i := range p.V {
			p.V[i] += float32(100 * math.Sin(float64(i/256)/15))
		}
		run = append(run, p)
	}
	from, to, most := stillSpan(run, findField(run[0]))
	if from != 0 || to != 3 || math.Abs(most-3) > 0.3 {
		t.Errorf("frames %d to %d still, motion %.2f", from, to, most)
	}
}
