package curve

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Nodes and weights of the 8-point Gauss-Legendre rule on (-1, 1): Abramowitz
// and Stegun, table 25.4.
var (
	gaussNode   = [4]float64{0.1834346424956498, 0.5255324099163290, 0.7966664774136267, 0.9602898564975363}
	gaussWeight = [4]float64{0.3626837833783620, 0.3137066458778873, 0.2223810344533745, 0.1012285362903763}
)

// length of the segment from u = a to b.
func (s *segment) length(a, b float64) float64 {
	m, h := (a+b)/2, (b-a)/2
	var sum float64
	for i, x := range gaussNode {
		sum += gaussWeight[i] * (r2.Norm(s.slope(m-h*x)) + r2.Norm(s.slope(m+h*x)))
	}
	return sum * h
}

// Length along the curve from parameter a to b, negative where b < a.
func (c *Curve) Length(a, b float64) float64 {
	if b < a {
		return -c.Length(b, a)
	}
	i, u := c.locate(a)
	j, v := c.locate(b)
	if i == j {
		return c.seg[i].length(u, v)
	}
	l := c.seg[i].length(u, c.seg[i].h) + c.seg[j].length(0, v)
	for k := i + 1; k < j; k++ {
		l += c.seg[k].length(0, c.seg[k].h)
	}
	return l
}

// Advance gives the parameter that lies s further along the curve from t
// (back, for negative s). ok is false where the curve ends before; the end is
// returned then.
func (c *Curve) Advance(t, s float64) (to float64, ok bool) {
	first, last := c.Range()
	i, u := c.locate(t)
	for rest := s; ; {
		seg := &c.seg[i]
		end := seg.h
		if s < 0 {
			end = 0
		}
		l := seg.length(u, end)
		if math.Abs(l) >= math.Abs(rest) {
			// Newton inside the segment; speed along a chord-length spline is near 1.
			v := u + rest
			for k := 0; k < 30; k++ {
				v = math.Min(math.Max(v, 0), seg.h)
				d := (seg.length(u, v) - rest) / r2.Norm(seg.slope(v))
				v -= d
				if math.Abs(d) < 1e-12*(1+last) {
					break
				}
			}
			return c.t[i] + math.Min(math.Max(v, 0), seg.h), true
		}
		rest -= l
		if s < 0 {
			if i--; i < 0 {
				return first, false
			}
			u = c.seg[i].h
		} else {
			if i++; i == len(c.seg) {
				return last, false
			}
			u = 0
		}
	}
}

// Nearest point of the curve between parameters a and b to p, with its
// distance.
func (c *Curve) Nearest(p r2.Vec, a, b float64) (t, distance float64) {
	const steps = 8
	best, bestT := math.Inf(1), a
	try := func(t float64) {
		if d := r2.Norm2(r2.Sub(c.At(t), p)); d < best {
			best, bestT = d, t
		}
	}
	try(a)
	try(b)
	i, _ := c.locate(a)
	j, _ := c.locate(b)
	for k := i; k <= j; k++ {
		for m := 0; m <= steps; m++ {
			if t := c.t[k] + c.seg[k].h*float64(m)/steps; t > a && t < b {
				try(t)
			}
		}
	}
	// Golden section around the best sample: the distance has one dip there.
	k, _ := c.locate(bestT)
	w := c.seg[k].h / steps
	lo, hi := math.Max(a, bestT-w), math.Min(b, bestT+w)
	f := func(t float64) float64 { return r2.Norm2(r2.Sub(c.At(t), p)) }
	const g = 0.6180339887498949
	x, y := hi-g*(hi-lo), lo+g*(hi-lo)
	fx, fy := f(x), f(y)
	for hi-lo > 1e-9*(1+math.Abs(hi)) {
		if fx < fy {
			hi, y, fy = y, x, fx
			x = hi - g*(hi-lo)
			fx = f(x)
		} else {
			lo, x, fx = x, y, fy
			y = lo + g*(hi-lo)
			fy = f(y)
		}
	}
	t = (lo + hi) / 2
	return t, r2.Norm(r2.Sub(c.At(t), p))
}

