package vision

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/imaging/phantom"
	"leadline/measure/curve"
)

// ventralTruth is the projected ventral margin but for its ends.
func ventralTruth(t testing.TB, b phantom.Backdrop) []r2.Vec {
	t.Helper()
	for _, c := range b.Curves() {
		if c.Structure == "ventral-margin" {
			var out []r2.Vec
			n := float64(len(c.Points) - 1)
			for i, p := range c.Points {
				if f := float64(i) / n; f >= 0.06 && f <= 0.94 {
					out = append(out, r2.Vec{X: p[0], Y: p[1]})
				}
			}
			return out
		}
	}
	t.Fatal("no ventral margin")
	return nil
}

// sixClicks along a line, each off by a standard deviation of sd px a coordinate.
func sixClicks(line []r2.Vec, sd float64, r *rand.Rand) []r2.Vec {
	var out []r2.Vec
	for k := range 6 {
		out = append(out, r2.Add(line[k*(len(line)-1)/5], r2.Vec{X: sd * r.NormFloat64(), Y: sd * r.NormFloat64()}))
	}
	return out
}

// lineGap is the distance of a point from a polyline.
func lineGap(line []r2.Vec, p r2.Vec) float64 {
	best := math.Inf(1)
	for i := 1; i < len(line); i++ {
		e, d := r2.Sub(line[i], line[i-1]), r2.Sub(p, line[i-1])
		f := max(0, min(1, r2.Dot(d, e)/r2.Norm2(e)))
		best = min(best, r2.Norm(r2.Sub(d, r2.Scale(f, e))))
	}
	return best
}

// Six clicks with a scatter of 2 px along the ventral margin of the made-up body
// on a field of 228 mm: the mean distance to the projected truth is 1 px at most.
// The spline the project measures by, through the vertices suggested, stays within
// 0.3 px of the line followed.
func TestMargin(t *testing.T) {
	b := bodyFrom(t, 0)
	truth := ventralTruth(t, b)
	r := rand.New(rand.NewPCG(3, 3))
	for _, e := range []phantom.Exposure{{Seed: 5}, {Quanta: 150, Seed: 6, Needles: true}} {
		got, err := findMargin(pictureOf(t, b.Film(e)), sixClicks(truth, 2, r))
		if err != nil {
			t.Fatal(err)
		}
		mean, worst := 0.0, 0.0
		for _, q := range got.line.points {
			d := lineGap(truth, q)
			mean, worst = mean+d/float64(len(got.line.points)), max(worst, d)
		}
		var at []r2.Vec
		for _, i := range got.line.vertices(vertexTolerance) {
			at = append(at, got.line.points[i])
		}
		c, err := curve.InOrder(at)
		if err != nil {
			t.Fatal(err)
		}
		lo, hi := c.Range()
		off := 0.0
		for _, q := range got.line.points {
			_, d := c.Nearest(q, lo, hi)
			off = max(off, d)
		}
		t.Logf("mean %.2f px from the truth, worst %.2f; %d vertices, spline within %.2f px; %d rivals", mean, worst, len(at), off, len(got.rivals))
		if !(mean <= 1) {
			t.Errorf("mean distance %.2f px", mean)
		}
		if off > vertexTolerance+0.005 {
			t.Errorf("the spline through %d vertices leaves the line by %.2f px", len(at), off)
		}
	}
}

// plain is a picture of grounds parted by vertical edges, with noise: value as a
// function of the column.
func plain(value func(x float64) float64, noise float64, seed uint64) Picture {
	p := Picture{Columns: 256, Rows: 256, V: make([]float32, 256*256)}
	r := rand.New(rand.NewPCG(seed, 1))
	for i := range p.V {
		p.V[i] = float32(value(float64(i%256)+0.5) + noise*r.NormFloat64())
	}
	return p
}

// A second edge planted beside the first, as strong: it is returned, and the
// uncertainty grows to about its odds, half of the distance. Without it there is
// none, and the edge stands where it was drawn.
func TestRivalEdge(t *testing.T) {
	step := func(x, at float64) float64 { return normalCDF((x - at) / 1.5) }
	points := []r2.Vec{{X: 128, Y: 20}, {X: 127, Y: 120}, {X: 129, Y: 235}}
	alone, err := findMargin(plain(func(x float64) float64 { return 1000 + 400*step(x, 128) }, 30, 1), points)
	if err != nil {
		t.Fatal(err)
	}
	var sd, off, squares float64
	n := float64(len(alone.sd))
	for i, q := range alone.line.points {
		sd, off, squares = sd+alone.sd[i]/n, off+(q.X-128)/n, squares+(q.X-128)*(q.X-128)/n
	}
	t.Logf("alone: %.3f px off on average, scatter %.3f, stated %.3f, rivals %d", off, math.Sqrt(squares), sd, len(alone.rivals))
	if len(alone.rivals) != 0 || math.Abs(off) > 0.1 || math.Sqrt(squares) > 2*sd || sd > 0.6 {
		t.Errorf("a single edge: %d rivals, off %.2f px, scatter %.2f, stated %.2f", len(alone.rivals), off, math.Sqrt(squares), sd)
	}
	for _, apart := range []float64{6, 9} {
		both, err := findMargin(plain(func(x float64) float64 { return 1000 + 400*step(x, 128) + 400*step(x, 128+apart) }, 30, 2), points)
		if err != nil {
			t.Fatal(err)
		}
		mean := 0.0
		for _, s := range both.sd {
			mean += s / float64(len(both.sd))
		}
		t.Logf("rival at %g px: stated %.2f, %d rivals", apart, mean, len(both.rivals))
		if len(both.rivals) == 0 {
			t.Errorf("an edge %g px beside is not told", apart)
			continue
		}
		if d := both.rivals[0].distance; math.Abs(d-apart) > 1 {
			t.Errorf("the rival at %g px is told at %.1f", apart, d)
		}
		if mean < 0.4*apart {
			t.Errorf("rival at %g px: stated %.2f px only", apart, mean)
		}
	}
}

// In noise alone there is no margin.
func TestNoMargin(t *testing.T) {
	flat := plain(func(float64) float64 { return 1000 }, 30, 4)
	if _, err := findMargin(flat, []r2.Vec{{X: 30, Y: 40}, {X: 120, Y: 130}, {X: 220, Y: 200}}); !errors.Is(err, errNotSeen) {
		t.Error("a margin in noise:", err)
	}
	if _, err := findMargin(flat, []r2.Vec{{X: 30, Y: 40}}); !errors.Is(err, imaging.ErrBadInput) {
		t.Error("one click:", err)
	}
}

func BenchmarkMargin(b *testing.B) {
	body := bodyFrom(b, 0)
	p := pictureOf(b, body.Film(phantom.Exposure{Seed: 5}))
	points := sixClicks(ventralTruth(b, body), 0, rand.New(rand.NewPCG(1, 1)))
	for b.Loop() {
		if _, err := findMargin(p, points); err != nil {
			b.Fatal(err)
		}
	}
}
