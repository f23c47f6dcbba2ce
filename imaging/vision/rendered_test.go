package vision

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"
)

// rodScene is a round metal rod on an even picture, by its own arithmetic: the
// solid is sampled along each ray, pixels are averaged over their area and then
// spread by a Gaussian. It shares nothing with the model that is fitted.
type rodScene struct {
	side          int
	tip           r2.Vec  // axis level with the farthest metal, SR coordinates
	angle         float64 // radians, direction from hub to tip
	length, width float64 // pixels
	kind          pointKind
	ground        float64 // length of the ground part, pixels
	turn          float64 // cosine of the roll of the bevel's edge against +t
	depth, blur   float64 // grey values of the middle before blur; pixels
}

// clean picture without noise.
func (c rodScene) clean() Picture {
	const parts = 3
	const layers = 48
	n := c.side * parts
	fine := make([]float64, n*n)
	dir := r2.Vec{X: math.Cos(c.angle), Y: math.Sin(c.angle)}
	nor := r2.Vec{X: -dir.Y, Y: dir.X}
	r := c.width / 2
	roll := math.Acos(math.Max(-1, math.Min(1, c.turn)))
	for j := range n {
		for i := range n {
			q := r2.Sub(r2.Vec{X: (float64(i) + 0.5) / parts, Y: (float64(j) + 0.5) / parts}, c.tip)
			s, t := r2.Dot(q, dir), r2.Dot(q, nor)
			if s > 0 || s < -c.length || math.Abs(t) >= r {
				continue
			}
			half := math.Sqrt(r*r - t*t)
			if -s >= c.ground || c.kind == blunt {
				fine[j*n+i] = half / r
				continue
			}
			hit := 0
			for k := range layers {
				z := -half + 2*half*(float64(k)+0.5)/layers
				in := false
				switch c.kind {
				case bevel:
					// The plane through the farthest metal at the wall and the
					// opposite wall ground behind it.
					h := t*math.Cos(roll) + z*math.Sin(roll)
					in = -s >= c.ground*(r-h)/(2*r)
				case cone:
					in = math.Hypot(t, z) <= r*-s/c.ground
				}
				if in {
					hit++
				}
			}
			fine[j*n+i] = half / r * float64(hit) / layers
		}
	}
	sigma := c.blur * parts
	reach := int(4.5 * sigma)
	kernel := make([]float64, 2*reach+1)
	sum := 0.0
	for k := range kernel {
		kernel[k] = math.Exp(-math.Pow(float64(k-reach), 2) / (2 * sigma * sigma))
		sum += kernel[k]
	}
	pass := func(src []float64, step, across int) []float64 {
		dst := make([]float64, len(src))
		for l := range n {
			for i := range n {
				v := src[l*across+i*step]
				if v == 0 {
					continue
				}
				for k := max(0, i-reach); k <= min(n-1, i+reach); k++ {
					dst[l*across+k*step] += v * kernel[k-i+reach] / sum
				}
			}
		}
		return dst
	}
	fine = pass(pass(fine, 1, n), n, 1)
	p := Picture{c.side, c.side, make([]float32, c.side*c.side)}
	for j := range n {
		for i := range n {
			p.V[j/parts*c.side+i/parts] -= float32(c.depth * fine[j*n+i] / (parts * parts))
		}
	}
	return p
}

// noisy adds a sloped background and Gaussian noise of this standard deviation
// that spread, a Gaussian's sigma in pixels, binds together; 0 is white.
func (p Picture) noisy(sd, spread float64, seed uint64) Picture {
	rng := rand.New(rand.NewPCG(seed, 5))
	out := Picture{p.Columns, p.Rows, make([]float32, len(p.V))}
	raw := make([]float64, len(p.V))
	for i := range raw {
		raw[i] = rng.NormFloat64()
	}
	if spread > 0 {
		reach := int(4*spread) + 1
		kernel := make([]float64, 2*reach+1)
		sum := 0.0
		for k := range kernel {
			kernel[k] = math.Exp(-math.Pow(float64(k-reach), 2) / (2 * spread * spread))
			sum += kernel[k] * kernel[k]
		}
		for i := range kernel {
			kernel[i] /= math.Sqrt(sum)
		}
		pass := func(src []float64, step, lines, across, n int) []float64 {
			dst := make([]float64, len(src))
			for l := range lines {
				for i := range n {
					for k, w := range kernel {
						dst[l*across+i*step] += w * src[l*across+(i+k-reach+n)%n*step]
					}
				}
			}
			return dst
		}
		raw = pass(raw, 1, p.Rows, p.Columns, p.Columns)
		raw = pass(raw, p.Columns, p.Columns, 1, p.Rows)
	}
	a, b := rng.Float64()*0.4-0.2, rng.Float64()*0.4-0.2
	for i := range out.V {
		x, y := float64(i%p.Columns), float64(i/p.Columns)
		out.V[i] = p.V[i] + float32(2000+a*x+b*y+sd*raw[i])
	}
	return out
}
