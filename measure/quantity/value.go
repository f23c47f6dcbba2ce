// Package quantity holds measured values with their uncertainty: the budget of
// independent causes, the interval, differences of values that share causes,
// and the Monte Carlo method that checks all that.
//
// Standard uncertainties (k = 1) of small, normally distributed inputs follow
// JCGM 100:2008 (GUM): they are combined by the law of propagation for
// independent inputs (5.1.2), and with nothing else the interval is the
// expanded uncertainty with the coverage factor 1.96 of a normal distribution
// (annex G.1.3, table G.1). Inputs that are not small, not normal, or act in
// products are propagated by JCGM 101:2008: the value is computed anew under
// draws of them, and the interval holds the middle 95 % of those draws, blurred
// by the normal part.
package quantity

import (
	"math"
	"slices"
)

// Coverage is the factor from standard to 95 % uncertainty for a normal
// distribution (JCGM 100, table G.1).
const Coverage = 1.96

// Degrees turns radians into degrees.
func Degrees(radians float64) float64 { return radians * 180 / math.Pi }

// Radians turns degrees into radians.
func Radians(degrees float64) float64 { return degrees * math.Pi / 180 }

// Rectangular is the standard uncertainty of a quantity that lies anywhere
// within plus or minus half with equal probability (JCGM 100, 4.3.7).
func Rectangular(half float64) float64 { return half / math.Sqrt(3) }

// Term is what one input contributes to a value's uncertainty: its standard
// uncertainty times the sensitivity of the value to it, signed, in the value's
// unit.
type Term struct {
	Source string // the budget key it is counted under
	Input  string // which input: the same input in two values is one cause
	U      float64
}

// Value is an estimate with its causes of uncertainty.
type Value struct {
	Estimate float64
	Terms    []Term
	// Draws, if any, are the value under draws of the inputs that are not in
	// Terms, all of them at once; the same draw has the same place in every value
	// of one computation. NaN: the value does not exist under that draw.
	Draws []float64
	// Alone are, by budget key, what the value becomes under draws of the
	// inputs counted under that key alone.
	Alone map[string][]float64
	// MaxMagnification > 1 says the true value may be smaller in size by any
	// factor up to this: lengths on a plane that is magnified by an unknown amount.
	MaxMagnification float64
}

// notable is the part of the variance from which on an interaction is told.
const notable = 0.02

// Budget sums the terms by source: standard uncertainties in the value's unit.
// The spread that an unknown magnification leaves is under "magnification".
func (v Value) Budget() map[string]float64 {
	square := map[string]float64{}
	for _, c := range v.causes() {
		square[c.Source] += c.U * c.U
	}
	rest := meanSquare(v.Draws, v.Estimate)
	for key, draws := range v.Alone {
		alone := meanSquare(draws, v.Estimate)
		square[key] += alone
		rest -= alone
	}
	// What causes do only together: one makes another matter more.
	if all := v.Standard(); rest > notable*all*all {
		square["interaction"] = rest
	}
	var all float64
	for _, s := range square {
		all += s
	}
	out := map[string]float64{}
	for k, s := range square {
		if u := math.Sqrt(s); s > 1e-18*all {
			out[k] = u
		}
	}
	if v.MaxMagnification > 1 {
		// Rectangular between the full and the demagnified length.
		out["magnification"] = math.Abs(v.Estimate) * (1 - 1/v.MaxMagnification) / math.Sqrt(12)
	}
	return out
}

// causes adds up the contributions that come from the same input, in the order
// in which the inputs first appear, so that equal values sum equally.
func (v Value) causes() []Term {
	type cause struct{ source, input string }
	at := make(map[cause]int, len(v.Terms))
	var out []Term
	for _, t := range v.Terms {
		k := cause{t.Source, t.Input}
		i, seen := at[k]
		if !seen {
			i = len(out)
			at[k] = i
			out = append(out, Term{Source: t.Source, Input: t.Input})
		}
		out[i].U += t.U
	}
	return out
}

// Standard is the combined standard uncertainty of all causes, without an
// unknown magnification: the root mean square distance from the estimate.
func (v Value) Standard() float64 {
	s := v.normal()
	return math.Sqrt(s*s + meanSquare(v.Draws, v.Estimate))
}

// normal is the combined standard uncertainty of the terms.
func (v Value) normal() float64 {
	var s float64
	for _, c := range v.causes() {
		s += c.U * c.U
	}
	return math.Sqrt(s)
}

