// Package quantity holds measured values with their uncertainty: the budget of
// independent causes, the interval, differences of values that share causes,
// and the Monte Carlo method that checks all that.
//
// Uncertainties follow JCGM 100:2008 (GUM): standard uncertainties (k = 1) are
// combined by the law of propagation for independent inputs (5.1.2), and the
// interval is the expanded uncertainty with the coverage factor 1.96 of a
// normal distribution (annex G.1.3, table G.1).
package quantity

import "math"

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
	// MaxMagnification > 1 says the true value may be smaller in size by any
	// factor up to this: lengths on a plane that is magnified by an unknown amount.
	MaxMagnification float64
}

// Budget sums the terms by source: standard uncertainties in the value's unit.
// The spread that an unknown magnification leaves is under "magnification".
func (v Value) Budget() map[string]float64 {
	square := map[string]float64{}
	for _, c := range v.causes() {
		square[c.Source] += c.U * c.U
	}
	out := map[string]float64{}
	for k, s := range square {
		if u := math.Sqrt(s); u > 0 {
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

// Standard is the combined standard uncertainty of all terms, without an
// unknown magnification.
func (v Value) Standard() float64 {
	var s float64
	for _, c := range v.causes() {
		s += c.U * c.U
	}
	return math.Sqrt(s)
}

// Interval is the 95 % interval and half its width. It is symmetric about the
// estimate except where the magnification is not known: then it reaches from
// the most demagnified value's lower end to the estimate's upper end.
func (v Value) Interval() (u95, lo, hi float64) {
	u := Coverage * v.Standard()
	lo, hi = v.Estimate-u, v.Estimate+u
	if m := v.MaxMagnification; m > 1 {
		lo = math.Min(lo, v.Estimate/m-u/m)
		hi = math.Max(hi, v.Estimate/m+u/m)
	}
	return (hi - lo) / 2, lo, hi
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
	return out
}
