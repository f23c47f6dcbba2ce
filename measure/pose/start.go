package pose

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// pull is the weight, against a ray's of 1, that draws a point to where it is
// guessed to be while its rays leave it free.
const pull = 1e-6

// start is where the nominal cameras put the points: each nearest to its rays,
// and to the planes that lines through it and a known point lie in. A point
// seen once starts level with what it is joined to, or with the isocentre.
func (s *system) start() []float64 {
	in := s.in
	x := make([]float64, s.n)
	rays := make([]corner, len(in.Points))
	count := make([]int, len(in.Points))
	for _, m := range in.Sightings {
		o, d := in.Views[m.View].Nominal.Ray(r2.Vec{X: m.X, Y: m.Y})
		rays[m.Point].ray(o, d)
		count[m.Point]++
	}
	points := make([]r3.Vec, len(in.Points))
	for p := range points {
		points[p] = rays[p].solve(r3.Vec{})
	}
	for p := range points {
		if count[p] > 1 {
			continue
		}
		c, guess, joined := rays[p], r3.Vec{}, 0.0
		join := func(q int) {
			guess = r3.Add(guess, points[q])
			joined++
		}
		for _, l := range in.OnLines {
			q := l.A
			if q == p {
				q = l.B
			} else if l.B != p {
				continue
			}
			if count[q] < 2 {
				continue
			}
			join(q)
			o, d := in.Views[l.View].Nominal.Ray(r2.Vec{X: l.X, Y: l.Y})
			c.plane(o, r3.Cross(d, r3.Sub(points[q], o)))
		}
		for _, l := range in.Lengths {
			if l.A == p {
				join(l.B)
			} else if l.B == p {
				join(l.A)
			}
		}
		if joined > 0 {
			guess = r3.Scale(1/joined, guess)
		}
		points[p] = c.solve(guess)
	}
	for p, v := range points {
		c := s.point(p)
		x[c], x[c+1], x[c+2] = v.X, v.Y, v.Z
	}
	return x
}

// corner gathers the normal equations of a point near lines and planes.
type corner struct {
	a [3]r3.Vec
	b r3.Vec
}

// ray through o along the unit vector d: a'a of I - d d'.
func (c *corner) ray(o, d r3.Vec) {
	for i, e := range [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		row := r3.Sub(e, r3.Scale(r3.Dot(d, e), d))
		c.a[i] = r3.Add(c.a[i], row)
	}
	c.b = r3.Add(c.b, r3.Sub(o, r3.Scale(r3.Dot(o, d), d)))
}

// plane through o with normal n.
func (c *corner) plane(o, n r3.Vec) {
	if r3.Norm(n) < leastSpan {
		return
	}
	n = r3.Unit(n)
	c.a[0] = r3.Add(c.a[0], r3.Scale(n.X, n))
	c.a[1] = r3.Add(c.a[1], r3.Scale(n.Y, n))
	c.a[2] = r3.Add(c.a[2], r3.Scale(n.Z, n))
	c.b = r3.Add(c.b, r3.Scale(r3.Dot(o, n), n))
}

// solve by Cramer's rule, drawn to guess by a little.
func (c corner) solve(guess r3.Vec) r3.Vec {
	a := c.a
	a[0].X += pull
	a[1].Y += pull
	a[2].Z += pull
	b := r3.Add(c.b, r3.Scale(pull, guess))
	// The matrix is symmetric: its rows are its columns.
	det := r3.Dot(a[0], r3.Cross(a[1], a[2]))
	if !(math.Abs(det) > 0) {
		return guess
	}
	return r3.Vec{
		X: r3.Dot(b, r3.Cross(a[1], a[2])) / det,
		Y: r3.Dot(b, r3.Cross(a[2], a[0])) / det,
		Z: r3.Dot(b, r3.Cross(a[0], a[1])) / det,
	}
}
