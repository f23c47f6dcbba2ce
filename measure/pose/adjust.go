package pose

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"

	"leadline/imaging"
)

// Adjust finds views and points. The same input gives the same bits.
//
// Input that is none is refused by an error that wraps imaging.ErrBadInput;
// points that nothing fixes, and scales that are not known to Input.ScaleLimit,
// by one that wraps ErrTooLittle and says what to mark; marks that the cameras
// cannot have made by one that wraps imaging.ErrConflict.
func Adjust(in Input) (*Fit, error) {
	f, err := settle(in, nil, settled)
	if err != nil {
		return nil, err
	}
	if err := f.enough(); err != nil {
		return nil, err
	}
	return f, nil
}

// settle is Adjust without asking whether the scale is good enough. It starts
// with every view as it nominally stands and, where starts says so, with every
// view's parameters displaced by so many of their standard deviations; the least
// sum of squares counts.
func settle(in Input, starts [][kinds]float64, until precision) (*Fit, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	s := layOut(&in)
	w := newWork(s)
	x := s.start()
	others := make([][]float64, len(starts))
	for i, d := range starts {
		others[i] = append([]float64(nil), x...)
		for c, f := range s.free {
			others[i][c] = d[f.kind]
		}
	}
	err := w.descend(x, nil, until)
	least := w.rows.cost
	for _, y := range others {
		if e := w.descend(y, nil, until); e == nil && (err != nil || w.rows.cost < least*(1-1e-9)) {
			x, least, err = y, w.rows.cost, nil
		}
	}
	if err != nil {
		return nil, err
	}
	w.evaluate(x, nil, &w.rows)
	w.normal(0)
	var factor mat.Cholesky
	if !factor.Factorize(w.h) || factor.Cond() > illPosed {
		return nil, s.undetermined(w)
	}
	f := &Fit{system: s, x: x}
	if err := factor.InverseTo(&f.covariance); err != nil {
		return nil, s.undetermined(w)
	}
	for p := range in.Points {
		c := s.point(p)
		for i := range 3 {
			if v := f.covariance.At(c+i, c+i); !(v <= looseLimit*looseLimit) {
				return nil, s.tooLoose([]int{p})
			}
		}
	}
	f.rows = w.rows
	if f.Solution, err = s.solution(x); err != nil {
		return nil, err
	}
	return f, nil
}

// precision says when a descent ends: where the next step would lower the sum
// of squares by less than so much, or than such a part of it. The former is the
// square of how far, in standard deviations, the end may be away.
type precision struct{ enough, part float64 }

var (
	settled  = precision{1e-16, 1e-15} // an adjustment
	refitted = precision{1e-8, 0}      // a trial of a Monte Carlo run
	// A reading that does not fit creeps for long; what its chi-square would be
	// in the end differs by far less than readings must.
	compared = precision{1e-6, 1e-3}
)

const (
	// mostSteps ends a descent that does not settle.
	mostSteps = 200
	// illPosed is the condition number of a normal matrix from which on its
	// inverse holds no digits.
	illPosed = 1e14
	// looseLimit in mm is the standard deviation of a coordinate beyond which a
	// point counts as not determined: no film is so wide.
	looseLimit = 100.0
)

// work is the room an adjustment needs.
type work struct {
	*system
	rows, next rows
	h          *mat.SymDense
	// Of the unknowns: gradient, step against it, the step's second order, and
	// the place tried.
	gradient, step, second, trial []float64
	bow                           []float64 // of the rows: half their second derivatives along the step
}

func newWork(s *system) *work {
	room := func() []float64 { return make([]float64, s.n) }
	return &work{
		system: s, h: mat.NewSymDense(s.n, nil),
		gradient: room(), step: room(), second: room(), trial: room(),
	}
}

// normal fills the normal matrix, its diagonal grown by a part of itself.
func (w *work) normal(damping float64) {
	h := w.h.RawSymmetric()
	clear(h.Data)
	r := &w.rows
	for i := range r.residual {
		from, to := r.start[i], r.start[i+1]
		for a := from; a < to; a++ {
			ca, sa := r.column[a], r.slope[a]
			for b := a; b < to; b++ {
				cb, v := r.column[b], sa*r.slope[b]
				switch {
				case ca < cb:
					h.Data[ca*h.Stride+cb] += v
				case cb < ca:
					h.Data[cb*h.Stride+ca] += v
				case a == b:
					h.Data[ca*h.Stride+ca] += v
				default: // one column twice in a row
					h.Data[ca*h.Stride+ca] += 2 * v
				}
			}
		}
	}
	for i := range w.n {
		d := &h.Data[i*h.Stride+i]
		*d += damping * math.Max(*d, 1e-12) // an unknown that nothing touches stays where it is
	}
}

// slope is what the rows' derivatives, turned over, make of v: of the residuals,
// the gradient of half the sum of squares.
func (w *work) slope(v, out []float64) {
	clear(out)
	r := &w.rows
	for i, v := range v {
		for k := r.start[i]; k < r.start[i+1]; k++ {
			out[r.column[k]] += v * r.slope[k]
		}
	}
}

var errAstray = errors.New("the adjustment does not settle")

// bend is how far along a step, as a part of it, its curvature is looked at, and
// bent the largest part of it that the correction may be.
const (
	bend = 0.1
	bent = 0.75
)

