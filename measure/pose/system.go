package pose

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"
)

// system is an input laid out as equations: which column each unknown has, and
// one row for each thing marked, known or supposed.
//
// The unknowns are the free view parameters in units of their prior standard
// deviations, then the points in mm. A row is (model - datum) / SD with its
// derivatives; there is one for each Source, in the same order.
type system struct {
	in      *Input
	bodies  []body
	columns [][kinds]int // of each view's parameters; -1: held
	free    []setting    // by column
	n       int          // unknowns
	sources []Source
	room    sync.Pool // of *work, for trials
}

// setting is a free view parameter.
type setting struct {
	view int
	kind Kind
	sd   float64
}

func layOut(in *Input) *system {
	s := &system{in: in, columns: make([][kinds]int, len(in.Views))}
	for i, v := range in.Views {
		s.bodies = append(s.bodies, bodyOf(v.Nominal))
		for k := range kinds {
			s.columns[i][k] = -1
			if sd := v.prior(k); sd > 0 {
				s.columns[i][k] = len(s.free)
				s.free = append(s.free, setting{i, k, sd})
			}
		}
	}
	s.n = len(s.free) + 3*len(in.Points)
	s.sources = sourcesOf(s)
	return s
}

// point is the first of a point's three columns.
func (s *system) point(p int) int { return len(s.free) + 3*p }

func (s *system) at(x []float64, p int) r3.Vec {
	c := s.point(p)
	return r3.Vec{X: x[c], Y: x[c+1], Z: x[c+2]}
}

// settings of a view at x, in their units.
func (s *system) settings(x []float64, view int) (p [kinds]float64) {
	for k, c := range s.columns[view] {
		if c >= 0 {
			p[k] = x[c] * s.free[c].sd
		}
	}
	return p
}

// rows of the system at one place, sparse: row i has the columns
// column[start[i]:start[i+1]].
type rows struct {
	start    []int
	column   []int
	slope    []float64
	residual []float64
	cost     float64 // sum of squares
	stances  []stance
}

func (r *rows) reset() {
	r.start = append(r.start[:0], 0)
	r.column, r.slope, r.residual, r.cost = r.column[:0], r.slope[:0], r.residual[:0], 0
}

func (r *rows) add(column int, slope float64) {
	if column >= 0 && slope != 0 {
		r.column = append(r.column, column)
		r.slope = append(r.slope, slope)
	}
}

func (r *rows) close(residual float64) {
	r.start = append(r.start, len(r.column))
	r.residual = append(r.residual, residual)
	r.cost += residual * residual
}

// least length, in px or mm, of what a direction is taken from.
const leastSpan = 1e-6

// evaluate the rows at x, with each datum displaced by shift (in its own unit;
// nil: by nothing). ok is false where a point does not lie before a source.
func (s *system) evaluate(x, shift []float64, out *rows) (ok bool) {
	out.reset()
	out.stances = out.stances[:0]
	for v := range s.bodies {
		p := s.settings(x, v)
		out.stances = append(out.stances, s.bodies[v].at(&p))
	}
	row := 0
	moved := func() (d float64) {
		if shift != nil {
			d = shift[row]
		}
		row++
		return d
	}
	var a, b seen
	for _, m := range s.in.Sightings {
		if !out.stances[m.View].project(s.at(x, m.Point), &a) {
			return false
		}
		p := s.point(m.Point)
		for axis, residual := range [2]float64{a.x - m.X, a.y - m.Y} {
			d, q := &a.dx, &a.px
			if axis == 1 {
				d, q = &a.dy, &a.py
			}
			s.viewSlopes(out, m.View, d, 1/m.SD)
			for i, g := range q {
				out.add(p+i, g/m.SD)
			}
			out.close((residual - moved()) / m.SD)
		}
	}
	for _, l := range s.in.OnLines {
		st := &out.stances[l.View]
		if !st.project(s.at(x, l.A), &a) || !st.project(s.at(x, l.B), &b) {
			return false
		}
		lx, ly := b.x-a.x, b.y-a.y
		span := math.Max(math.Hypot(lx, ly), leastSpan)
		nx, ny := -ly/span, lx/span
		// How far along from A to B the place lies: moving B across by 1 moves the
		// line there by t.
		t := ((l.X-a.x)*lx + (l.Y-a.y)*ly) / (span * span)
		var d [kinds]float64
		for k := range d {
			d[k] = (1-t)*(nx*a.dx[k]+ny*a.dy[k]) + t*(nx*b.dx[k]+ny*b.dy[k])
		}
		s.viewSlopes(out, l.View, &d, 1/l.SD)
		for i := range 3 {
			out.add(s.point(l.A)+i, (1-t)*(nx*a.px[i]+ny*a.py[i])/l.SD)
			out.add(s.point(l.B)+i, t*(nx*b.px[i]+ny*b.py[i])/l.SD)
		}
		out.close((nx*(a.x-l.X) + ny*(a.y-l.Y) - moved()) / l.SD)
	}
	for _, l := range s.in.Lengths {
		d := r3.Sub(s.at(x, l.A), s.at(x, l.B))
		long := r3.Norm(d)
		u := r3.Scale(1/math.Max(long, leastSpan), d)
		for i, g := range [3]float64{u.X, u.Y, u.Z} {
			out.add(s.point(l.A)+i, g/l.SD)
			out.add(s.point(l.B)+i, -g/l.SD)
		}
		out.close((long - l.MM - moved()) / l.SD)
	}
	for _, r := range s.in.Relations {
		sum := 0.0
		for _, t := range r.Terms {
			if !t.Of.view {
				c := s.point(t.Of.of) + t.Of.n
				sum += t.By * x[c]
				out.add(c, t.By/r.SD)
			} else if c := s.columns[t.Of.of][t.Of.n]; c >= 0 {
				sum += t.By * x[c] * s.free[c].sd
				out.add(c, t.By*s.free[c].sd/r.SD)
			}
		}
		out.close((sum - r.Equals - moved()) / r.SD)
	}
	for c, f := range s.free {
		out.add(c, 1)
		out.close(x[c] - moved()/f.sd)
	}
	return true
}

func (s *system) viewSlopes(out *rows, view int, d *[kinds]float64, weight float64) {
	for k, c := range s.columns[view] {
		if c >= 0 {
			out.add(c, d[k]*s.free[c].sd*weight)
		}
	}
}
