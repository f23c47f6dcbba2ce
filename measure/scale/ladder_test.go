package scale

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

func square(mm float64) imaging.Spacing { return imaging.Spacing{Row: mm, Column: mm, Known: true} }

func xa() imaging.Geometry {
	return imaging.Geometry{
		Kind: imaging.KindXA, Columns: 1024, Rows: 1024,
		ImagerSpacing:    square(0.3),
		SourceToDetector: imaging.Known(1000), SourceToPatient: imaging.Known(750),
	}
}

// Each rung of the ladder by PS3.3 10.7.1.1 to 10.7.1.3, C.8.7.5 (XA, XRF) and
// table C.8-72 (DX). Expected millimetres a pixel are worked out by hand.
func TestLadder(t *testing.T) {
	with := func(change func(*imaging.Geometry)) imaging.Geometry {
		g := xa()
		change(&g)
		return g
	}
	for _, c := range []struct {
		name        string
		g           imaging.Geometry
		known       []Known
		row, column float64
		plane       Plane
		source      string
	}{
		{"two distances: 0.3 x 750 / 1000", xa(), nil, 0.225, 0.225, FieldCentre, "two distances"},
		{"factor: 0.3 / 1.25", with(func(g *imaging.Geometry) {
			g.MagnificationFactor, g.SourceToDetector, g.SourceToPatient = imaging.Known(1.25), imaging.Number{}, imaging.Number{}
		}), nil, 0.24, 0.24, FieldCentre, "magnification factor"},
		{"oblong: row spacing comes first (10.7.1.3)", with(func(g *imaging.Geometry) {
			g.ImagerSpacing = imaging.Spacing{Row: 0.30, Column: 0.25, Known: true}
		}), nil, 0.225, 0.1875, FieldCentre, "two distances"},
		{"fiducial", with(func(g *imaging.Geometry) { g.PixelSpacing, g.CalibrationType = square(0.23), "FIDUCIAL" }), nil, 0.23, 0.23, Calibrated, "FIDUCIAL"},
		{"geometry", with(func(g *imaging.Geometry) { g.PixelSpacing, g.CalibrationType = square(0.23), "GEOMETRY" }), nil, 0.23, 0.23, Calibrated, "GEOMETRY"},
		{"differs from imager spacing", with(func(g *imaging.Geometry) { g.PixelSpacing = square(0.23) }), nil, 0.23, 0.23, Calibrated, "differs"},
		{"equal to imager spacing is uncorrected", with(func(g *imaging.Geometry) { g.PixelSpacing = square(0.3) }), nil, 0.225, 0.225, FieldCentre, "two distances"},
		{"RF likewise", with(func(g *imaging.Geometry) { g.Kind = imaging.KindXRF }), nil, 0.225, 0.225, FieldCentre, "two distances"},
		{"DX distances mean another plane", with(func(g *imaging.Geometry) { g.Kind = imaging.KindDX }), nil, 0.3, 0.3, DetectorPlane, "detector plane"},
		{"CR detector plane", imaging.Geometry{Kind: imaging.KindCR, ImagerSpacing: square(0.15)}, nil, 0.15, 0.15, DetectorPlane, "detector plane"},
		{"film scanned", imaging.Geometry{Kind: imaging.KindSC, NominalSpacing: square(0.1)}, nil, 0.1, 0.1, DetectorPlane, "Nominal"},
		{"film scanned, equal spacing", imaging.Geometry{Kind: imaging.KindSC, NominalSpacing: square(0.1), PixelSpacing: square(0.1)}, nil, 0.1, 0.1, DetectorPlane, "Nominal"},
		{"alone with no type cannot be known", imaging.Geometry{Kind: imaging.KindXA, PixelSpacing: square(0.2)}, nil, 0.2, 0.2, UnknownPlane, "not known"},
		{"one distance is none", with(func(g *imaging.Geometry) { g.SourceToPatient = imaging.Number{} }), nil, 0.3, 0.3, DetectorPlane, "detector plane"},
		{"zeros are not given", with(func(g *imaging.Geometry) { g.SourceToPatient = imaging.Known(0) }), nil, 0.3, 0.3, DetectorPlane, "detector plane"},
		{"known length: 40 mm over 3-4-5 x 40 pixels", xa(), []Known{{A: r2.Vec{X: 100, Y: 100}, B: r2.Vec{X: 220, Y: 260}, Length: 40, SD: 1}}, 0.2, 0.2, KnownLength, "known length"},
		{"known length on oblong pixels 2 high: 60 mm down 100 rows", imaging.Geometry{Kind: imaging.KindSC, PixelAspectRatio: imaging.Known(2)},
			[]Known{{A: r2.Vec{X: 5, Y: 100}, B: r2.Vec{X: 5, Y: 200}, Length: 60, SD: 1}}, 0.6, 0.3, KnownLength, "known length"},
	} {
		s := From(c.g, c.known)
		if !s.Known || math.Abs(s.Row-c.row) > 1e-12 || math.Abs(s.Column-c.column) > 1e-12 || s.Plane != c.plane || !strings.Contains(s.Source, c.source) {
			t.Errorf("%s: %+v", c.name, s)
		}
		if !(s.Relative > 0) || !(s.PlaneOffset > 0) {
			t.Errorf("%s: no uncertainty: %+v", c.name, s)
		}
		if magnified := s.Plane == DetectorPlane || s.Plane == UnknownPlane; magnified != (s.MaxMagnification > 1) {
			t.Errorf("%s: magnification %g in plane %s", c.name, s.MaxMagnification, s.Plane)
		}
	}
}

