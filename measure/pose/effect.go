package pose

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"leadline/imaging"
)

// Effects gives, for each value that estimate computes from a solution, what
// each source contributes to its uncertainty: the sensitivity times the
// source's standard deviation, signed, in the value's unit and in the order of
// Sources (JCGM 100, 5.1.3). Their sum of squares is the value's variance. A
// value that is not a number, there or nearby, has no contributions.
//
// Sources are independent by construction: correlations between values follow
// from contributions of the same source.
func (f *Fit) Effects(estimate func(Solution) []float64) ([][]float64, error) {
	base := estimate(f.Solution)
	slopes := make([]along, len(base))
	for i := range slopes {
		slopes[i] = make(along, f.n)
	}
	x := append([]float64(nil), f.x...)
	for c := range x {
		// Central differences over a twentieth of a standard deviation.
		step := 0.05 * math.Sqrt(f.covariance.At(c, c))
		if step == 0 {
			continue
		}
		var ends [2][]float64
		for e, sign := range [2]float64{1, -1} {
			x[c] = f.x[c] + sign*step
			at, err := f.solution(x)
			if err != nil {
				return nil, err
			}
			if ends[e] = estimate(at); len(ends[e]) != len(base) {
				return nil, fmt.Errorf("%w: an estimate gave %d values and then %d", imaging.ErrBadInput, len(base), len(ends[e]))
			}
		}
		x[c] = f.x[c]
		for i := range slopes {
			slopes[i][c] = (ends[0][i] - ends[1][i]) / (2 * step)
		}
	}
	out := make([][]float64, len(base))
	for i, g := range slopes {
		if !finite(base[i]) || !finite(g...) {
			continue
		}
		out[i] = f.contributions(g)
	}
	return out, nil
}

// contributions of every source to a quantity with the given slopes. A source
// moves the unknowns by C row' per standard deviation, as the normal equations
// say; residuals are taken to be small against the curvature of the model.
func (f *Fit) contributions(g along) []float64 {
	var c mat.VecDense
	c.MulVec(&f.covariance, mat.NewVecDense(len(g), g))
	out := make([]float64, len(f.sources))
	for i := range out {
		for k := f.rows.start[i]; k < f.rows.start[i+1]; k++ {
			out[i] += f.rows.slope[k] * c.AtVec(f.rows.column[k])
		}
	}
	return out
}
