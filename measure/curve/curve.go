// Package curve is the geometry of marked lines: cubic splines through points,
// their crossings with straight lines and with each other, nearest points and
// lengths along them, and least-squares lines.
//
// A curve runs through every marked point: a cubic spline whose parameter is
// the chord length accumulated from point to point, with not-a-knot ends (or
// periodic, for closed outlines). It is never extrapolated. The package knows
// no unit: it works in the plane of the points it is given, normally
// millimetres on the film's scaled plane; every length it returns is in that
// unit.
package curve

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// LeastPoints is the number of points an open curve needs to be measured.
const LeastPoints = 5

// ErrPoints is the kind of error for points no curve can be laid through.
var ErrPoints = errors.New("no curve through these points")

// segment holds x(u) = x[0] + x[1] u + x[2] u² + x[3] u³ for 0 <= u <= h, and
// likewise y.
type segment struct {
	x, y [4]float64
	h    float64
}

// Curve is a spline through points; the zero value is not useful.
type Curve struct {
	knots  []r2.Vec
	t      []float64 // chord length at each knot, ascending from 0
	seg    []segment
	closed bool
}

// New lays a curve through at least LeastPoints points in whatever order they
// are given: they are first brought into the order of the shortest path.
func New(points []r2.Vec) (*Curve, error) {
	return InOrder(Arrange(points, Order(points)))
}

// InOrder lays a curve through at least LeastPoints points in the order given.
func InOrder(points []r2.Vec) (*Curve, error) { return open(points, LeastPoints) }

// Through is InOrder for as few as four points: what is left when one of five
// is taken out to see how much the curve leans on it.
func Through(points []r2.Vec) (*Curve, error) { return open(points, 4) }

func open(points []r2.Vec, least int) (*Curve, error) {
	if len(points) < least {
		return nil, fmt.Errorf("%w: %d points, at least %d are needed", ErrPoints, len(points), least)
	}
	c := &Curve{knots: append([]r2.Vec(nil), points...)}
	if err := c.measure(); err != nil {
		return nil, err
	}
	c.hermite(c.notAKnot())
	return c, nil
}

// notAKnot gives the slopes at the knots of the cubic spline whose third
// derivative does not jump at the second and the last but one of them. With h
// the lengths of the segments, d their mean slopes and s the slopes at the
// knots, continuity of the second derivative inside is
//
//	h[i] s[i-1] + 2 (h[i-1] + h[i]) s[i] + h[i-1] s[i+1] = 3 (h[i] d[i-1] + h[i-1] d[i])
//
// and the end condition, with the next row taken out of it,
//
//	h[1] s[0] + (h[0] + h[1]) s[1] = ((3 h[0] + 2 h[1]) h[1] d[0] + h[0]² d[1]) / (h[0] + h[1])
//
// and likewise from the other end (de Boor, A Practical Guide to Splines,
// chapter IV).
func (c *Curve) notAKnot() []r2.Vec {
	n := len(c.knots)
	h, d := make([]float64, n-1), make([]r2.Vec, n-1)
	for i := range h {
		h[i] = c.t[i+1] - c.t[i]
		d[i] = r2.Scale(1/h[i], r2.Sub(c.knots[i+1], c.knots[i]))
	}
	low, diag, up := make([]float64, n), make([]float64, n), make([]float64, n)
	rhs := make([]r2.Vec, n)
	end := func(h0, h1 float64, d0, d1 r2.Vec) r2.Vec {
		return r2.Scale(1/(h0+h1), r2.Add(r2.Scale((3*h0+2*h1)*h1, d0), r2.Scale(h0*h0, d1)))
	}
	diag[0], up[0], rhs[0] = h[1], h[0]+h[1], end(h[0], h[1], d[0], d[1])
	for i := 1; i < n-1; i++ {
		low[i], diag[i], up[i] = h[i], 2*(h[i-1]+h[i]), h[i-1]
		rhs[i] = r2.Scale(3, r2.Add(r2.Scale(h[i], d[i-1]), r2.Scale(h[i-1], d[i])))
	}
	low[n-1], diag[n-1] = h[n-2]+h[n-3], h[n-3]
	rhs[n-1] = end(h[n-2], h[n-3], d[n-2], d[n-3])
	// Elimination needs no pivots: what is left of each row's diagonal is larger
	// than the element beside it, down to the last.
	for i := 1; i < n; i++ {
		m := low[i] / diag[i-1]
		diag[i] -= m * up[i-1]
		rhs[i] = r2.Sub(rhs[i], r2.Scale(m, rhs[i-1]))
	}
	rhs[n-1] = r2.Scale(1/diag[n-1], rhs[n-1])
	for i := n - 2; i >= 0; i-- {
		rhs[i] = r2.Scale(1/diag[i], r2.Sub(rhs[i], r2.Scale(up[i], rhs[i+1])))
	}
	return rhs
}

