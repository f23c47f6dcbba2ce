package vision

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging/assist"
)

// A few classes of the study against the Cramer-Rao bound of the scene: error at
// most 1.3 times the bound and the stated standard deviation within what 24
// needles can tell (one in 10,000 by chance: 50 %). The bound's derivation stands
// at rodScene.bound.
func TestNeedlesAgainstTheBound(t *testing.T) {
	for _, class := range []struct {
		width float64
		kind  pointKind
	}{{3, blunt}, {6, blunt}, {6, bevel}} {
		c := tallyOf(t, class.width, class.kind, 5, 2, 12, []pointKind{class.kind}, true)
		t.Logf("%g px %s: along %.3f said %.3f bound %.3f; across %.3f said %.3f bound %.3f", class.width, class.kind,
			c.rms(c.along), c.rms(c.said), c.bound[0], c.rms(c.across), c.rms(c.saidAcross), c.bound[1])
		if c.refused > 0 || c.wrong > 0 {
			t.Errorf("%g px %s: %d refused, %d beyond four standard deviations", class.width, class.kind, c.refused, c.wrong)
		}
		// An error's own scatter over 24 needles is 15 %.
		const chance = 1.15
		if c.rms(c.along) > 1.3*chance*c.bound[0] || c.rms(c.across) > 1.3*chance*c.bound[1] {
			t.Errorf("%g px %s: along %.3f of %.3f, across %.3f of %.3f", class.width, class.kind, c.rms(c.along), c.bound[0], c.rms(c.across), c.bound[1])
		}
		for _, r := range []float64{c.rms(c.along) / c.rms(c.said), c.rms(c.across) / c.rms(c.saidAcross)} {
			if r < 0.5 || r > 1.5 {
				t.Errorf("%g px %s: error is %.2f of what is said", class.width, class.kind, r)
			}
		}
		if a := c.rms(c.angle); a > 0.1 {
			t.Errorf("%g px %s: direction %.3f degrees off", class.width, class.kind, a)
		}
	}
}

// What cannot be told is refused, with why.
func TestNeedlesRefused(t *testing.T) {
	c := rodScene{side: 256, tip: r2.Vec{X: 150, Y: 120}, angle: 0.3, length: 110, width: 5, kind: blunt, blur: 1, depth: 200}
	kinds := []pointKind{blunt, bevel, cone}
	for name, p := range map[string]struct {
		picture Picture
		near    assist.Point
	}{
		"nothing there":    {Picture{256, 256, make([]float32, 256*256)}.noisy(20, 0, 1), assist.Point{X: 100, Y: 100}},
		"far from it":      {c.clean().noisy(20, 0, 1), assist.Point{X: 40, Y: 230}},
		"contrast too low": {c.clean().noisy(400, 0, 1), c.clickOn(40, 0)},
		"tip outside":      {rodScene{side: 256, tip: r2.Vec{X: 300, Y: 120}, angle: 0, length: 400, width: 5, kind: blunt, blur: 1, depth: 200}.clean().noisy(20, 0, 1), assist.Point{X: 128, Y: 121}},
	} {
		n, why, err := p.picture.needle([]assist.Point{p.near}, nil, kinds)
		if err != nil {
			t.Fatal(err)
		}
		if why == "" {
			t.Errorf("%s: a needle with its tip at %.1f, sure %.2f", name, n.tip.s, n.sure)
		}
		t.Logf("%s: %s", name, why)
	}
}

// A click may lie beside the shaft, on its tip, or a little beyond it: the tip is
// the same.
func TestClicksAboutTheTip(t *testing.T) {
	c := rodScene{side: 256, tip: r2.Vec{X: 150, Y: 120}, angle: 0.3, length: 110, width: 5, kind: blunt, blur: 1, depth: 200}
	p := c.clean().noisy(20, 0.5, 1)
	for _, back := range []float64{50, 10, 2, 0, -4} {
		n, why, err := p.needle([]assist.Point{c.clickOn(back, 2)}, nil, []pointKind{blunt})
		if why != "" || err != nil {
			t.Errorf("click %g px behind the tip: %v %v", back, why, err)
			continue
		}
		at, _, _ := n.axisAt(n.tip.s)
		if d := r2.Norm(r2.Sub(at, c.tip)); d > 0.6 {
			t.Errorf("click %g px behind the tip: %.2f px off", back, d)
		}
	}
}

// Of two needles that cross, the one clicked on is followed.
func TestCrossingNeedles(t *testing.T) {
	a := rodScene{side: 256, tip: r2.Vec{X: 190, Y: 150}, angle: 0.3, length: 130, width: 5, kind: blunt, blur: 1, depth: 150}
	b := a
	b.tip, b.angle = r2.Vec{X: 190, Y: 110}, -0.25
	p := a.clean()
	for i, v := range b.clean().V {
		p.V[i] += v
	}
	p = p.noisy(15, 0.5, 4)
	for _, c := range []rodScene{a, b} {
		n, why, err := p.needle([]assist.Point{c.clickOn(25, 2)}, nil, []pointKind{blunt})
		if why != "" || err != nil {
			t.Fatal(why, err)
		}
		at, _, _ := n.axisAt(n.tip.s)
		if d := r2.Norm(r2.Sub(at, c.tip)); d > 1 {
			t.Errorf("tip %.2f px off", d)
		}
	}
}

// The end shapes agree with their solids, sampled along the ray by the renderer.
func TestEndAgainstRenderedRod(t *testing.T) {
	for _, kind := range []pointKind{blunt, bevel, cone} {
		// The tip lies between two of the renderer's parts of a pixel.
		c := rodScene{side: 64, tip: r2.Vec{X: 44 + 2.0/3, Y: 32.5}, length: 90, width: 6, kind: kind, ground: 9, turn: 0.5, depth: 1, blur: 1.2}
		if kind == blunt {
			c.ground = 0
		}
		// A pixel's own extent blurs besides: a twelfth of its square.
		full := newProfile(6, math.Sqrt(1.44+1.0/12), 16)
		e := newEnding(point{kind, c.ground, 0.5}, full)
		p := c.clean()
		worst := 0.0
		for y := 24; y < 41; y++ {
			for x := 20; x < 56; x++ {
				worst = math.Max(worst, math.Abs(-p.At(x, y)-e.at(float64(x)+0.5-c.tip.X, float64(y)+0.5-32.5)))
			}
		}
		if worst > 0.03 {
			t.Errorf("%s: %.3f of the depth off", kind, worst)
		}
	}
}

// Every matrix of OpenCV is released, whether a needle is found or not.
func TestMatricesAreReleased(t *testing.T) {
	c := rodScene{side: 256, tip: r2.Vec{X: 150, Y: 120}, angle: 0.3, length: 110, width: 5, kind: blunt, blur: 1, depth: 200}
	p := c.clean().noisy(20, 0, 1)
	before := held.Load()
	for _, near := range []assist.Point{c.clickOn(40, 1), {X: 30, Y: 220}} {
		if _, _, err := p.needle([]assist.Point{near}, nil, []pointKind{blunt}); err != nil {
			t.Fatal(err)
		}
	}
	if n := held.Load() - before; n != 0 {
		t.Errorf("%d matrices are still open", n)
	}
}
