package curve

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

const python = "/usr/bin/python3"

// scipy asks the reference library; without it the test is skipped, or fails
// where LEADLINE_REQUIRE_TOOLS is 1.
func scipy(t *testing.T, questions, answers any) {
	t.Helper()
	if exec.Command(python, "-c", "import scipy").Run() != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatal("python3-scipy is not installed")
		}
		t.Skip("python3-scipy is not installed: no reference to compare with")
	}
	in, err := json.Marshal(questions)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "testdata/scipy_curve.py")
	cmd.Stdin = bytes.NewReader(in)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(out, answers); err != nil {
		t.Fatal(err)
	}
}

type question struct {
	Points    [][2]float64 `json:"points"`
	Closed    bool         `json:"closed"`
	At        []float64    `json:"at"`
	Origin    [2]float64   `json:"origin"`
	Direction [2]float64   `json:"direction"`
	From      float64      `json:"from"`
	To        float64      `json:"to"`
	Near      [2]float64   `json:"near"`
}

type answer struct {
	Value, Slope [][2]float64
	Cross        []float64
	Length       float64
	Distance     float64
	Chord, Mean  [2]float64
}

func vec(a [2]float64) r2.Vec { return r2.Vec{X: a[0], Y: a[1]} }

// sacrum gives n unevenly spaced points of a margin bent like a sacrum: a hook
// that turns back on itself, so that it is a function of neither coordinate.
func sacrum(rng *rand.Rand, n int) []r2.Vec {
	out := make([]r2.Vec, n)
	for i := range out {
		a := -0.4 + 2.4*(float64(i)+0.35*(rng.Float64()-0.5))/float64(n-1)
		r := 60 + 12*math.Cos(2*a)
		out[i] = r2.Vec{X: 150 - r*math.Cos(a), Y: 100 + r*math.Sin(a)}
	}
	return out
}

// Values, slopes, crossings, lengths, nearest points and chords against scipy
// (CubicSpline, brentq, quad, minimize_scalar) and numpy (svd).
func TestAgainstScipy(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var qs []question
	var curves []*Curve
	for i := range 24 {
		n := 5 + rng.IntN(12)
		closed := i%3 == 2
		pts := sacrum(rng, n)
		if closed {
			for k := range pts {
				a := 2 * math.Pi * (float64(k) + 0.3*rng.Float64()) / float64(n)
				pts[k] = r2.Vec{X: 40 + 9*math.Cos(a) + rng.Float64(), Y: 50 + 6*math.Sin(a)}
			}
		}
		q := question{Closed: closed, From: 0.1 + 0.3*rng.Float64(), To: 0.5 + 0.45*rng.Float64()}
		for _, p := range pts {
			q.Points = append(q.Points, [2]float64{p.X, p.Y})
		}
		for range 9 {
			q.At = append(q.At, rng.Float64())
		}
		middle := pts[n/2]
		a := rng.Float64() * 2 * math.Pi
		q.Origin = [2]float64{middle.X + 3*rng.NormFloat64(), middle.Y + 3*rng.NormFloat64()}
		q.Direction = [2]float64{math.Cos(a), math.Sin(a)}
		q.Near = [2]float64{middle.X + 15*rng.NormFloat64(), middle.Y + 15*rng.NormFloat64()}
		qs = append(qs, q)
		var c *Curve
		var err error
		if closed {
			c, err = Closed(pts)
		} else {
			c, err = New(pts)
		}
		if err != nil {
			t.Fatal(err)
		}
		curves = append(curves, c)
	}
	var as []answer
	scipy(t, qs, &as)
	near := func(what string, i int, got, want, tol float64) {
		t.Helper()
		if !(math.Abs(got-want) <= tol) {
			t.Errorf("curve %d: %s = %.12g, scipy %.12g", i, what, got, want)
		}
	}
	crossed := 0
	for i, q := range qs {
		c, a := curves[i], as[i]
		_, end := c.Range()
		for k, f := range q.At {
			v, s := c.At(f*end), c.Slope(f*end)
			near("x", i, v.X, a.Value[k][0], 1e-9)
			near("y", i, v.Y, a.Value[k][1], 1e-9)
			near("dx/dt", i, s.X, a.Slope[k][0], 1e-9)
			near("dy/dt", i, s.Y, a.Slope[k][1], 1e-9)
		}
		xs := c.CrossLine(Line{vec(q.Origin), vec(q.Direction)})
		if len(xs) != len(a.Cross) {
			t.Errorf("curve %d: %d crossings, scipy %d", i, len(xs), len(a.Cross))
			continue
		}
		for _, x := range xs {
			crossed++
			best := math.Inf(1)
			for _, w := range a.Cross {
				best = math.Min(best, math.Abs(w-x.T))
			}
			near("crossing", i, best, 0, 1e-9)
		}
		near("length", i, c.Length(q.From*end, q.To*end), a.Length, 1e-7)
		if to, ok := c.Advance(q.From*end, a.Length); !ok {
			t.Errorf("curve %d: advance ran off the curve", i)
		} else {
			near("advance", i, to, q.To*end, 1e-6)
		}
		_, d := c.Nearest(vec(q.Near), 0, end)
		near("distance", i, d, a.Distance, 1e-8)
		ch, ok := c.Chord(q.From*end, q.To*end)
		if !ok {
			t.Errorf("curve %d: no chord", i)
			continue
		}
		near("chord direction", i, math.Abs(r2.Dot(ch.Direction, vec(a.Chord))), 1, 1e-9)
		near("chord through mean", i, r2.Norm(r2.Sub(ch.Origin, vec(a.Mean))), 0, 1e-4)
	}
	if crossed < 20 {
		t.Errorf("only %d crossings were compared", crossed)
	}
}