// descend moves x to where the sum of squares is least, with each datum
// displaced by shift. Lengths known far better than the views make the valley
// narrow and curved: each step is bent along it by its second order, as in
// Transtrum and Sethna, "Improvements to the Levenberg-Marquardt algorithm for
// nonlinear least-squares minimization", arXiv:1201.5885.
func (w *work) descend(x, shift []float64, until precision) error {
	if !w.evaluate(x, shift, &w.rows) {
		return fmt.Errorf("%w: a marked point does not lie before the X-ray source; check the views' geometry", imaging.ErrConflict)
	}
	damping := 0.0
	for range mostSteps {
		w.normal(damping)
		factor, ok := lapack64.Potrf(w.h.RawSymmetric())
		if !ok {
			if damping = math.Max(10*damping, leastDamping); damping > mostDamping {
				break
			}
			continue
		}
		w.slope(w.rows.residual, w.gradient)
		copy(w.step, w.gradient)
		lapack64.Potrs(factor, column(w.step))
		// The square of the step's length, in standard deviations.
		decrement := floats.Dot(w.step, w.gradient)
		better := w.curve(x, shift, factor) && w.lower(x, shift, 1) || w.lower(x, shift, 0)
		if !better {
			if decrement <= until.enough+until.part*w.rows.cost { // no better within rounding
				return nil
			}
			if damping = math.Max(10*damping, leastDamping); damping > mostDamping {
				break
			}
			continue
		}
		gain := (w.rows.cost - w.next.cost) / decrement
		copy(x, w.trial)
		w.rows, w.next = w.next, w.rows
		switch {
		case decrement <= until.enough+until.part*w.rows.cost && damping < 1e-3:
			return nil
		case gain < 0.25: // the step went too far
			damping = math.Max(3*damping, leastDamping)
		default:
			if damping /= 10; damping < leastDamping {
				damping = 0
			}
		}
	}
	return fmt.Errorf("%w: %w; check that points of one name are the same thing in every view", imaging.ErrConflict, errAstray)
}

// Damping as a part of the normal matrix's diagonal.
const (
	leastDamping = 1e-6
	mostDamping  = 1e12
)

// lower says whether the sum of squares is less a step away from x, bent or not.
func (w *work) lower(x, shift []float64, bent float64) bool {
	for i := range x {
		w.trial[i] = x[i] - w.step[i] - bent*w.second[i]
	}
	return w.evaluate(w.trial, shift, &w.next) && w.next.cost <= w.rows.cost*(1+1e-12)+1e-18
}

// curve finds the second order of the step, from half the residuals' second
// derivative along it. It says no where that is too much to be believed.
func (w *work) curve(x, shift []float64, factor blas64.Triangular) bool {
	for i := range x {
		w.trial[i] = x[i] - bend*w.step[i]
	}
	if !w.evaluate(w.trial, shift, &w.next) {
		return false
	}
	r := &w.rows
	w.bow = w.bow[:0]
	for i, v := range r.residual {
		straight := 0.0
		for k := r.start[i]; k < r.start[i+1]; k++ {
			straight -= r.slope[k] * w.step[r.column[k]]
		}
		w.bow = append(w.bow, ((w.next.residual[i]-v)/bend-straight)/bend)
	}
	w.slope(w.bow, w.second)
	lapack64.Potrs(factor, column(w.second))
	return floats.Norm(w.second, 2) <= bent*floats.Norm(w.step, 2)
}

func column(v []float64) blas64.General {
	return blas64.General{Rows: len(v), Cols: 1, Stride: 1, Data: v}
}

// undetermined names the points that a singular normal matrix leaves free.
func (s *system) undetermined(w *work) error {
	var eigen mat.EigenSym
	var loose []int
	if eigen.Factorize(w.h, true) {
		values := eigen.Values(nil)
		var vectors mat.Dense
		eigen.VectorsTo(&vectors)
		for p := range s.in.Points {
			c := s.point(p)
			share := 0.0
			for k, v := range values {
				if v > values[len(values)-1]/illPosed {
					break // ascending
				}
				for i := range 3 {
					share += vectors.At(c+i, k) * vectors.At(c+i, k)
				}
			}
			if share > 1e-3 {
				loose = append(loose, p)
			}
		}
	}
	if len(loose) == 0 {
		return fmt.Errorf("%w: the marks do not fix the points; mark them in both views", ErrTooLittle)
	}
	return s.tooLoose(loose)
}

func (s *system) tooLoose(points []int) error {
	var names []string
	for _, p := range points {
		names = append(names, s.in.pointName(p))
	}
	return fmt.Errorf("%w: nothing fixes where %s lies along the beam; mark it in both views, or leave it out", ErrTooLittle, strings.Join(names, ", "))
}

// enough refuses when no view's scale is known well enough.
func (f *Fit) enough() error {
	limit := f.in.ScaleLimit
	if limit == 0 {
		limit = ScaleLimit
	}
	best := Judgement{Posterior: math.Inf(1)}
	for _, j := range f.scales() {
		if j.Posterior < best.Posterior {
			best = j
		}
	}
	if best.Posterior <= limit {
		return nil
	}
	return fmt.Errorf("%w: the scale is known to %.0f %% at best, in %s (one standard deviation; %.0f %% before anything was marked); mark a known length in both views: two contacts, a needle with both its ends, or a ball",
		ErrTooLittle, 100*best.Posterior, f.in.viewName(best.View), 100*best.Prior)
}
