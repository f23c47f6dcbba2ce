package placement_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/pose"
)

// turnedWorld lies turned against the C-arm, with its sciatic notches marked on
// the lateral film.
func turnedWorld(seed uint64, roll, tilt float64) (*world, mark.Book) {
	w := newWorld(seed)
	w.front.primary, w.side.primary = 180, 90
	w.front.say()
	w.side.say()
	w.toHeader, w.headerIsTurned = turnAbout(roll, tilt), true
	b := w.marks(0, nil)
	for i, side := range []mark.Side{mark.LeftSide, mark.RightSide} {
		x := w.midX + []float64{placement.NotchHalf, -placement.NotchHalf}[i]
		w.add(&b, &w.side, sideUID, mark.SciaticNotch, "", r3.Vec{X: x, Y: w.ventral(w.entry.Z).Y - 20, Z: w.entry.Z + 15})
		b.Marks[len(b.Marks)-1].Side = side
	}
	return w, b
}

// A patient who lies turned by some degrees: the notches tell it, both films
// together are corrected by it, and the interval is narrower than without. A
// single plane stays as it is.
func TestTurnedByNotches(t *testing.T) {
	for seed := range uint64(12) {
		w, b := turnedWorld(90+seed, 4, -3)
		want := w.truth()
		with := w.compute(b, placement.Options{})
		without := b.Clone()
		without.Marks = without.Marks[:len(b.Marks)-2]
		bare := w.compute(without, placement.Options{})
		a, okA := find(with, "tip-depth-along-needle", placement.Plane3D)
		o, okO := find(bare, "tip-depth-along-needle", placement.Plane3D)
		if !okA || !okO {
			t.Fatalf("seed %d: no depth: %v", seed, with.Missing)
		}
		// The midline lies up to 8 mm off the isocentre, which the notches' solution
		// does not know: some hundredths of a degree.
		if math.Abs(a.Value-want.depth) > 0.1 || math.Abs(o.Value-want.depth) < 3*math.Abs(a.Value-want.depth) {
			t.Errorf("seed %d: depth %.3f corrected, %.3f not, true %.3f", seed, a.Value, o.Value, want.depth)
		}
		if a.U95 > 0.95*o.U95 {
			t.Errorf("seed %d: u95 %.2f with the notches, %.2f without", seed, a.U95, o.U95)
		}
		la, _ := find(with, "tip-depth-along-needle", "lateral")
		lo, _ := find(bare, "tip-depth-along-needle", "lateral")
		if la.Value != lo.Value {
			t.Errorf("seed %d: the single plane was corrected, %g to %g", seed, lo.Value, la.Value)
		}
		if want.depth < la.Lo || want.depth > la.Hi {
			t.Errorf("seed %d: lateral %g to %g does not hold %g", seed, la.Lo, la.Hi, want.depth)
		}
	}
	w, b := turnedWorld(5, 7, 0)
	if p := w.compute(b, placement.Options{}); !slices.Contains(p.Cautions, placement.CautionRotated) {
		t.Errorf("seven degrees of roll by the notches, and no word of it: %q", p.Cautions)
	}
	w, b = turnedWorld(5, 0, 0)
	if p := w.compute(b, placement.Options{}); slices.Contains(p.Cautions, placement.CautionRotated) {
		t.Errorf("a true film is called rotated: %q", p.Cautions)
	}
}

// Two needles at different heights: exchanged on the lateral film they do not
// fit, and it is told; at one height nothing can be told. A mirrored frontal
// film fits as well as the film itself, so the verdict is never a side.
func TestIdentity(t *testing.T) {
	two := func(apart float64, exchanged bool) placement.Placement {
		w := newWorld(41)
		w.front.primary, w.side.primary = 180, 90
		w.front.say()
		w.side.say()
		w.needle(20, 4)
		b := w.marks(0, nil)
		hub, tip := w.hub, w.tip
		move := func(p r3.Vec) r3.Vec { return r3.Vec{X: 2*w.midX - p.X, Y: p.Y + 0.3*apart, Z: p.Z - apart} }
		w.add(&b, &w.side, sideUID, mark.Needle, "N2", move(hub), move(r3.Scale(0.5, r3.Add(hub, tip))), move(tip))
		w.add(&b, &w.front, frontUID, mark.Needle, "N2", move(hub), move(r3.Scale(0.5, r3.Add(hub, tip))), move(tip))
		if exchanged {
			for i := range b.Marks {
				if m := &b.Marks[i]; m.Structure == mark.Needle && m.Frame.Instance == sideUID {
					m.Object = map[string]string{"N1": "N2", "N2": "N1"}[m.Object]
				}
			}
		}
		return w.compute(b, placement.Options{MarkingSD: imaging.Known(1)})
	}
	said := func(p placement.Placement, word string) bool {
		return slices.ContainsFunc(p.Cautions, func(c string) bool { return strings.Contains(c, word) })
	}
	if p := two(12, true); !said(p, "exchanged on the lateral film") {
		t.Errorf("exchanged needles 12 mm apart: %q, %+v", p.Cautions, p.Identities)
	}
	for _, apart := range []float64{12, 0.5} {
		p := two(apart, false)
		if said(p, "exchanged on the lateral film") || len(p.Identities) != 1 {
			t.Errorf("%g mm apart, as labelled: %q, %+v", apart, p.Cautions, p.Identities)
			continue
		}
		k := p.Identities[0]
		if len(k.Readings) != 3 || k.Verdict != placement.CannotTell || !said(p, placement.CautionIdentity) {
			t.Errorf("%g mm apart: %+v", apart, k)
		}
		// A film that stands true is not told from its mirror image: what differs is
		// the perspective of points off the axis, far below what counts as told apart.
		if d := k.Readings[2].ChiSquare - k.Readings[0].ChiSquare; math.Abs(d) >= pose.Separation {
			t.Errorf("mirrored: %g worse", d)
		}
	}
}