// Closed lays a periodic curve through at least LeastPoints points of a closed
// outline, in the order given; the first point is not repeated.
func Closed(points []r2.Vec) (*Curve, error) {
	n := len(points)
	if n < LeastPoints {
		return nil, fmt.Errorf("%w: %d points, at least %d are needed", ErrPoints, n, LeastPoints)
	}
	c := &Curve{knots: append(append([]r2.Vec(nil), points...), points[0]), closed: true}
	if err := c.measure(); err != nil {
		return nil, err
	}
	h := make([]float64, n) // length of the segment that starts at i
	for i := range h {
		h[i] = c.t[i+1] - c.t[i]
	}
	// Continuity of the second derivative at knot i, in slopes s:
	// s[i-1]/h[i-1] + 2 (1/h[i-1] + 1/h[i]) s[i] + s[i+1]/h[i]
	//   = 3 ((p[i]-p[i-1])/h[i-1]² + (p[i+1]-p[i])/h[i]²), indices modulo n.
	low, diag, up := make([]float64, n), make([]float64, n), make([]float64, n)
	rx, ry := make([]float64, n), make([]float64, n)
	for i := range h {
		j := (i + n - 1) % n
		low[i], up[i] = 1/h[j], 1/h[i]
		diag[i] = 2 * (low[i] + up[i])
		a := r2.Scale(3/(h[j]*h[j]), r2.Sub(points[i], points[j]))
		b := r2.Scale(3/(h[i]*h[i]), r2.Sub(points[(i+1)%n], points[i]))
		rx[i], ry[i] = a.X+b.X, a.Y+b.Y
	}
	sx, sy := cyclic(low, diag, up, rx), cyclic(low, diag, up, ry)
	slopes := make([]r2.Vec, n+1)
	for i := range slopes {
		slopes[i] = r2.Vec{X: sx[i%n], Y: sy[i%n]}
	}
	c.hermite(slopes)
	return c, nil
}

// measure fills the chord-length parameter of the knots.
func (c *Curve) measure() error {
	c.t = make([]float64, len(c.knots))
	for i, p := range c.knots {
		if math.IsNaN(p.X+p.Y) || math.IsInf(p.X+p.Y, 0) {
			return fmt.Errorf("%w: point %d is not a number", ErrPoints, i)
		}
		if i == 0 {
			continue
		}
		d := r2.Norm(r2.Sub(p, c.knots[i-1]))
		if d == 0 {
			return fmt.Errorf("%w: points %d and %d coincide", ErrPoints, i-1, i)
		}
		c.t[i] = c.t[i-1] + d
		if !(c.t[i] > c.t[i-1]*(1+1e-9)) || math.IsInf(c.t[i], 0) {
			return fmt.Errorf("%w: points %d and %d lie too close together or too far apart", ErrPoints, i-1, i)
		}
	}
	return nil
}

