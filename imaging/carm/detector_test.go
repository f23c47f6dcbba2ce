package carm

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
)

// A detector that stands 10 degrees off its beam towards higher columns, by
// hand: the beam meets it at the image's centre. A point d mm to the side of the
// isocentre, on the side of higher columns, is seen along a ray that leaves the
// beam by atan(d / 700) there; in the plane of beam and columns the detector's
// line through the centre is turned by 10 degrees, and the law of sines in the
// triangle of source, centre and picture gives the distance on it:
// 1000 sin(a) / sin(90 - 10 - a), since the detector leans away on that side.
func TestDetectorTilt(t *testing.T) {
	g := imaging.Geometry{
		Kind: imaging.KindXA, Columns: 1000, Rows: 1000,
		ImagerSpacing:    imaging.Spacing{Row: 0.2, Column: 0.2, Known: true},
		SourceToDetector: imaging.Known(1000), SourceToPatient: imaging.Known(700),
		PrimaryAngle: imaging.Known(0), SecondaryAngle: imaging.Known(0),
		DetectorPrimaryAngle: imaging.Known(10),
	}
	c, err := FromGeometry(g)
	if err != nil {
		t.Fatal(err)
	}
	if p, ok := c.Project(r3.Vec{}); !ok || math.Hypot(p.X-500, p.Y-500) > 1e-9 {
		t.Errorf("the isocentre is seen at %v", p)
	}
	for _, d := range []float64{30, -30} { // primary 0: columns run to the patient's left
		a := math.Atan(d / 700)
		want := 500 + 1000*math.Sin(a)/math.Sin(math.Pi/2-10*math.Pi/180-a)/0.2
		if p, _ := c.Project(r3.Vec{X: d}); math.Abs(p.X-want) > 1e-9 || math.Abs(p.Y-500) > 1e-9 {
			t.Errorf("%g mm to the left is seen at %v, want column %g", d, p, want)
		}
	}
	// Back: the ray through a picture passes its point.
	at := r3.Vec{X: 12, Y: 20, Z: -31}
	p, _ := c.Project(at)
	o, ray := c.Ray(p)
	if off := r3.Norm(r3.Cross(r3.Sub(at, o), ray)); off > 1e-9 {
		t.Errorf("the ray passes %g mm off", off)
	}
	g.DetectorPrimaryAngle = imaging.Known(80)
	if _, err := FromGeometry(g); !errors.Is(err, imaging.ErrBadInput) {
		t.Errorf("80 degrees: %v", err)
	}
}
