package scene

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/placement"
	"leadline/measure/scale"
)

func film(v imaging.View, cranial, left imaging.Edge) placement.FilmReading {
	return placement.FilmReading{
		Film:    placement.Film{Geometry: imaging.Geometry{Columns: 640, Rows: 480}},
		View:    v,
		Cranial: cranial, PatientLeft: left,
		Scale: scale.Scale{Row: 0.3, Column: 0.2, Known: true},
	}
}

var edges = []imaging.Edge{imaging.Top, imaging.Right, imaging.Bottom, imaging.Left}

// middle of an edge of the stored frame.
func middle(e imaging.Edge) r2.Vec {
	x, y := e.Direction()
	return r2.Vec{X: 320 + 320*x, Y: 240 + 240*y}
}

func TestViewBringsCranialUpAndNeverMirrors(t *testing.T) {
	for _, cranial := range edges {
		v := NewView(film(imaging.Frontal, cranial, imaging.NoEdge), Box(10, 20, 500, 400), 1)
		top := v.ToPane(middle(cranial))
		if c := v.Pane.Centre(); math.Abs(top.X-c.X) > 1e-9 || top.Y >= c.Y {
			t.Errorf("cranial at %s is shown at %v of pane %v", cranial, top, v.Pane)
		}
		// A turn keeps handedness: the determinant of x' = a x + b y, y' = d x + e y
		// is positive for a rotation and negative for a mirror image.
		a, b, _, d, e, _ := v.Affine()
		if a*e-b*d <= 0 {
			t.Errorf("cranial at %s: the view mirrors", cranial)
		}
		// Pixels of 0.2 mm by 0.3 mm are shown in that shape.
		if got := math.Hypot(b, e) / math.Hypot(a, d); math.Abs(got-1.5) > 1e-12 {
			t.Errorf("cranial at %s: a pixel's height is %g of its width, want 1.5", cranial, got)
		}
		for _, corner := range []r2.Vec{{}, {X: 640}, {Y: 480}, {X: 640, Y: 480}} {
			if p := v.ToPane(corner); !v.Pane.Inset(-1e-9).Has(p) {
				t.Errorf("cranial at %s: corner %v lies outside the pane at %v", cranial, corner, p)
			}
			if back := v.ToImage(v.ToPane(corner)); r2.Norm(r2.Sub(back, corner)) > 1e-9 {
				t.Errorf("cranial at %s: %v comes back as %v", cranial, corner, back)
			}
		}
		for _, e := range edges {
			p, c := v.ToPane(middle(e)), v.Pane.Centre()
			x, y := v.EdgeShown(e).Direction()
			if d := r2.Sub(p, c); d.X*x+d.Y*y < 10 {
				t.Errorf("cranial at %s: edge %s is said to be at %s but is drawn at %v", cranial, e, v.EdgeShown(e), d)
			}
		}
	}
}

func TestZoomKeepsThePointUnderTheCursor(t *testing.T) {
	v := NewView(film(imaging.Lateral, imaging.Left, imaging.NoEdge), Box(0, 0, 600, 600), 1)
	at := r2.Vec{X: 123, Y: 456}
	before := v.ToImage(at)
	if after := v.ZoomAbout(at, 3.7).ToImage(at); r2.Norm(r2.Sub(after, before)) > 1e-9 {
		t.Errorf("the point under the cursor moved from %v to %v", before, after)
	}
	p := v.ToPane(r2.Vec{X: 50, Y: 60})
	if q := v.Pan(r2.Vec{X: 7, Y: -3}).ToPane(r2.Vec{X: 50, Y: 60}); r2.Norm(r2.Sub(q, r2.Add(p, r2.Vec{X: 7, Y: -3}))) > 1e-9 {
		t.Errorf("panning by 7,-3 took %v to %v", p, q)
	}
}

// PS3.3 C.7.6.1.1.1: Patient Orientation names the direction of the rows, then
// of the columns. A reader who faces the patient sees the patient's left on his
// own right; one who stands behind sees it on his own left. One who looks at the
// patient's left flank sees the front to his own left.
func TestSeenFrom(t *testing.T) {
	for _, c := range []struct {
		view imaging.View
		row  string
		col  string
		want string
	}{
		{imaging.Frontal, "L", "F", "seen from the front"},
		{imaging.Frontal, "R", "F", "seen from behind"},
		{imaging.Frontal, "R", "H", "seen from the front"}, // the first turned half round
		{imaging.Frontal, "L", "H", "seen from behind"},
		{imaging.Frontal, "F", "R", "seen from the front"}, // cranial left, patient's left on top
		{imaging.Lateral, "P", "F", "seen from the left"},
		{imaging.Lateral, "A", "F", "seen from the right"},
		{imaging.Lateral, "A", "H", "seen from the left"},
	} {
		o := imaging.Orientation{Row: c.row, Column: c.col}
		f := film(c.view, o.EdgeOf('H'), o.EdgeOf('L'))
		f.Film.Geometry.PatientOrientation = [2]string{c.row, c.col}
		if got := seenFrom(f); got != c.want {
			t.Errorf("%s %s\\%s: %q, want %q", c.view, c.row, c.col, got, c.want)
		}
	}
}

// The lateral film's front by the positioner (PS3.3 C.8.7.5.1.2): with the
// detector at the patient's left, +90, the film shows him from the left.
func TestSeenFromByAngles(t *testing.T) {
	for _, c := range []struct {
		primary float64
		row     string
		want    string
	}{{90, "", "seen from the left"}, {-90, "", "seen from the right"}, {90, "P", "seen from the left"}, {90, "A", ""}} {
		f := film(imaging.Lateral, imaging.Top, imaging.NoEdge)
		f.Film.Geometry.PrimaryAngle, f.Film.Geometry.SecondaryAngle = imaging.Known(c.primary), imaging.Known(0)
		if c.row != "" {
			f.Film.Geometry.PatientOrientation = [2]string{c.row, "F"}
		}
		if got := seenFrom(f); got != c.want {
			t.Errorf("%+.0f and row %q: %q, want %q", c.primary, c.row, got, c.want)
		}
	}
}

func TestBarIsAsLongAsItSays(t *testing.T) {
	v := NewView(film(imaging.Frontal, imaging.Left, imaging.NoEdge), Box(0, 0, 500, 500), 1)
	for _, zoom := range []float64{0.2, 0.75, 1, 4, 33} {
		v.Zoom = zoom
		mm, px := Bar{Known: true, PerColumn: 0.2}.BarLength(v)
		// Two image points mm apart along a row of 0.2 mm pixels are px apart.
		a, b := v.ToPane(r2.Vec{}), v.ToPane(r2.Vec{X: mm / 0.2})
		if got := r2.Norm(r2.Sub(b, a)); math.Abs(got-px) > 1e-9 {
			t.Errorf("zoom %g: %g mm are %g px on the film but the bar has %g", zoom, mm, got, px)
		}
		// And along a column of 0.3 mm pixels.
		if got := r2.Norm(r2.Sub(v.ToPane(r2.Vec{Y: mm / 0.3}), a)); math.Abs(got-px) > 1e-9 {
			t.Errorf("zoom %g: down a column %g mm are %g px but the bar has %g", zoom, mm, got, px)
		}
		if px > 125 || px < 40 {
			t.Errorf("zoom %g: a bar of %g px in a pane of 500", zoom, px)
		}
	}
}
