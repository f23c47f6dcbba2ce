package curve

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// Crossing of a curve with a line or another curve.
type Crossing struct {
	T     float64 // parameter on the curve
	S     float64 // on the line: distance from its origin along its direction; on the other curve: its parameter
	Point r2.Vec
}

// Line is a straight line: Origin + s·Direction, Direction of unit length.
type Line struct{ Origin, Direction r2.Vec }

// At is the point at distance s.
func (l Line) At(s float64) r2.Vec { return r2.Add(l.Origin, r2.Scale(s, l.Direction)) }

// Along is the distance of p's foot from the origin, along the line.
func (l Line) Along(p r2.Vec) float64 { return r2.Dot(r2.Sub(p, l.Origin), l.Direction) }

// Off is the signed distance of p from the line, positive to the right of
// Direction where x runs to the right and y downwards.
func (l Line) Off(p r2.Vec) float64 { return r2.Cross(l.Direction, r2.Sub(p, l.Origin)) }

// Cross gives where two lines meet, as distances along each.
func (l Line) Cross(m Line) (s, t float64, ok bool) {
	d := r2.Cross(l.Direction, m.Direction)
	if math.Abs(d) < 1e-12 {
		return 0, 0, false
	}
	w := r2.Sub(m.Origin, l.Origin)
	return r2.Cross(w, m.Direction) / d, r2.Cross(w, l.Direction) / d, true
}

// CrossLine gives all crossings of the curve with the infinite line, by rising
// S. A segment is a cubic in its parameter; its distance from the line is one
// too, and is split at its extremes into stretches with at most one root each.
func (c *Curve) CrossLine(l Line) []Crossing {
	var out []Crossing
	nx, ny := -l.Direction.Y, l.Direction.X
	for i := range c.seg {
		s := &c.seg[i]
		var f [4]float64
		for k := range f {
			f[k] = nx*s.x[k] + ny*s.y[k]
		}
		f[0] -= nx*l.Origin.X + ny*l.Origin.Y
		cuts := append([]float64{0}, extremes(f, s.h)...)
		cuts = append(cuts, s.h)
		for k := 1; k < len(cuts); k++ {
			u, ok := root(f, cuts[k-1], cuts[k])
			if !ok {
				continue
			}
			p := s.at(u)
			t := c.t[i] + u
			if n := len(out); n > 0 && math.Abs(out[n-1].T-t) < 1e-9*(1+c.t[len(c.t)-1]) {
				continue // a knot belongs to both its segments
			}
			out = append(out, Crossing{T: t, S: l.Along(p), Point: p})
		}
	}
	slices.SortFunc(out, func(a, b Crossing) int {
		switch {
		case a.S < b.S:
			return -1
		case a.S > b.S:
			return 1
		}
		return 0
	})
	return out
}

// extremes of the cubic f inside (0, h), ascending.
func extremes(f [4]float64, h float64) []float64 {
	a, b, c := 3*f[3], 2*f[2], f[1]
	var r []float64
	add := func(u float64) {
		if u > 0 && u < h {
			r = append(r, u)
		}
	}
	switch disc := b*b - 4*a*c; {
	case disc <= 0:
	default:
		// The stable form of the quadratic's roots; a = 0 leaves c/q alone.
		q := -0.5 * (b + math.Copysign(math.Sqrt(disc), b))
		if q != 0 {
			add(c / q)
		}
		if a != 0 {
			add(q / a)
		}
	}
	slices.Sort(r)
	return r
}

// root of the cubic f in [lo, hi], where it is monotone: bisection with Newton
// steps where they stay inside.
func root(f [4]float64, lo, hi float64) (float64, bool) {
	fl, fh := value(f, lo), value(f, hi)
	switch {
	case fl == 0:
		return lo, true
	case fh == 0:
		return hi, true
	case fl*fh > 0:
		return 0, false
	}
	u := (lo + hi) / 2
	for k := 0; k < 100; k++ {
		fu := value(f, u)
		if fu == 0 {
			return u, true
		}
		if fu*fl > 0 {
			lo = u
		} else {
			hi = u
		}
		next := u - fu/slope(f, u)
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-u) <= 1e-13*(1+math.Abs(u)) || hi-lo <= 1e-13*(1+math.Abs(u)) {
			return next, true
		}
		u = next
	}
	return u, true
}

