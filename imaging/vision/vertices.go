package vision

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/spatial/r2"
)

// middle value of v, which is reordered.
func middle(v []float64) float64 {
	slices.Sort(v)
	return v[len(v)/2]
}

// leastVertices is how many points a curve needs to be measured.
const leastVertices = 5

// vertices chooses few points of the path such that a cubic spline through them,
// by chord length with not-a-knot ends (the curve that marks are measured by),
// stays within tolerance pixels of it. It returns their indices: first as many as
// the longest spans need, then without those that are not missed.
func (p path) vertices(tolerance float64) []int {
	last := len(p.points) - 1
	var chosen []int
	if last < 2*leastVertices {
		for i := range last + 1 {
			chosen = append(chosen, i)
		}
		return chosen
	}
	for k := range leastVertices {
		chosen = append(chosen, k*last/(leastVertices-1))
	}
	for {
		off, at := p.misfit(chosen)
		if off <= tolerance {
			break
		}
		// The span with the worst misfit is halved.
		k, _ := slices.BinarySearch(chosen, at)
		k = max(1, min(len(chosen)-1, k))
		between := (chosen[k-1] + chosen[k]) / 2
		if between == chosen[k-1] {
			break
		}
		chosen = slices.Insert(chosen, k, between)
	}
	for k := 1; k < len(chosen)-1 && len(chosen) > leastVertices; {
		fewer := slices.Delete(slices.Clone(chosen), k, k+1)
		if off, _ := p.misfit(fewer); off <= tolerance {
			chosen = fewer
		} else {
			k++
		}
	}
	return chosen
}

// misfit is the largest distance of the path's points from the spline through
// the chosen ones, and where it is.
func (p path) misfit(chosen []int) (worst float64, at int) {
	t, x, y := make([]float64, len(chosen)), make([]float64, len(chosen)), make([]float64, len(chosen))
	for k, i := range chosen {
		x[k], y[k] = p.points[i].X, p.points[i].Y
		if k > 0 {
			t[k] = t[k-1] + math.Hypot(x[k]-x[k-1], y[k]-y[k-1])
		}
	}
	var fx, fy interp.NotAKnotCubic
	if fx.Fit(t, x) != nil || fy.Fit(t, y) != nil {
		return math.Inf(1), (chosen[0] + chosen[1]) / 2
	}
	for k := 1; k < len(chosen); k++ {
		for i := chosen[k-1] + 1; i < chosen[k]; i++ {
			// The spline near the point's share of the span; its foot by the tangent.
			u := t[k-1] + (t[k]-t[k-1])*float64(i-chosen[k-1])/float64(chosen[k]-chosen[k-1])
			var d r2.Vec
			for range 3 {
				d = r2.Sub(p.points[i], r2.Vec{X: fx.Predict(u), Y: fy.Predict(u)})
				slope := r2.Vec{X: fx.PredictDerivative(u), Y: fy.PredictDerivative(u)}
				u = max(0, min(t[len(t)-1], u+r2.Dot(d, slope)/max(r2.Norm2(slope), 1e-12)))
			}
			d = r2.Sub(p.points[i], r2.Vec{X: fx.Predict(u), Y: fy.Predict(u)})
			if off := r2.Norm(d); off > worst {
				worst, at = off, i
			}
		}
	}
	return worst, at
}