// tail is how many times further out than the middle 95 % a draw may lie and
// count in full: beyond it a crossing that all but vanished has run away, and a
// mean square would tell of nothing else. The interval is of percentiles and
// needs no such limit.
const tail = 3.0

// meanSquare distance of the draws from the estimate; draws without a value do
// not count.
func meanSquare(draws []float64, estimate float64) float64 {
	off := make([]float64, 0, len(draws))
	for _, d := range draws {
		if d == d {
			off = append(off, math.Abs(d-estimate))
		}
	}
	if len(off) == 0 {
		return 0
	}
	slices.Sort(off)
	limit := tail * off[int(0.95*float64(len(off)-1))]
	var s float64
	for _, d := range off {
		if limit > 0 {
			d = math.Min(d, limit)
		}
		s += d * d
	}
	return s / float64(len(off))
}

// Interval is the 95 % interval and half its width. Where the magnification is
// not known it reaches from the most demagnified value's lower end to the
// estimate's upper end.
func (v Value) Interval() (u95, lo, hi float64) {
	u := v.normal()
	lo, hi = v.Estimate-Coverage*u, v.Estimate+Coverage*u
	if len(v.Draws) > 0 && v.Told() > 0 {
		lo, hi = middle(v.Draws, u)
	}
	if m := v.MaxMagnification; m > 1 {
		lo, hi = math.Min(lo, lo/m), math.Max(hi, hi/m)
	}
	return (hi - lo) / 2, lo, hi
}

// Told is the share of the draws under which there is a value; 1 without draws.
func (v Value) Told() float64 {
	if len(v.Draws) == 0 {
		return 1
	}
	n := 0
	for _, d := range v.Draws {
		if d == d {
			n++
		}
	}
	return float64(n) / float64(len(v.Draws))
}

// middle of the distribution of a draw plus a normal deviation of standard
// uncertainty u: its 2.5 and 97.5 percentiles.
func middle(draws []float64, u float64) (lo, hi float64) {
	y := make([]float64, 0, len(draws))
	for _, d := range draws {
		if d == d {
			y = append(y, d)
		}
	}
	if len(y) == 0 {
		return math.NaN(), math.NaN()
	}
	slices.Sort(y)
	// A little blur joins the draws where there is no normal part.
	u = math.Max(u, 1e-3*(y[len(y)-1]-y[0]))
	return percentile(y, u, 0.025), percentile(y, u, 0.975)
}

// percentile p of the mixture of normal distributions of standard deviation u
// about the sorted y, by bisection.
func percentile(y []float64, u, p float64) float64 {
	if u == 0 {
		return y[0]
	}
	lo, hi := y[0]-6*u, y[len(y)-1]+6*u
	below := func(x float64) float64 {
		from, _ := slices.BinarySearch(y, x-6*u) // those are wholly below
		s := float64(from)
		for _, v := range y[from:] {
			z := (x - v) / u
			if z < -6 {
				break
			}
			s += math.Erfc(-z/math.Sqrt2) / 2
		}
		return s / float64(len(y))
	}
	for hi-lo > 1e-4*u {
		if x := (lo + hi) / 2; below(x) < p {
			lo = x
		} else {
			hi = x
		}
	}
	return (lo + hi) / 2
}

// Difference is a minus b. Inputs that both share cancel as far as they act
// alike.
func Difference(a, b Value) Value {
	out := Value{Estimate: a.Estimate - b.Estimate, MaxMagnification: math.Max(a.MaxMagnification, b.MaxMagnification)}
	out.Terms = append(out.Terms, a.Terms...)
	for _, t := range b.Terms {
		t.U = -t.U
		out.Terms = append(out.Terms, t)
	}
	out.Draws = less(a.Draws, b.Draws, a.Estimate, b.Estimate)
	for _, v := range []Value{a, b} {
		for key := range v.Alone {
			if out.Alone == nil {
				out.Alone = map[string][]float64{}
			}
			if _, done := out.Alone[key]; !done {
				out.Alone[key] = less(a.Alone[key], b.Alone[key], a.Estimate, b.Estimate)
			}
		}
	}
	return out
}

// less is a minus b draw by draw; where one has no draws, its estimate stands.
func less(a, b []float64, estimateA, estimateB float64) []float64 {
	if len(a) == 0 && len(b) == 0 {
		return nil
	}
	out := make([]float64, max(len(a), len(b)))
	for i := range out {
		x, y := estimateA, estimateB
		if len(a) > 0 {
			x = a[i]
		}
		if len(b) > 0 {
			y = b[i]
		}
		out[i] = x - y
	}
	return out
}