// CrossCurve gives all crossings with another curve, by rising T: chords of
// both are compared where their boxes touch, then each meeting is refined by
// Newton's method.
func (c *Curve) CrossCurve(o *Curve) []Crossing {
	var out []Crossing
	mine, theirs := c.boxes(), o.boxes()
	for i := range mine {
		for j := range theirs {
			a, b := &mine[i], &theirs[j]
			if a.lo.X > b.hi.X || b.lo.X > a.hi.X || a.lo.Y > b.hi.Y || b.lo.Y > a.hi.Y {
				continue
			}
			for k := 0; k < boxSteps; k++ {
				for m := 0; m < boxSteps; m++ {
					f, g, ok := meet(a.p[k], a.p[k+1], b.p[m], b.p[m+1])
					if !ok {
						continue
					}
					t0 := c.t[i] + c.seg[i].h*(float64(k)+f)/boxSteps
					s0 := o.t[j] + o.seg[j].h*(float64(m)+g)/boxSteps
					t, s, ok := c.refine(o, t0, s0)
					if !ok || slices.ContainsFunc(out, func(x Crossing) bool { return math.Abs(x.T-t) < 1e-7*(1+math.Abs(t)) }) {
						continue
					}
					out = append(out, Crossing{T: t, S: s, Point: c.At(t)})
				}
			}
		}
	}
	slices.SortFunc(out, func(a, b Crossing) int {
		if a.T < b.T {
			return -1
		}
		return 1
	})
	return out
}

const boxSteps = 16

// box is a segment as chords, with bounds a little wider than them.
type box struct {
	p      [boxSteps + 1]r2.Vec
	lo, hi r2.Vec
}

func (c *Curve) boxes() []box {
	out := make([]box, len(c.seg))
	for i := range out {
		b := &out[i]
		b.lo, b.hi = c.knots[i], c.knots[i]
		for k := range b.p {
			p := c.seg[i].at(c.seg[i].h * float64(k) / boxSteps)
			b.p[k] = p
			b.lo = r2.Vec{X: math.Min(b.lo.X, p.X), Y: math.Min(b.lo.Y, p.Y)}
			b.hi = r2.Vec{X: math.Max(b.hi.X, p.X), Y: math.Max(b.hi.Y, p.Y)}
		}
		slack := 0.02 * c.seg[i].h
		b.lo, b.hi = r2.Sub(b.lo, r2.Vec{X: slack, Y: slack}), r2.Add(b.hi, r2.Vec{X: slack, Y: slack})
	}
	return out
}

// meet gives where the stretches p-q and a-b cross, as fractions of each; a
// little beyond the ends counts, for the curve bulges past its chord.
func meet(p, q, a, b r2.Vec) (f, g float64, ok bool) {
	d, e := r2.Sub(q, p), r2.Sub(b, a)
	x := r2.Cross(d, e)
	if x == 0 {
		return 0, 0, false
	}
	w := r2.Sub(a, p)
	f, g = r2.Cross(w, e)/x, r2.Cross(w, d)/x
	const slack = 0.02
	return f, g, f >= -slack && f <= 1+slack && g >= -slack && g <= 1+slack
}

// refine solves c(t) = o(s) from a near start; ok only where both lie on the
// curves.
func (c *Curve) refine(o *Curve, t, s float64) (float64, float64, bool) {
	_, ct := c.Range()
	_, ot := o.Range()
	for k := 0; k < 50; k++ {
		w := r2.Sub(o.At(s), c.At(t))
		d, e := c.Slope(t), o.Slope(s)
		x := r2.Cross(d, e)
		if x == 0 {
			return 0, 0, false
		}
		dt, ds := r2.Cross(w, e)/x, r2.Cross(w, d)/x
		t, s = math.Min(math.Max(t+dt, 0), ct), math.Min(math.Max(s+ds, 0), ot)
		if math.Abs(dt)+math.Abs(ds) < 1e-12*(1+ct) {
			break
		}
	}
	return t, s, r2.Norm(r2.Sub(o.At(s), c.At(t))) < 1e-9*(1+ct)
}
