package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// outline is a closed smooth curve in a plane, in mm.
type outline struct{ points []r2.Vec }

// newOutline rounds the corners: a closed uniform cubic B-spline would pull
// away from them, so it is a Catmull-Rom curve, which runs through each.
func newOutline(corners []r2.Vec) outline {
	const pieces = 6
	n := len(corners)
	o := outline{}
	for i := range corners {
		p0, p1, p2, p3 := corners[(i+n-1)%n], corners[i], corners[(i+1)%n], corners[(i+2)%n]
		for k := range pieces {
			t := float64(k) / pieces
			w0 := ((-t+2)*t - 1) * t / 2
			w1 := ((3*t-5)*t*t + 2) / 2
			w2 := ((-3*t+4)*t + 1) * t / 2
			w3 := (t - 1) * t * t / 2
			o.points = append(o.points, r2.Vec{
				X: w0*p0.X + w1*p1.X + w2*p2.X + w3*p3.X,
				Y: w0*p0.Y + w1*p1.Y + w2*p2.Y + w3*p3.Y,
			})
		}
	}
	return o
}

// inside is the distance of p from the outline, positive inside.
func (o outline) inside(p r2.Vec) float64 {
	best, in := math.Inf(1), false
	for i, b := range o.points {
		a := o.points[(i+len(o.points)-1)%len(o.points)]
		e, q := r2.Sub(b, a), r2.Sub(p, a)
		t := max(0, min(1, r2.Dot(q, e)/r2.Norm2(e)))
		best = min(best, r2.Norm2(r2.Sub(q, r2.Scale(t, e))))
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	if in {
		return math.Sqrt(best)
	}
	return -math.Sqrt(best)
}
