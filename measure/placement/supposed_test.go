package placement_test

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
)

// withoutGeometry is a case of a C-arm that writes none: the films stand up to
// 5 degrees off, at distances up to 10 % other than supposed, shifted by some
// centimetres, and the header gives neither spacing nor angles. What the
// observer states is view, cranial and left; what they know is the needle's
// length.
func withoutGeometry(seed uint64, length bool) (*world, mark.Book, truth) {
	w := newWorld(seed)
	w.front.primary, w.side.primary = 180+w.uniform(4), 90+w.uniform(4)
	w.front.secondary, w.side.secondary = w.uniform(4), w.uniform(4)
	w.side.shift = r3.Vec{X: w.uniform(20), Y: w.uniform(20), Z: w.uniform(20)}
	for _, v := range []*view{&w.front, &w.side} {
		v.sid = placement.SupposedDetector * (1 + w.uniform(0.1))
		v.sod = placement.SupposedIsocentre * (1 + w.uniform(0.1))
		v.spacing = placement.SupposedField / 1024
		v.said = imaging.Geometry{Kind: imaging.KindXA, Columns: 1024, Rows: 1024}
	}
	b := w.marks(0.5, func(mark.Structure) float64 { return 1 })
	for i := range b.Marks {
		b.Marks[i].SD = imaging.Known(0.5)
	}
	if length {
		for _, v := range []struct {
			view *view
			uid  string
		}{{&w.front, frontUID}, {&w.side, sideUID}} {
			w.add(&b, v.view, v.uid, mark.KnownLength, "N1", w.hub, w.tip)
			m := &b.Marks[len(b.Marks)-1]
			m.Detail, m.SD = decimal(r3.Norm(r3.Sub(w.tip, w.hub))), imaging.Known(0.5)
		}
	}
	b.Statements = []mark.Statement{
		{Observer: "Observer A", Frame: mark.One(frontUID, 1), View: imaging.Frontal, Cranial: imaging.Top, PatientLeft: imaging.Left, SideBasis: mark.LeadMarker},
		{Observer: "Observer A", Frame: mark.One(sideUID, 1), View: imaging.Lateral, Cranial: imaging.Top},
	}
	return w, b, w.truth()
}

// Without any geometry in the header a known length makes a scale of both films
// together; without one nothing is guessed, and what to mark is said.
func TestWithoutGeometry(t *testing.T) {
	n, held := 40, 0
	var square float64
	for seed := range uint64(n) {
		w, b, want := withoutGeometry(300+seed, true)
		p := w.compute(b, placement.Options{})
		r, ok := find(p, "tip-depth-along-needle", placement.Plane3D)
		o, okO := find(p, "entry-offset-midline", placement.Plane3D)
		if !ok || !okO {
			t.Fatalf("seed %d: %v", seed, p.Missing)
		}
		if r.Lo <= want.depth && want.depth <= r.Hi && o.Lo <= want.offset && want.offset <= o.Hi {
			held++
		}
		square += math.Pow(o.Value/want.offset-1, 2)
		if !strings.Contains(r.Scale, "known lengths") || r.Magnified {
			t.Errorf("scale %q", r.Scale)
		}
	}
	// Both at once in at least 90 % of cases, 36 of 40, less one binomial standard
	// deviation.
	if held < 34 {
		t.Errorf("%d of %d cases lie in both intervals", held, n)
	}
	t.Logf("offset from midline: %.1f %% RMS; %d of %d held", 100*math.Sqrt(square/float64(n)), held, n)

	w, b, _ := withoutGeometry(7, false)
	p := w.compute(b, placement.Options{})
	if _, ok := find(p, "tip-depth-along-needle", placement.Plane3D); ok {
		t.Error("a depth in mm was made of nothing")
	}
	said := ""
	for _, m := range p.Missing {
		if m.Quantity == placement.Plane3D {
			said = m.Because
		}
	}
	if !strings.Contains(said, "known length") {
		t.Errorf("what is missing is told as %q", said)
	}
}
