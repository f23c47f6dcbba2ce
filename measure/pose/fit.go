package pose

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
	"leadline/imaging/carm"
)

// Solution is where views and points are.
type Solution struct {
	Cameras  []carm.Camera
	Points   []r3.Vec         // mm, patient coordinates
	Settings [][kinds]float64 // of each view, by Kind, in their units
}

// Fit is an adjusted input.
type Fit struct {
	Solution
	*system
	x          []float64
	rows       rows
	covariance mat.SymDense
}

func (s *system) solution(x []float64) (Solution, error) {
	var out Solution
	for v := range s.bodies {
		c, err := s.camera(x, v)
		if err != nil {
			return Solution{}, fmt.Errorf("%w: the adjusted camera of %s: %w", imaging.ErrConflict, s.in.viewName(v), err)
		}
		out.Cameras = append(out.Cameras, c)
		out.Settings = append(out.Settings, s.settings(x, v))
	}
	for p := range s.in.Points {
		out.Points = append(out.Points, s.at(x, p))
	}
	return out, nil
}

// camera of a view at x.
func (s *system) camera(x []float64, view int) (carm.Camera, error) {
	p := s.settings(x, view)
	st := s.bodies[view].at(&p)
	return st.camera()
}

// Sources lists the independent inputs of the uncertainty, in the order of
// Effects and Refit.
func (f *Fit) Sources() []Source { return f.sources }

// ChiSquare is the sum of squares of all residuals over their standard
// deviations, those of the priors included. Where all of them hold it follows
// the chi-square distribution of the given degrees of freedom.
func (f *Fit) ChiSquare() (value float64, degrees int) {
	return f.rows.cost, len(f.rows.residual) - f.n
}

// PointCovariance of point p: mm2, in patient coordinates.
func (f *Fit) PointCovariance(p int) *mat.SymDense {
	out := mat.NewSymDense(3, nil)
	c := f.point(p)
	for i := range 3 {
		for j := i; j < 3; j++ {
			out.SetSym(i, j, f.covariance.At(c+i, c+j))
		}
	}
	return out
}

// Parameter is a free parameter of a view.
type Parameter struct {
	View      int
	Kind      Kind
	Value     float64 // off the nominal camera, in the kind's unit
	Prior, SD float64 // standard deviation before and after
}

// Parameters lists the free ones, view by view.
func (f *Fit) Parameters() []Parameter {
	out := make([]Parameter, len(f.free))
	for c, s := range f.free {
		out[c] = Parameter{
			View: s.view, Kind: s.kind, Value: f.x[c] * s.sd,
			Prior: s.sd, SD: s.sd * math.Sqrt(f.covariance.At(c, c)),
		}
	}
	return out
}

// along is a row of slopes of a quantity by the unknowns.
type along []float64

func (f *Fit) variance(g along) float64 {
	v := mat.NewVecDense(len(g), g)
	return math.Max(0, mat.Inner(v, &f.covariance, v))
}

// Scale is what a pixel across the film is worth at a point's own depth: mm in
// a plane parallel to the detector, along columns and along rows, with the
// relative standard deviation that both share.
func (f *Fit) Scale(view, point int) (column, row, relative float64) {
	depth, s, g := f.scale(view, f.Points[point])
	c := f.point(point)
	copy(g[c:], s.pz[:])
	for i := range 3 {
		g[c+i] /= depth
	}
	p := f.Settings[view]
	st := f.bodies[view].at(&p)
	return depth / st.fx, depth / st.fy, math.Sqrt(f.variance(g))
}

// scale of a view at a place that is held: its depth, and the slopes of its
// logarithm by the view's parameters.
func (f *Fit) scale(view int, p r3.Vec) (depth float64, s seen, g along) {
	at := f.Settings[view]
	st := f.bodies[view].at(&at)
	st.project(p, &s)
	g = make(along, f.n)
	for k, c := range f.columns[view] {
		if c >= 0 {
			g[c] = s.dz[k] / s.depth * f.free[c].sd
		}
	}
	if c := f.columns[view][Detector]; c >= 0 {
		g[c] -= f.free[c].sd
	}
	return s.depth, s, g
}

// Residual is what is left of one source after the adjustment.
type Residual struct {
	Source Source
	Value  float64 // model less datum, in the source's unit
	// Normalised is the value over its own standard deviation after the
	// adjustment: about standard normal where all that went in holds. It is 0 where
	// nothing checks the source.
	Normalised float64
}

// Residuals of all sources, in their order.
func (f *Fit) Residuals() []Residual {
	out := make([]Residual, len(f.sources))
	for i, s := range f.sources {
		out[i] = Residual{Source: s, Value: f.rows.residual[i] * s.SD}
		// The part of the datum's own variance that the adjustment did not absorb.
		if free := 1 - f.variance(f.row(i)); free > 1e-9 {
			out[i].Normalised = f.rows.residual[i] / math.Sqrt(free)
		}
	}
	return out
}

// row i of the system, in full.
func (f *Fit) row(i int) along {
	g := make(along, f.n)
	for k := f.rows.start[i]; k < f.rows.start[i+1]; k++ {
		g[f.rows.column[k]] += f.rows.slope[k]
	}
	return g
}