// Without any spacing there is a shape but no scale, and nothing said of it
// names a unit of length.
func TestNoScale(t *testing.T) {
	s := From(imaging.Geometry{Kind: imaging.KindXA, PixelAspectRatio: imaging.Known(1.2), SourceToDetector: imaging.Known(1000), SourceToPatient: imaging.Known(700)}, nil)
	if s.Known || s.Row != 1.2 || s.Column != 1 || s.Because == "" || strings.Contains(s.Because, "mm") || s.Plane != NoPlane {
		t.Errorf("%+v", s)
	}
}

// Contradictions are named, widen the uncertainty, and are never averaged.
func TestConflicts(t *testing.T) {
	plain := From(xa(), nil)
	for name, c := range map[string]struct {
		change func(*imaging.Geometry)
		column float64
		word   string
		wider  bool
	}{
		"factor against distances": {func(g *imaging.Geometry) { g.MagnificationFactor = imaging.Known(1.5) }, 0.2, "factor", true},
		"calibrated against distances": {func(g *imaging.Geometry) {
			g.PixelSpacing, g.CalibrationType = square(0.18), "FIDUCIAL"
		}, 0.18, "disagree", true},
		"calibrated yet equal": {func(g *imaging.Geometry) {
			g.PixelSpacing, g.CalibrationType = square(0.3), "FIDUCIAL"
		}, 0.225, "uncorrected", false},
		"patient beyond the detector": {func(g *imaging.Geometry) { g.SourceToPatient = imaging.Known(1200) }, 0.3, "not used", false},
		"factor below one":            {func(g *imaging.Geometry) { g.MagnificationFactor = imaging.Known(0.8) }, 0.225, "below 1", false},
		"shape": {func(g *imaging.Geometry) {
			g.PixelAspectRatio = imaging.Known(1.3)
		}, 0.225, "Pixel Aspect Ratio", false},
	} {
		g := xa()
		c.change(&g)
		s := From(g, nil)
		if math.Abs(s.Column-c.column) > 1e-12 {
			t.Errorf("%s: %g mm a pixel, want %g", name, s.Column, c.column)
		}
		if len(s.Conflicts) != 1 || !strings.Contains(s.Conflicts[0], c.word) {
			t.Errorf("%s: conflicts %q", name, s.Conflicts)
		}
		if c.wider && s.Relative < 2*plain.Relative {
			t.Errorf("%s: relative uncertainty %g is hardly more than %g", name, s.Relative, plain.Relative)
		}
	}
	if len(plain.Conflicts) != 0 {
		t.Errorf("an agreeing header has conflicts: %q", plain.Conflicts)
	}
}

// A known length is allowed its foreshortening: seen 20 degrees out of the
// plane it makes the scale 6 % too large, which must lie within the interval.
func TestForeshortening(t *testing.T) {
	const truth = 0.2
	px := 50 / truth * math.Cos(20*math.Pi/180)
	s := From(imaging.Geometry{Kind: imaging.KindXA}, []Known{{B: r2.Vec{X: px}, Length: 50, SD: 1}})
	if d := s.Column/truth - 1; d > 1.96*s.Relative {
		t.Errorf("off by %.3f, interval %.3f", d, 1.96*s.Relative)
	}
}
