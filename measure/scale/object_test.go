package scale

import (
	"math"
	"strings"
	"testing"

	"leadline/imaging"
)

// enhanced is an object of 0.3 mm at the detector, isocentre at 750 mm of 1000,
// tabletop 200 mm below it and the region of interest 100 mm above the tabletop.
func enhancedXA(change func(*imaging.Geometry)) imaging.Geometry {
	g := xa()
	g.TableHeight, g.ObjectToTable, g.BeamAngle = imaging.Known(200), imaging.Known(100), imaging.Known(0)
	g.ObjectSpacing = square(0.195)
	change(&g)
	return g
}

// The model of PS3.3 C.8.19.6.9.1 (figures C.8.19.6-1 and -2), by hand: at beam
// angle 0 the region lies 750 - (200 - 100) = 650 mm from the source, 0.3 x 650
// / 1000 = 0.195; at 60 degrees 750 - 100 / 0.5 = 550, 0.165; from above the
// table (180 degrees) 750 + 100 = 850, 0.255. Beam angles from the positioner's
// by PS3.17 FFF.1.3.
func TestObjectSpacing(t *testing.T) {
	const (
		object   = "Object Pixel Spacing"
		isocentr = "two distances"
	)
	for _, c := range []struct {
		name      string
		change    func(*imaging.Geometry)
		column    float64
		source    string
		plane     float64 // SourceToPlane
		relative  float64 // half width, of the source alone
		conflicts string
	}{
		{"upright", func(g *imaging.Geometry) {}, 0.195, object, 650, DistanceHalf, ""},
		{"at 60 degrees", func(g *imaging.Geometry) { g.BeamAngle, g.ObjectSpacing = imaging.Known(60), square(0.165) }, 0.165, object, 550, DistanceHalf, ""},
		{"source above the table", func(g *imaging.Geometry) { g.BeamAngle, g.ObjectSpacing = imaging.Known(180), square(0.255) }, 0.255, object, 850, DistanceHalf, ""},
		{"beyond 60 degrees", func(g *imaging.Geometry) { g.BeamAngle, g.ObjectSpacing = imaging.Known(61), square(0.163) }, 0.225, isocentr, 750, DistanceHalf, ""},
		{"lateral", func(g *imaging.Geometry) { g.BeamAngle, g.ObjectSpacing = imaging.Known(89), square(0.3) }, 0.225, isocentr, 750, DistanceHalf, ""},
		{"lateral by the positioner alone", func(g *imaging.Geometry) {
			g.BeamAngle, g.PrimaryAngle, g.SecondaryAngle = imaging.Number{}, imaging.Known(-90), imaging.Known(0)
		}, 0.225, isocentr, 750, DistanceHalf, ""},
		{"frontal by the positioner alone", func(g *imaging.Geometry) {
			g.BeamAngle, g.PrimaryAngle, g.SecondaryAngle = imaging.Number{}, imaging.Known(180), imaging.Known(0)
		}, 0.195, object, 650, DistanceHalf, ""},
		{"lateral to a patient on the side is upright", func(g *imaging.Geometry) {
			g.BeamAngle, g.PrimaryAngle, g.SecondaryAngle, g.PatientPosition = imaging.Number{}, imaging.Known(90), imaging.Known(0), "HFDR"
		}, 0.195, object, 650, DistanceHalf, ""},
		{"angle not known", func(g *imaging.Geometry) { g.BeamAngle = imaging.Number{} }, 0.225, isocentr, 750, DistanceHalf, ""},
		{"beam angle against the positioner's", func(g *imaging.Geometry) {
			g.PrimaryAngle, g.SecondaryAngle = imaging.Known(85), imaging.Known(0)
		}, 0.225, isocentr, 750, DistanceHalf, "Beam Angle is 0 degrees"},
		{"not what its inputs give, 5 %", func(g *imaging.Geometry) { g.ObjectSpacing = square(0.195 * 1.05) }, 0.195 * 1.05, object, 650, 0, "its own inputs give 0.195"},
		{"not what its inputs give, 20 %", func(g *imaging.Geometry) { g.ObjectSpacing = square(0.195 * 1.2) }, 0.225, isocentr, 750, DistanceHalf, "it is not used"},
		{"inputs that cannot be", func(g *imaging.Geometry) { g.TableHeight = imaging.Known(900) }, 0.225, isocentr, 750, DistanceHalf, "it is not used"},
		{"inputs not given", func(g *imaging.Geometry) { g.TableHeight = imaging.Number{} }, 0.195, "unchecked", 650, GeometryHalf, ""},
		{"calibrated comes first", func(g *imaging.Geometry) { g.PixelSpacing, g.CalibrationType = square(0.22), "FIDUCIAL" }, 0.22, "FIDUCIAL", 750, FiducialHalf, ""},
	} {
		s := From(enhancedXA(c.change), nil)
		if !s.Known || math.Abs(s.Column-c.column) > 1e-12 || math.Abs(s.Row-c.column) > 1e-12 || !strings.Contains(s.Source, c.source) {
			t.Errorf("%s: %g mm from %q", c.name, s.Column, s.Source)
			continue
		}
		if math.Abs(s.SourceToPlane-c.plane) > 1e-9 {
			t.Errorf("%s: %g mm from the source, want %g", c.name, s.SourceToPlane, c.plane)
		}
		if c.relative > 0 && math.Abs(s.Relative-c.relative/math.Sqrt(3)) > 1e-12 {
			t.Errorf("%s: relative uncertainty %g", c.name, s.Relative)
		}
		if c.relative == 0 && s.Relative < 0.05/math.Sqrt(3) {
			t.Errorf("%s: the disagreement does not widen %g", c.name, s.Relative)
		}
		if all := strings.Join(s.Conflicts, " "); (c.conflicts == "") != (all == "") || !strings.Contains(all, c.conflicts) {
			t.Errorf("%s: conflicts %q", c.name, s.Conflicts)
		}
	}
}
