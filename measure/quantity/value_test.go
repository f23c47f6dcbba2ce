package quantity

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.9g, want %.9g", what, got, want)
	}
}

// JCGM 100:2008, example H.1 (end gauge), clause H.1.4 and table H.1: six
// contributions of 25, 9.7, 2.9, 16.6 nm and two of 0 combine to 32 nm
// (squares: 1002 nm²). Values from memory.
func TestEndGauge(t *testing.T) {
	v := Value{Estimate: 50.000838e6, Terms: []Term{
		{"standard", "l_S", 25},
		{"comparison", "d", 9.7}, // root of 5.8² + 3.9² + 6.7² in H.1.3.2
		{"expansion", "alpha_S", 0},
		{"temperature", "theta", 0},
		{"expansion", "delta alpha", 2.9},
		{"temperature", "delta theta", 16.6},
	}}
	near(t, "combined standard uncertainty", v.Standard(), 32, 0.5)
	near(t, "its square", v.Standard()*v.Standard(), 1002, 3)
	near(t, "comparison by its parts", math.Sqrt(5.8*5.8+3.9*3.9+6.7*6.7), 9.7, 0.05)
	b := v.Budget()
	near(t, "expansion", b["expansion"], 2.9, 1e-12)
	if _, ok := b["nothing"]; ok || len(b) != 4 {
		t.Errorf("budget %v", b)
	}
}

// JCGM 100:2008, 4.3.7: a rectangular distribution of half width a has the
// standard uncertainty a/sqrt(3); 4.4.5 gives 0.58 a.
func TestRectangular(t *testing.T) {
	near(t, "half width 1", Rectangular(1), 0.58, 0.005)
}

// Two values that share an input: it cancels in the difference as far as it
// acts alike, and independent ones add in squares (JCGM 100, 5.2.2, with
// correlation 1 and 0).
func TestDifference(t *testing.T) {
	a := Value{Estimate: 11, Terms: []Term{{"scale", "film", 0.5}, {"marking", "a", 0.3}}}
	b := Value{Estimate: 3, Terms: []Term{{"scale", "film", 0.2}, {"marking", "b", 0.4}}}
	d := Difference(a, b)
	near(t, "estimate", d.Estimate, 8, 0)
	near(t, "scale", d.Budget()["scale"], 0.3, 1e-12)
	near(t, "marking", d.Budget()["marking"], 0.5, 1e-12)
	u95, lo, hi := d.Interval()
	near(t, "u95", u95, 1.96*math.Hypot(0.3, 0.5), 1e-12)
	near(t, "lo", lo, 8-u95, 1e-12)
	near(t, "hi", hi, 8+u95, 1e-12)
}

// A length on a plane magnified by up to two: the true one may be half.
func TestUnknownMagnification(t *testing.T) {
	v := Value{Estimate: 20, Terms: []Term{{"marking", "a", 1}}, MaxMagnification: 2}
	u95, lo, hi := v.Interval()
	near(t, "lo", lo, 10-0.98, 1e-12)
	near(t, "hi", hi, 21.96, 1e-12)
	near(t, "u95", u95, (hi-lo)/2, 1e-12)
	near(t, "rectangular from 10 to 20", v.Budget()["magnification"], 10/math.Sqrt(12), 1e-12)
	v.Estimate = -20
	_, lo, hi = v.Interval()
	near(t, "lo short of the margin", lo, -21.96, 1e-12)
	near(t, "hi short of the margin", hi, -10+0.98, 1e-12)
}

// The Monte Carlo method reproduces the law of propagation where the model is
// linear, and the percentiles of a normal distribution: for y = 3 a - 4 b with
// u = 0.1 and 0.2, u(y) = sqrt(0.09 + 0.64) = 0.8544 (by hand).
func TestMonteCarloLinear(t *testing.T) {
	s := MonteCarlo([]float64{2, 1}, []float64{0.1, 0.2}, 200_000, 7, func(x []float64) (float64, bool) {
		return 3*x[0] - 4*x[1], true
	})
	near(t, "mean", s.Mean, 2, 0.01)
	near(t, "sd", s.SD, 0.8544, 0.006)
	near(t, "lo", s.Lo, 2-1.96*0.8544, 0.02)
	near(t, "hi", s.Hi, 2+1.96*0.8544, 0.02)
	if s.Failed != 0 {
		t.Errorf("%d failed", s.Failed)
	}
}

func TestDegrees(t *testing.T) {
	near(t, "180 degrees", Radians(180), math.Pi, 1e-15)
	near(t, "back", Degrees(Radians(37.5)), 37.5, 1e-12)
}

// JCGM 101:2008, 9.2.3 (additive model, four rectangular inputs of unit
// standard deviation): the shortest 95 % interval is -3.88 to 3.88, where the
// law of propagation with 1.96 gives 3.92. Values from memory of table 3.
func TestFourRectangular(t *testing.T) {
	v := Value{Draws: make([]float64, 4096)}
	for k := range 4 {
		for i, u := range Uniform(string(rune('a'+k)), len(v.Draws)) {
			v.Draws[i] += (2*u - 1) * math.Sqrt(3)
		}
	}
	u95, lo, hi := v.Interval()
	near(t, "u95", u95, 3.88, 0.05)
	near(t, "lo", lo, -3.88, 0.08)
	near(t, "hi", hi, 3.88, 0.08)
	near(t, "standard", v.Standard(), 2, 0.02)
}

// A rectangular input of half width 1 alone: 0.95 of it. With a normal one of
// standard deviation 1: the sum's percentile solves the mean of Phi(x - d) over
// d in -1 to 1 = 0.975, x = 2.254 (scipy 1.10, norm.cdf, quad, brentq).
func TestDrawsAndTerms(t *testing.T) {
	v := Value{Draws: make([]float64, 2048)}
	for i, u := range Uniform("x", len(v.Draws)) {
		v.Draws[i] = 2*u - 1
	}
	_, lo, hi := v.Interval()
	near(t, "rectangular lo", lo, -0.95, 0.003)
	near(t, "rectangular hi", hi, 0.95, 0.003)
	v.Terms = []Term{{"marking", "a", 1}}
	_, lo, hi = v.Interval()
	near(t, "sum hi", hi, 2.254, 0.002)
	near(t, "sum lo", lo, -2.254, 0.002)
	near(t, "sum standard", v.Standard(), math.Sqrt(1+1.0/3), 0.002)

	// The same draw in two values cancels in their difference.
	d := Difference(Value{Estimate: 4, Draws: v.Draws}, Value{Estimate: 1, Draws: v.Draws})
	if u95, _, _ := d.Interval(); u95 > 1e-9 {
		t.Errorf("a shared draw leaves %g", u95)
	}
}

// The 0.975 quantile of the standard normal distribution is 1.959964 (any table).
func TestNormalDraw(t *testing.T) { near(t, "quantile", Normal(0.975), 1.959964, 1e-6) }

// A product of two rectangular inputs of half width 1 about 0 is nothing with
// either alone, and has the standard deviation 1/3 with both: all of it is
// interaction.
func TestInteraction(t *testing.T) {
	n := 4096
	v := Value{Draws: make([]float64, n), Alone: map[string][]float64{"a": make([]float64, n), "b": make([]float64, n)}}
	a, b := Uniform("a", n), Uniform("b", n)
	for i := range v.Draws {
		v.Draws[i] = (2*a[i] - 1) * (2*b[i] - 1)
	}
	near(t, "interaction", v.Budget()["interaction"], 1.0/3, 0.01)
	if len(v.Budget()) != 1 {
		t.Errorf("budget %v", v.Budget())
	}
}
