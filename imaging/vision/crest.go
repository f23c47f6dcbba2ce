package vision

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// crests answers how much a frame looks like a thin line, and which way it
// runs: the larger curvature of the brightness surface, across the line, at the
// width that suits it best (Lindeberg, Int J Comput Vis 1998;30:117-156).
// Strength is in stored values.
type crests struct {
	strength *region
	angle    []float32 // of the line, radians from the x axis
}

// findCrests looks at p with Gaussians of the given widths in samples. sign is
// +1 for dark lines, -1 for bright ones.
func findCrests(p *region, sign float64, sigmas ...float64) crests {
	out := crests{newRegion(p.x0, p.y0, p.step, p.width, p.height), make([]float32, len(p.v))}
	for _, sigma := range sigmas {
		g, d, dd := gaussian(sigma)
		smooth, slope, bend := p.rows(g), p.rows(d), p.rows(dd)
		yy, xy, xx := smooth.columns(dd), slope.columns(d), bend.columns(g)
		scale := float32(sigma * sigma * sign)
		for i := range out.strength.v {
			a, b, c := xx.v[i]*scale, xy.v[i]*scale, yy.v[i]*scale
			mean, diff := (a+c)/2, (a-c)/2
			root := float32(math.Sqrt(float64(diff*diff + b*b)))
			large, small := mean+root, mean-root
			if large <= 0 || -small > large {
				continue
			}
			if large > out.strength.v[i] {
				out.strength.v[i] = large
				out.angle[i] = float32(math.Atan2(float64(b), float64(diff))/2 + math.Pi/2)
			}
		}
	}
	return out
}

// at is the strength at an SR point, 0 beyond the region.
func (r crests) at(q r2.Vec) float64 {
	p := r.strength
	x, y := (q.X-p.x0)/p.step-0.5, (q.Y-p.y0)/p.step-0.5
	i, j := int(math.Floor(x)), int(math.Floor(y))
	if i < 0 || j < 0 || i+1 >= p.width || j+1 >= p.height {
		return 0
	}
	fx, fy := x-float64(i), y-float64(j)
	a, b := p.v[j*p.width+i:], p.v[(j+1)*p.width+i:]
	return (float64(a[0])*(1-fx)+float64(a[1])*fx)*(1-fy) + (float64(b[0])*(1-fx)+float64(b[1])*fx)*fy
}

// seed is the strongest place of a line near an SR point: distance counts
// against it by a Gaussian of sigma pixels.
func (r crests) seed(near r2.Vec, sigma float64) (at r2.Vec, angle, strength float64) {
	p := r.strength
	best := 0.0
	i0, j0 := p.index(r2.Sub(near, r2.Vec{X: 3 * sigma, Y: 3 * sigma}))
	i1, j1 := p.index(r2.Add(near, r2.Vec{X: 3 * sigma, Y: 3 * sigma}))
	for j := j0; j <= j1; j++ {
		for i := i0; i <= i1; i++ {
			c := p.centre(i, j)
			v := float64(p.v[j*p.width+i])
			if w := v * math.Exp(-r2.Norm2(r2.Sub(c, near))/(2*sigma*sigma)); w > best {
				best, at, angle, strength = w, c, float64(r.angle[j*p.width+i]), v
			}
		}
	}
	return at, angle, strength
}

// follow walks along a line from a place in a direction, looking ahead far
// enough to step over a gap: of arcs that leave within a few degrees it takes
// the one with the strongest line under it. It ends where the mean strength
// ahead falls below floor, or after most pixels.
func (r crests) follow(from r2.Vec, angle, floor, ahead, most float64) []r2.Vec {
	var out []r2.Vec
	const stride = 3.0
	for length := 0.0; length < most; length += stride {
		best, turn, bend := -1.0, 0.0, 0.0
		for t := -2; t <= 2; t++ {
			for c := -4; c <= 4; c++ {
				turnBy, curvature := float64(t)*1.5*math.Pi/180, float64(c)/260
				sum, n := 0.0, 0.0
				for d := stride; d <= ahead; d += stride {
					h := angle + turnBy + curvature*d/2
					sum += r.at(r2.Vec{X: from.X + d*math.Cos(h), Y: from.Y + d*math.Sin(h)})
					n++
				}
				// A straight course is preferred where others are no better.
				if v := sum / n * (1 - 0.01*float64(t*t+c*c)); v > best {
					best, turn, bend = v, turnBy, curvature
				}
			}
		}
		if best < floor {
			break
		}
		h := angle + turn + bend*stride/2
		from = r2.Vec{X: from.X + stride*math.Cos(h), Y: from.Y + stride*math.Sin(h)}
		angle += turn + bend*stride
		out = append(out, from)
	}
	return out
}
