package pose

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// A view turned by +10 degrees about the patient's long axis is the view whose
// Positioner Primary Angle is 10 degrees larger, one turned about the cross axis
// by +10 the one whose Secondary Angle is 10 smaller at primary 0 (PS3.3
// C.8.7.5.1.2: towards the head is positive; x to the left turns the detector in
// front of the chest towards the feet), seen by the camera of package carm.
func TestTurnsAreThePositioners(t *testing.T) {
	for _, c := range []struct {
		name                   string
		primary                float64
		kind                   Kind
		toPrimary, toSecondary float64
	}{
		{"frontal, long axis", 0, TurnLong, 10, 0},
		{"lateral, long axis", 90, TurnLong, 100, 0},
		{"frontal, cross axis", 0, TurnCross, 0, -10},
		{"lateral, cross axis", 90, TurnCross, 90, -10},
	} {
		b := bodyOf(nominal(t, c.primary, 0))
		var p [kinds]float64
		p[c.kind] = 10
		st := b.at(&p)
		got, err := st.camera()
		if err != nil {
			t.Fatal(err)
		}
		want := nominal(t, c.toPrimary, c.toSecondary)
		for _, q := range []r3.Vec{{}, {X: 40}, {Y: 30}, {Z: -50}, {X: 10, Y: 20, Z: 30}} {
			a, _ := got.Project(q)
			b, _ := want.Project(q)
			near(t, c.name+" column", a.X, b.X, 1e-9)
			near(t, c.name+" row", a.Y, b.Y, 1e-9)
		}
	}
}

// The derivatives are those of the pictures, by differences.
func TestDerivatives(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var most float64
	for range 50 {
		b := bodyOf(nominal(t, 360*rng.Float64()-180, 120*rng.Float64()-60))
		var p [kinds]float64
		for k, by := range [kinds]float64{5, 5, 5, 20, 20, 20, 0.1, 0.1, 10, 10} {
			p[k] = by * rng.NormFloat64()
		}
		point := r3.Vec{X: 50 * rng.NormFloat64(), Y: 50 * rng.NormFloat64(), Z: 50 * rng.NormFloat64()}
		var s, plus, minus seen
		st := b.at(&p)
		if !st.project(point, &s) {
			t.Fatal("behind the source")
		}
		// The picture is that of the camera it stands for.
		c, err := st.camera()
		if err != nil {
			t.Fatal(err)
		}
		q, _ := c.Project(point)
		near(t, "column", s.x, q.X, 1e-8)
		near(t, "row", s.y, q.Y, 1e-8)

		check := func(what string, h float64, gx, gy, gz float64) {
			t.Helper()
			for _, d := range [3][2]float64{{gx, plus.x - minus.x}, {gy, plus.y - minus.y}, {gz, plus.depth - minus.depth}} {
				num := d[1] / (2 * h)
				e := math.Abs(d[0]-num) / (1 + math.Abs(num))
				most = math.Max(most, e)
				if !(e < 1e-6) {
					t.Errorf("%s: %g, by differences %g", what, d[0], num)
				}
			}
		}
		for k := range kinds {
			const h = 1e-5
			for i, o := range []*seen{&plus, &minus} {
				moved := p
				moved[k] += h * float64(1-2*i)
				st := b.at(&moved)
				st.project(point, o)
			}
			check(k.String(), h, s.dx[k], s.dy[k], s.dz[k])
		}
		for i, axis := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
			const h = 1e-4
			st.project(r3.Add(point, r3.Scale(h, axis)), &plus)
			st.project(r3.Sub(point, r3.Scale(h, axis)), &minus)
			check("point", h, s.px[i], s.py[i], s.pz[i])
		}
	}
	t.Logf("largest relative difference %.1e", most)
}
