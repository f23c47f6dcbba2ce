package vision

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// path is a line on a frame, SR pixels, with points evenly spaced along it:
// point i lies i*spacing along.
type path struct {
	spacing float64
	points  []r2.Vec
}

// evenly lays points along a polyline at most spacing apart, its ends among
// them.
func evenly(line []r2.Vec, spacing float64) path {
	total := 0.0
	for i := 1; i < len(line); i++ {
		total += r2.Norm(r2.Sub(line[i], line[i-1]))
	}
	n := max(1, int(math.Ceil(total/spacing)))
	out := path{spacing: total / float64(n), points: []r2.Vec{line[0]}}
	want, done := out.spacing, 0.0
	for i := 1; i < len(line); i++ {
		e := r2.Sub(line[i], line[i-1])
		step := r2.Norm(e)
		for len(out.points) < n && want <= done+step {
			out.points = append(out.points, r2.Add(line[i-1], r2.Scale((want-done)/step, e)))
			want += out.spacing
		}
		done += step
	}
	out.points = append(out.points, line[len(line)-1])
	return out
}

// length of the path in pixels.
func (p path) length() float64 { return p.spacing * float64(len(p.points)-1) }

// at is the point s pixels along, by the chord between neighbours; beyond the
// ends the last chord goes on.
func (p path) at(s float64) r2.Vec {
	k := max(0, min(len(p.points)-2, int(s/p.spacing)))
	return r2.Add(p.points[k], r2.Scale(s/p.spacing-float64(k), r2.Sub(p.points[k+1], p.points[k])))
}

// along is the unit direction at point i, by the neighbours on either side.
func (p path) along(i int) r2.Vec {
	return r2.Unit(r2.Sub(p.points[min(len(p.points)-1, i+1)], p.points[max(0, i-1)]))
}

// direction is the unit direction s pixels along.
func (p path) direction(s float64) r2.Vec {
	return p.along(max(0, min(len(p.points)-1, int(math.Round(s/p.spacing)))))
}

// rightOf is the unit normal to d, to its right where y runs downwards.
func rightOf(d r2.Vec) r2.Vec { return r2.Vec{X: -d.Y, Y: d.X} }

// extended goes on straight by length at both ends, in the direction of the
// last tail pixels there.
func (p path) extended(length, tail float64) path {
	n, k := int(math.Ceil(length/p.spacing)), max(1, int(tail/p.spacing))
	last := len(p.points) - 1
	k = min(k, last)
	front, back := r2.Unit(r2.Sub(p.points[0], p.points[k])), r2.Unit(r2.Sub(p.points[last], p.points[last-k]))
	var out []r2.Vec
	for i := n; i > 0; i-- {
		out = append(out, r2.Add(p.points[0], r2.Scale(float64(i)*p.spacing, front)))
	}
	out = append(out, p.points...)
	for i := 1; i <= n; i++ {
		out = append(out, r2.Add(p.points[last], r2.Scale(float64(i)*p.spacing, back)))
	}
	return path{p.spacing, out}
}

// reversed runs the other way.
func (p path) reversed() path {
	out := path{spacing: p.spacing}
	for i := len(p.points) - 1; i >= 0; i-- {
		out.points = append(out.points, p.points[i])
	}
	return out
}

// shifted moves each point across the path by offset and spaces them evenly
// again.
func (p path) shifted(offset []float64) path {
	moved := make([]r2.Vec, len(p.points))
	for i, q := range p.points {
		moved[i] = r2.Add(q, r2.Scale(offset[i], rightOf(p.along(i))))
	}
	return evenly(moved, p.spacing)
}

// smoothed is the path with its points averaged by a Gaussian of sigma px.
func (p path) smoothed(sigma float64) path {
	reach := int(3 * sigma / p.spacing)
	n := len(p.points)
	out := make([]r2.Vec, n)
	for i := range p.points {
		// The window shrinks towards the ends so that they stay.
		k := min(reach, i, n-1-i)
		var sum r2.Vec
		weight := 0.0
		for j := -k; j <= k; j++ {
			w := math.Exp(-float64(j*j) * p.spacing * p.spacing / (2 * sigma * sigma))
			sum, weight = r2.Add(sum, r2.Scale(w, p.points[i+j])), weight+w
		}
		out[i] = r2.Scale(1/weight, sum)
	}
	return evenly(out, p.spacing)
}

// strip is a picture straightened along a path: row i holds the values across
// it at point i, column half + k the value k*step pixels to its right.
type strip struct {
	half  int
	step  float64
	rows  int
	width int
	v     []float64
}

// straighten samples p along the path, reach pixels to either side.
func (p *region) straighten(along path, reach, step float64) strip {
	half := int(math.Ceil(reach / step))
	s := strip{half: half, step: step, rows: len(along.points), width: 2*half + 1}
	s.v = make([]float64, s.rows*s.width)
	for i, q := range along.points {
		n := rightOf(along.along(i))
		for k := range s.width {
			s.v[i*s.width+k] = p.at(r2.Add(q, r2.Scale(float64(k-half)*step, n)))
		}
	}
	return s
}

func (s strip) row(i int) []float64 { return s.v[i*s.width:][:s.width] }

// smoothed averages along the path with a Gaussian of sigma rows.
func (s strip) smoothed(sigma float64) strip {
	out := s
	out.v = make([]float64, len(s.v))
	reach := int(math.Ceil(3 * sigma))
	for i := range s.rows {
		to, sum := out.row(i), 0.0
		for k := max(0, i-reach); k <= min(s.rows-1, i+reach); k++ {
			w := math.Exp(-float64((k-i)*(k-i)) / (2 * sigma * sigma))
			sum += w
			for c, v := range s.row(k) {
				to[c] += w * v
			}
		}
		for c := range to {
			to[c] /= sum
		}
	}
	return out
}

// fair lays a smooth row of numbers through y with weights w: it minimises the
// weighted squares of what is left plus stiffness times the squares of third
// differences (Eilers and Marx, Statist Sci 1996;11:89-121, on the identity
// basis).
func fair(y, w []float64, stiffness float64) []float64 {
	n := len(y)
	if n < 5 {
		return y
	}
	a := mat.NewSymBandDense(n, 3, nil)
	b := mat.NewVecDense(n, nil)
	for i := range n {
		a.SetSymBand(i, i, w[i]+1e-9)
		b.SetVec(i, w[i]*y[i])
	}
	third := [4]float64{-1, 3, -3, 1}
	for r := range n - 3 {
		for i := range 4 {
			for j := i; j < 4; j++ {
				a.SetSymBand(r+i, r+j, a.At(r+i, r+j)+stiffness*third[i]*third[j])
			}
		}
	}
	var c mat.BandCholesky
	if !c.Factorize(a) {
		return y
	}
	var x mat.VecDense
	if err := c.SolveVecTo(&x, b); err != nil {
		return y
	}
	return x.RawVector().Data
}