// hermite builds the segments from the slopes dP/dt at the knots.
func (c *Curve) hermite(slopes []r2.Vec) {
	c.seg = make([]segment, len(c.knots)-1)
	cubic := func(p, q, s, e, h float64) [4]float64 {
		d := (q - p) / h
		return [4]float64{p, s, (3*d - 2*s - e) / h, (s + e - 2*d) / (h * h)}
	}
	for i := range c.seg {
		h := c.t[i+1] - c.t[i]
		p, q := c.knots[i], c.knots[i+1]
		c.seg[i] = segment{
			x: cubic(p.X, q.X, slopes[i].X, slopes[i+1].X, h),
			y: cubic(p.Y, q.Y, slopes[i].Y, slopes[i+1].Y, h),
			h: h,
		}
	}
}

// cyclic solves the tridiagonal system with corners low[0] (last column) and
// up[n-1] (first column) by the Sherman-Morrison formula.
func cyclic(low, diag, up, rhs []float64) []float64 {
	n := len(diag)
	alpha, beta := up[n-1], low[0]
	gamma := -diag[0]
	d := append([]float64(nil), diag...)
	d[0] -= gamma
	d[n-1] -= alpha * beta / gamma
	u := make([]float64, n)
	u[0], u[n-1] = gamma, alpha
	x, z := thomas(low, d, up, rhs), thomas(low, d, up, u)
	f := (x[0] + beta*x[n-1]/gamma) / (1 + z[0] + beta*z[n-1]/gamma)
	for i := range x {
		x[i] -= f * z[i]
	}
	return x
}

// thomas solves a tridiagonal system that is diagonally dominant.
func thomas(low, diag, up, rhs []float64) []float64 {
	n := len(diag)
	c, x := make([]float64, n), make([]float64, n)
	c[0], x[0] = up[0]/diag[0], rhs[0]/diag[0]
	for i := 1; i < n; i++ {
		m := diag[i] - low[i]*c[i-1]
		c[i] = up[i] / m
		x[i] = (rhs[i] - low[i]*x[i-1]) / m
	}
	for i := n - 2; i >= 0; i-- {
		x[i] -= c[i] * x[i+1]
	}
	return x
}

// Range of the parameter: 0 to the sum of chord lengths.
func (c *Curve) Range() (first, last float64) { return 0, c.t[len(c.t)-1] }

// locate finds the segment of parameter t, clamped to the curve.
func (c *Curve) locate(t float64) (i int, u float64) {
	lo, hi := 0, len(c.seg)-1
	for lo < hi {
		m := (lo + hi + 1) / 2
		if c.t[m] <= t {
			lo = m
		} else {
			hi = m - 1
		}
	}
	return lo, math.Min(math.Max(t-c.t[lo], 0), c.seg[lo].h)
}

func value(a [4]float64, u float64) float64 { return a[0] + u*(a[1]+u*(a[2]+u*a[3])) }
func slope(a [4]float64, u float64) float64 { return a[1] + u*(2*a[2]+3*u*a[3]) }

func (s *segment) at(u float64) r2.Vec    { return r2.Vec{X: value(s.x, u), Y: value(s.y, u)} }
func (s *segment) slope(u float64) r2.Vec { return r2.Vec{X: slope(s.x, u), Y: slope(s.y, u)} }

// At is the point at parameter t, clamped to the curve's ends.
func (c *Curve) At(t float64) r2.Vec {
	i, u := c.locate(t)
	return c.seg[i].at(u)
}

// Slope is dP/dt at parameter t.
func (c *Curve) Slope(t float64) r2.Vec {
	i, u := c.locate(t)
	return c.seg[i].slope(u)
}

// Tangent is the unit vector along the curve at t, towards larger t.
func (c *Curve) Tangent(t float64) r2.Vec { return r2.Unit(c.Slope(t)) }

// Polyline gives points along the curve, n steps a segment, for drawing.
func (c *Curve) Polyline(n int) []r2.Vec {
	out := make([]r2.Vec, 0, n*len(c.seg)+1)
	for i := range c.seg {
		for k := 0; k < n; k++ {
			out = append(out, c.seg[i].at(c.seg[i].h*float64(k)/float64(n)))
		}
	}
	return append(out, c.knots[len(c.knots)-1])
}
