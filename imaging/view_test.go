package imaging

import (
	"math"
	"testing"
)

// Views by the positioner's angles (PS3.3 C.8.7.5.1.2): 0 has the detector in
// front of the chest, +90 at the patient's left; frontal and lateral reach 20
// degrees to either side, both angles counted.
func TestViewByAngles(t *testing.T) {
	for _, c := range []struct {
		p, s float64
		want View
	}{
		{0, 0, Frontal}, {180, 0, Frontal}, {-180, 0, Frontal}, {20, 0, Frontal}, {21, 0, Oblique}, {-161, 20, Frontal},
		{90, 0, Lateral}, {-90, 0, Lateral}, {70, -20, Lateral}, {69.9, 0, Oblique}, {-110, 0, Lateral}, {90, 20.5, Oblique},
		{45, 0, Oblique}, {0, 25, Oblique}, {270, 0, Lateral},
	} {
		g := Geometry{PrimaryAngle: Known(c.p), SecondaryAngle: Known(c.s)}
		if v, ok := g.ViewByAngles(); !ok || v != c.want {
			t.Errorf("%g, %g: %q", c.p, c.s, v)
		}
	}
	if _, ok := (Geometry{PrimaryAngle: Known(0)}).ViewByAngles(); ok {
		t.Error("a view from one angle")
	}
}

// How far off: by hand for one angle at a time, and cos total = cos a cos b for
// both (spherical right triangle).
func TestOffView(t *testing.T) {
	for _, c := range []struct {
		view        View
		p, s, total float64
	}{
		{Lateral, 90, 0, 0}, {Lateral, -90, 0, 0}, {Lateral, 80, 0, 10}, {Lateral, -102, 0, 12}, {Lateral, 90, -15, 15},
		{Frontal, 180, 0, 0}, {Frontal, -175, 0, 5}, {Frontal, 10, 0, 10},
		{Frontal, 12, 9, math.Acos(math.Cos(12*math.Pi/180)*math.Cos(9*math.Pi/180)) * 180 / math.Pi},
	} {
		g := Geometry{PrimaryAngle: Known(c.p), SecondaryAngle: Known(c.s)}
		total, p, s, ok := g.OffView(c.view)
		if !ok || math.Abs(total-c.total) > 1e-5 || math.Abs(s-math.Abs(c.s)) > 1e-9 || c.s == 0 && math.Abs(p-c.total) > 1e-5 {
			t.Errorf("%s at %g, %g: %g (%g, %g)", c.view, c.p, c.s, total, p, s)
		}
	}
	if _, _, _, ok := (Geometry{PrimaryAngle: Known(0), SecondaryAngle: Known(0)}).OffView(Oblique); ok {
		t.Error("an oblique view has no true direction")
	}
}

// The edges of Patient Orientation (PS3.3 C.7.6.1.1.1): the first letter is
// towards the right of a row, the second down a column.
func TestEdgeOf(t *testing.T) {
	for _, c := range []struct {
		row, column string
		letter      byte
		want        Edge
	}{
		{"L", "F", 'L', Right}, {"L", "F", 'R', Left}, {"L", "F", 'H', Top}, {"L", "F", 'F', Bottom}, {"L", "F", 'A', NoEdge},
		{"R", "F", 'L', Left}, {"P", "F", 'A', Left}, {"H", "L", 'H', Right}, {"H", "L", 'L', Bottom}, {"LH", "F", 'L', Right}, {"", "F", 'L', NoEdge},
	} {
		if e := (Orientation{c.row, c.column}).EdgeOf(c.letter); e != c.want {
			t.Errorf("%s\\%s: %c at %q, want %q", c.row, c.column, c.letter, e, c.want)
		}
	}
	for _, e := range []Edge{Left, Right, Top, Bottom} {
		x, y := e.Direction()
		u, v := e.Opposite().Direction()
		if x != -u || y != -v || x*x+y*y != 1 {
			t.Errorf("%s and its opposite point (%g, %g) and (%g, %g)", e, x, y, u, v)
		}
	}
}
