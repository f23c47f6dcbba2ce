package vision

import (
	"fmt"
	"math"
	"os"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging/assist"
)

// bound is the Cramer-Rao bound in white noise of this size: the least standard
// deviations any unbiased estimator can have, of the tip along the shaft (px), of
// the axis across at the tip (px) and of its direction (degrees). The model is
// the scene itself with place, direction, width, blur, depth, ground length and
// roll unknown (those that its kind of point has) and an unknown even and sloped
// background; its derivatives are differences of rendered scenes (Kay,
// Fundamentals of Statistical Signal Processing: Estimation Theory, 3.9).
func (c rodScene) bound(sd float64) (along, across, angle float64) {
	dir := r2.Vec{X: math.Cos(c.angle), Y: math.Sin(c.angle)}
	nor := r2.Vec{X: -dir.Y, Y: dir.X}
	moves := []func(c *rodScene, h float64){
		func(c *rodScene, h float64) { c.tip = r2.Add(c.tip, r2.Scale(h, dir)); c.length += h },
		func(c *rodScene, h float64) { c.tip = r2.Add(c.tip, r2.Scale(h, nor)) },
		func(c *rodScene, h float64) { c.angle += h / 100 }, // about the tip
		func(c *rodScene, h float64) { c.width += h },
		func(c *rodScene, h float64) { c.blur += h / 2 },
		func(c *rodScene, h float64) { c.depth += h * sd },
		func(c *rodScene, h float64) { c.length += h },
	}
	if c.kind != blunt {
		moves = append(moves, func(c *rodScene, h float64) { c.ground += 2 * h })
	}
	if c.kind == bevel {
		moves = append(moves, func(c *rodScene, h float64) { c.turn += h / 4 })
	}
	const h = 0.34 // an even number of the renderer's parts of a pixel would alias
	var cols [][]float64
	for _, move := range moves {
		a, b := c, c
		move(&a, h)
		move(&b, -h)
		pa, pb := a.clean(), b.clean()
		col := make([]float64, len(pa.V))
		for i := range col {
			col[i] = float64(pa.V[i]-pb.V[i]) / (2 * h)
		}
		cols = append(cols, col)
	}
	for k := range 3 {
		col := make([]float64, c.side*c.side)
		for i := range col {
			col[i] = [3]float64{1, float64(i%c.side)/100 - 1, float64(i/c.side)/100 - 1}[k]
		}
		cols = append(cols, col)
	}
	n := len(cols)
	f := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			f.SetSym(i, j, dot(cols[i], cols[j])/(sd*sd))
		}
	}
	var inv mat.Dense
	if inv.Inverse(f) != nil {
		return math.NaN(), math.NaN(), math.NaN()
	}
	return math.Sqrt(inv.At(0, 0)), math.Sqrt(inv.At(1, 1)), math.Sqrt(inv.At(2, 2)) / 100 * 180 / math.Pi
}

// tally of one class of needles.
type tally struct {
	n, refused, wrong                 int
	along, across, angle              float64 // sums of squared errors
	said, saidAcross, saidAngle, bias float64 // sums of stated variances
	bound                             [3]float64
}

func (c *tally) rms(v float64) float64 { return math.Sqrt(v / float64(max(1, c.n))) }

// tallyOf renders a class of needles in several places and noises, lets each be
// found, and counts errors against the truth and the bound. kinds are those the
// estimator thinks of.
func tallyOf(t *testing.T, width float64, kind pointKind, cnr float64, places, noises int, kinds []pointKind, withBound bool) tally {
	var out tally
	const sd = 20.0
	for place := range places {
		c := rodScene{side: 256, tip: r2.Vec{X: 128 + 0.37*float64(place), Y: 128.2 + 0.21*float64(place)}, length: 110,
			angle: 0.3 + 1.1*float64(place), width: width, kind: kind, ground: 2 * width, turn: []float64{0.7, 0.2, -0.5, 0}[place%4], blur: 1}
		if kind == blunt {
			c.ground = 0
		}
		// Contrast to noise: the depth of the blurred shadow's middle over the
		// standard deviation of one pixel.
		c.depth = 1
		dark := 0.0
		for _, v := range c.clean().V {
			dark = math.Min(dark, float64(v))
		}
		c.depth = cnr * sd / -dark
		if withBound {
			a, b, g := c.bound(sd)
			out.bound[0] += a * a / float64(places)
			out.bound[1] += b * b / float64(places)
			out.bound[2] += g * g / float64(places)
		}
		clean := c.clean()
		dir := r2.Vec{X: math.Cos(c.angle), Y: math.Sin(c.angle)}
		nor := across(dir)
		for k := range noises {
			p := clean.noisy(sd, 0, uint64(1000*place+k))
			f, why, err := p.needle([]assist.Point{c.clickOn(30+float64(k%4), float64(k%5)-2)}, nil, kinds)
			if err != nil {
				t.Fatal(err)
			}
			if why != "" {
				out.refused++
				continue
			}
			at, along, v := f.axisAt(f.tip.s)
			e := r2.Sub(at, c.tip)
			ea, ex := r2.Dot(e, dir), r2.Dot(e, nor)
			if math.Abs(ea) > 4*math.Sqrt(f.tip.variance)+1e-9 {
				out.wrong++
			}
			eg := math.Asin(r2.Cross(along, dir)) * 180 / math.Pi
			_, slope := f.axisErrors()
			out.n++
			out.along += ea * ea
			out.bias += ea
			out.across += ex * ex
			out.angle += eg * eg
			out.said += f.tip.variance
			out.saidAcross += v
			out.saidAngle += sq(slope * 180 / math.Pi)
		}
	}
	for i := range out.bound {
		out.bound[i] = math.Sqrt(out.bound[i])
	}
	return out
}

// The whole table: error, what was said of it, and the bound, for each class.
// LEADLINE_STUDY=1 runs it.
func TestSimulatedNeedles(t *testing.T) {
	if os.Getenv("LEADLINE_STUDY") == "" {
		t.Skip("set LEADLINE_STUDY=1 for the study of simulated needles")
	}
	all := []pointKind{blunt, bevel, cone}
	for _, known := range []bool{true, false} {
		fmt.Printf("kind of point told beforehand: %v. Shaft 110 px, pixels, degrees; error, (stated), [bound], ratio\n", known)
		for _, width := range []float64{3, 6, 9} {
			for _, kind := range all {
				for _, cnr := range []float64{3, 5, 10} {
					kinds := all
					if known {
						kinds = []pointKind{kind}
					}
					c := tallyOf(t, width, kind, cnr, 4, 30, kinds, true)
					fmt.Printf("%g px %-5s contrast %2g: along %.3f (%.3f) [%.3f] %.2f  across %.3f (%.3f) [%.3f] %.2f  angle %.3f (%.3f) [%.3f] %.2f  refused %d, beyond 4 sd %d of %d\n",
						width, kind, cnr, c.rms(c.along), c.rms(c.said), c.bound[0], c.rms(c.along)/c.bound[0],
						c.rms(c.across), c.rms(c.saidAcross), c.bound[1], c.rms(c.across)/c.bound[1],
						c.rms(c.angle), c.rms(c.saidAngle), c.bound[2], c.rms(c.angle)/c.bound[2], c.refused, c.wrong, c.n)
				}
			}
		}
	}
}
