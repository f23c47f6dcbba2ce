package vision

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// model is a function of n places with parameters: it fills out.
type model func(param, out []float64)

// fitted is the result of a least-squares fit.
type fitted struct {
	param    []float64
	residual []float64  // data less model
	jacobian *mat.Dense // of the model, rows by places, columns by parameters
	squares  float64    // sum of weighted squares
}

// leastSquares fits m to data with weights (1 / variance, up to a factor) by
// the method of Levenberg and Marquardt (Marquardt, J SIAM 1963;11:431-441),
// from start, with derivatives taken by steps of the size given; ok is false
// where it does not come to rest.
func leastSquares(m model, data, weight, start, step []float64) (out fitted, ok bool) {
	n, k := len(data), len(start)
	p := append([]float64(nil), start...)
	at := make([]float64, n)
	squares := func(p, r []float64) float64 {
		m(p, at)
		s := 0.0
		for i := range data {
			r[i] = data[i] - at[i]
			s += weight[i] * r[i] * r[i]
		}
		return s
	}
	r, trial := make([]float64, n), make([]float64, n)
	best := squares(p, r)
	jac := mat.NewDense(n, k, nil)
	up, down := make([]float64, n), make([]float64, n)
	derive := func() {
		q := append([]float64(nil), p...)
		for c := range k {
			q[c] = p[c] + step[c]
			m(q, up)
			q[c] = p[c] - step[c]
			m(q, down)
			q[c] = p[c]
			for i := range n {
				jac.Set(i, c, (up[i]-down[i])/(2*step[c]))
			}
		}
	}
	damping := 1e-3
	for range 60 {
		derive()
		normal, rhs := mat.NewSymDense(k, nil), mat.NewVecDense(k, nil)
		for a := range k {
			for b := a; b < k; b++ {
				s := 0.0
				for i := range n {
					s += weight[i] * jac.At(i, a) * jac.At(i, b)
				}
				normal.SetSym(a, b, s)
			}
			s := 0.0
			for i := range n {
				s += weight[i] * jac.At(i, a) * r[i]
			}
			rhs.SetVec(a, s)
		}
		better := false
		for range 12 {
			damped := mat.NewSymDense(k, nil)
			damped.CopySym(normal)
			for a := range k {
				damped.SetSym(a, a, normal.At(a, a)*(1+damping)+1e-12)
			}
			var c mat.Cholesky
			var d mat.VecDense
			if c.Factorize(damped) && c.SolveVecTo(&d, rhs) == nil {
				q := make([]float64, k)
				for a := range k {
					q[a] = p[a] + d.AtVec(a)
				}
				if s := squares(q, trial); s < best {
					gain := (best - s) / best
					p, best, better = q, s, true
					copy(r, trial)
					damping = max(damping/5, 1e-9)
					if gain < 1e-7 {
						derive()
						return fitted{p, r, jac, best}, true
					}
					break
				}
			}
			damping *= 4
		}
		if !better {
			derive()
			return fitted{p, r, jac, best}, true
		}
	}
	return fitted{p, r, jac, best}, false
}

// covariance of the parameters where the data scatter with the standard
// deviations sd and correlate as told by correlation[lag]:
// (JtWJ)^-1 JtW S WJ (JtWJ)^-1, the covariance of a weighted mean that did not
// know of the correlation.
func (f fitted) covariance(weight, sd, correlation []float64) (*mat.SymDense, bool) {
	n, k := f.jacobian.Dims()
	normal, between := mat.NewSymDense(k, nil), mat.NewSymDense(k, nil)
	wj, swj := mat.NewDense(n, k, nil), mat.NewDense(n, k, nil)
	for i := range n {
		for c := range k {
			wj.Set(i, c, weight[i]*f.jacobian.At(i, c))
		}
	}
	for i := range n {
		for l := -len(correlation) + 1; l < len(correlation); l++ {
			if j := i + l; j >= 0 && j < n {
				s := sd[i] * sd[j] * correlation[max(l, -l)]
				for c := range k {
					swj.Set(i, c, swj.At(i, c)+s*wj.At(j, c))
				}
			}
		}
	}
	for a := range k {
		for b := a; b < k; b++ {
			s, q := 0.0, 0.0
			for i := range n {
				s += f.jacobian.At(i, a) * wj.At(i, b)
				q += wj.At(i, a) * swj.At(i, b)
			}
			normal.SetSym(a, b, s)
			between.SetSym(a, b, q)
		}
		// A parameter that rests on a bound moves nothing: it stays where it is.
		if normal.At(a, a) == 0 {
			normal.SetSym(a, a, 1)
		}
	}
	var c mat.Cholesky
	if !c.Factorize(normal) {
		return nil, false
	}
	var inverse mat.SymDense
	if c.InverseTo(&inverse) != nil {
		return nil, false
	}
	var left, full mat.Dense
	left.Mul(&inverse, between)
	full.Mul(&left, &inverse)
	out := mat.NewSymDense(k, nil)
	for a := range k {
		for b := a; b < k; b++ {
			out.SetSym(a, b, (full.At(a, b)+full.At(b, a))/2)
		}
	}
	return out, true
}

// autocorrelation of r at lags 0 to most, each place's value divided by sd.
func autocorrelation(r, sd []float64, most int) []float64 {
	out := make([]float64, most+1)
	for l := range out {
		s, n := 0.0, 0
		for i := 0; i+l < len(r); i++ {
			if sd[i] > 0 && sd[i+l] > 0 {
				s += r[i] / sd[i] * r[i+l] / sd[i+l]
				n++
			}
		}
		if n > 0 {
			out[l] = s / float64(n)
		}
	}
	if out[0] > 0 {
		for l := most; l >= 0; l-- {
			out[l] /= out[0]
		}
	}
	return out
}

// positive takes away negative correlations: what a fit leaves correlates less
// than the noise did, as the fit took part of it, and blurred noise is never
// correlated negatively between neighbours.
func positive(correlation []float64) []float64 {
	for i, c := range correlation {
		correlation[i] = max(0, c)
	}
	return correlation
}

// normalCDF is the area of the standard normal curve left of z.
func normalCDF(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }
