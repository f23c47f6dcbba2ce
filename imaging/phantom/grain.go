package phantom

import (
	"math"
	"math/rand/v2"
)

// grain is repeatable noise that makes spongy bone look like it: -1 to 1,
// features of about 1.5 to 10 mm.
type grain struct{ lattice []float32 }

const grainSide = 64

func newGrain(seed uint64) *grain {
	r := rand.New(rand.NewPCG(seed, 1))
	g := &grain{lattice: make([]float32, grainSide*grainSide*grainSide)}
	for i := range g.lattice {
		g.lattice[i] = float32(r.Float64()*2 - 1)
	}
	return g
}

func (g *grain) at(x, y, z float64) float64 {
	return 0.3*g.octave(x*0.1+7, y*0.1, z*0.1) + 0.55*g.octave(x*0.28, y*0.28, z*0.28) + 0.6*g.octave(x*0.75+17, y*0.75+5, z*0.75+31)
}

func (g *grain) octave(x, y, z float64) float64 {
	xf, yf, zf := math.Floor(x), math.Floor(y), math.Floor(z)
	x, y, z = x-xf, y-yf, z-zf
	const mask = grainSide - 1
	x0, y0, z0 := int(xf)&mask, int(yf)&mask, int(zf)&mask
	x1, y1, z1 := (x0+1)&mask, (y0+1)&mask, (z0+1)&mask
	v := func(a, b, c int) float64 { return float64(g.lattice[(c*grainSide+b)*grainSide+a]) }
	lerp := func(a, b, t float64) float64 { return a + t*(b-a) }
	return lerp(
		lerp(lerp(v(x0, y0, z0), v(x1, y0, z0), x), lerp(v(x0, y1, z0), v(x1, y1, z0), x), y),
		lerp(lerp(v(x0, y0, z1), v(x1, y0, z1), x), lerp(v(x0, y1, z1), v(x1, y1, z1), x), y), z)
}