// The order of the points does not matter: any shuffle gives the same curve.
func TestOrderOfPoints(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 60 {
		n := 5 + rng.IntN(20)
		pts := sacrum(rng, n)
		want, err := InOrder(pts)
		if err != nil {
			t.Fatal(err)
		}
		mixed := append([]r2.Vec(nil), pts...)
		rng.Shuffle(n, func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		got, err := New(mixed)
		if err != nil {
			t.Fatal(err)
		}
		_, end := want.Range()
		a, b := got.At(0), want.At(0)
		forward := r2.Norm(r2.Sub(a, b)) < 1e-9
		for k := range 50 {
			f := end * float64(k) / 49
			g := f
			if !forward {
				g = end - f
			}
			if d := r2.Norm(r2.Sub(got.At(g), want.At(f))); d > 1e-7 {
				t.Fatalf("n = %d: off by %g at %g of %g", n, d, f, end)
			}
		}
	}
}

// Points already in order stay as they are, direction and all.
func TestOrderKeepsDirection(t *testing.T) {
	pts := sacrum(rand.New(rand.NewPCG(5, 6)), 11)
	for i, k := range Order(pts) {
		if i != k {
			t.Fatalf("order %v", Order(pts))
		}
	}
}

// A circle of radius r: circumference 2 pi r, and 13 points are enough to meet
// it to a part in a thousand.
func TestClosedCircle(t *testing.T) {
	const r = 7.0
	var pts []r2.Vec
	for i := range 13 {
		a := 2 * math.Pi * float64(i) / 13
		pts = append(pts, r2.Vec{X: 20 + r*math.Cos(a), Y: 30 + r*math.Sin(a)})
	}
	c, err := Closed(pts)
	if err != nil {
		t.Fatal(err)
	}
	_, end := c.Range()
	if l := c.Length(0, end); math.Abs(l-2*math.Pi*r) > 2e-3*r {
		t.Errorf("circumference %g, want %g", l, 2*math.Pi*r)
	}
	lo, hi := c.Extent(r2.Vec{X: 1})
	if math.Abs(lo-13) > 0.005 || math.Abs(hi-27) > 0.005 {
		t.Errorf("extent %g to %g, want 13 to 27", lo, hi)
	}
}

// Two curves cross where their lines do: parabola y = x²/40 and the line
// y = x/4 marked as a curve meet at x = 0 and x = 10 (by hand).
func TestCrossCurve(t *testing.T) {
	var a, b []r2.Vec
	for i := range 21 {
		x := -20 + 2.5*float64(i) // 0 and 10 are points of the parabola
		a = append(a, r2.Vec{X: x, Y: x * x / 40})
		x = -20 + 2.1*float64(i)
		b = append(b, r2.Vec{X: x, Y: x / 4})
	}
	ca, err := InOrder(a)
	if err != nil {
		t.Fatal(err)
	}
	cb, err := InOrder(b)
	if err != nil {
		t.Fatal(err)
	}
	xs := ca.CrossCurve(cb)
	if len(xs) != 2 {
		t.Fatalf("%d crossings, want 2", len(xs))
	}
	for i, want := range []float64{0, 10} {
		if math.Abs(xs[i].Point.X-want) > 1e-9 {
			t.Errorf("crossing %d at x = %g, want %g", i, xs[i].Point.X, want)
		}
		if d := r2.Norm(r2.Sub(cb.At(xs[i].S), xs[i].Point)); d > 1e-9 {
			t.Errorf("crossing %d: the curves are %g apart", i, d)
		}
	}
}

func TestRefusals(t *testing.T) {
	line := func(n int) (p []r2.Vec) {
		for i := range n {
			p = append(p, r2.Vec{X: float64(i)})
		}
		return p
	}
	twice := line(6)
	twice[3] = twice[2]
	nan := line(6)
	nan[1].Y = math.NaN()
	for name, err := range map[string]error{
		"four points": second(New(line(4))),
		"coincident":  second(InOrder(twice)),
		"not number":  second(InOrder(nan)),
		"closed four": second(Closed(line(4))),
	} {
		if !errors.Is(err, ErrPoints) {
			t.Errorf("%s: error %v", name, err)
		}
	}
}

func second(_ *Curve, err error) error { return err }

// Points past the ends are not on the curve: nothing is extrapolated.
func TestNoExtrapolation(t *testing.T) {
	pts := sacrum(rand.New(rand.NewPCG(7, 8)), 9)
	c, err := New(pts)
	if err != nil {
		t.Fatal(err)
	}
	first, last := c.Range()
	beyond := Line{Origin: r2.Add(pts[0], r2.Scale(5, c.Tangent(first))), Direction: r2.Unit(r2.Vec{X: -c.Tangent(first).Y, Y: c.Tangent(first).X})}
	beyond.Origin = r2.Sub(pts[0], r2.Scale(5, c.Tangent(first)))
	for _, x := range c.CrossLine(beyond) {
		if x.T < 1 {
			t.Errorf("a line before the first point crosses at %g", x.T)
		}
	}
	if _, ok := c.Advance(last/2, 2*last); ok {
		t.Error("advance past the end says it arrived")
	}
}

func BenchmarkNew13(b *testing.B) {
	pts := sacrum(rand.New(rand.NewPCG(1, 2)), 13)
	for b.Loop() {
		if _, err := InOrder(pts); err != nil {
			b.Fatal(err)
		}
	}
}

// Points whose chord vanishes beside the curve's length give an error, whatever
// their scale, never a panic.
func TestVanishingChords(t *testing.T) {
	for _, s := range []float64{1e-300, 1e-30, 1, 1e30, 1e300} {
		for _, gap := range []float64{1e-30, 1e-12} {
			pts := []r2.Vec{{X: 0}, {X: s}, {X: 2 * s}, {X: 3 * s}, {X: 3*s + gap*s}, {X: 4 * s}}
			if _, err := InOrder(pts); !errors.Is(err, ErrPoints) {
				t.Errorf("scale %g, gap %g: %v", s, gap, err)
			}
			if _, err := Closed(pts); !errors.Is(err, ErrPoints) {
				t.Errorf("closed, scale %g, gap %g: %v", s, gap, err)
			}
		}
	}
}