// Fit is the total least-squares line through points (squares of distances at
// right angles to it), its direction along the larger principal axis, pointing
// from the first point to the last. It needs two points that differ.
func Fit(points []r2.Vec) (Line, bool) {
	if len(points) < 2 {
		return Line{}, false
	}
	var m r2.Vec
	for _, p := range points {
		m = r2.Add(m, p)
	}
	m = r2.Scale(1/float64(len(points)), m)
	var xx, xy, yy float64
	for _, p := range points {
		d := r2.Sub(p, m)
		xx += d.X * d.X
		xy += d.X * d.Y
		yy += d.Y * d.Y
	}
	return principal(m, xx, xy, yy, r2.Sub(points[len(points)-1], points[0]))
}

// Tail gives points spaced evenly along the polyline over its last length
// before its end, n+1 of them, from back to front; ok is false where the
// polyline is shorter, and the whole of it is taken.
func Tail(points []r2.Vec, length float64, n int) (out []r2.Vec, ok bool) {
	var total float64
	for i := 1; i < len(points); i++ {
		total += r2.Norm(r2.Sub(points[i], points[i-1]))
	}
	ok = total >= length
	length = math.Min(length, total)
	for k := 0; k <= n; k++ {
		out = append(out, fromEnd(points, length*float64(n-k)/float64(n)))
	}
	return out, ok
}

// fromEnd is the point that lies s before the end of a polyline.
func fromEnd(points []r2.Vec, s float64) r2.Vec {
	for i := len(points) - 1; i > 0; i-- {
		d := r2.Sub(points[i-1], points[i])
		l := r2.Norm(d)
		if s <= l && l > 0 {
			return r2.Add(points[i], r2.Scale(s/l, d))
		}
		s -= l
	}
	return points[0]
}

// Chord is the total least-squares line of the curve between parameters a and
// b, every piece weighted by its length: the limit of points sampled ever more
// densely and evenly along it. Its direction points from a towards b.
func (c *Curve) Chord(a, b float64) (Line, bool) {
	if b <= a {
		return Line{}, false
	}
	var w, x, y, xx, xy, yy float64
	o := c.At(a)
	i, _ := c.locate(a)
	j, _ := c.locate(b)
	for k := i; k <= j; k++ {
		s := &c.seg[k]
		u, v := math.Max(0, a-c.t[k]), math.Min(s.h, b-c.t[k])
		m, h := (u+v)/2, (v-u)/2
		for g, node := range gaussNode {
			for _, at := range [2]float64{m - h*node, m + h*node} {
				p := r2.Sub(s.at(at), o)
				ds := gaussWeight[g] * h * r2.Norm(s.slope(at))
				w += ds
				x += ds * p.X
				y += ds * p.Y
				xx += ds * p.X * p.X
				xy += ds * p.X * p.Y
				yy += ds * p.Y * p.Y
			}
		}
	}
	mx, my := x/w, y/w
	return principal(r2.Add(o, r2.Vec{X: mx, Y: my}), xx/w-mx*mx, xy/w-mx*my, yy/w-my*my, r2.Sub(c.At(b), o))
}

// Extent is the least and greatest value of p·direction over the curve's
// points p.
func (c *Curve) Extent(direction r2.Vec) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for i := range c.seg {
		s := &c.seg[i]
		var f [4]float64
		for k := range f {
			f[k] = direction.X*s.x[k] + direction.Y*s.y[k]
		}
		for _, u := range append(extremes(f, s.h), 0, s.h) {
			v := value(f, u)
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	return lo, hi
}

// principal is the line through mean along the larger axis of the second
// moments, pointing the way towards points.
func principal(mean r2.Vec, xx, xy, yy float64, towards r2.Vec) (Line, bool) {
	if !(xx+yy > 0) {
		return Line{}, false
	}
	// Angle of the larger principal axis: tan 2a = 2 xy / (xx - yy).
	a := math.Atan2(2*xy, xx-yy) / 2
	d := r2.Vec{X: math.Cos(a), Y: math.Sin(a)}
	if r2.Dot(d, towards) < 0 {
		d = r2.Scale(-1, d)
	}
	return Line{Origin: mean, Direction: d}, true
}
