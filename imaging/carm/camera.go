// Package carm says how a C-arm projects a point of the patient on a film, and
// back: the pinhole model of a cone beam that meets a flat detector at right
// angles.
//
// Patient coordinates are millimetres from the isocentre: x to the patient's
// left, y to posterior, z to the head. Points on a film are SR coordinates in
// pixels (PS3.3 table C.18.6-1): 0,0 is the top left corner of the image.
//
// With Positioner Primary Angle a and Secondary Angle b (PS3.3 C.8.7.5.1.2:
// primary 0 has the detector in front of the chest, +90 at the patient's left;
// secondary is positive towards the head) the axes are
//
//	beam, source to detector   d = (cos b sin a, -cos b cos a, sin b)
//	columns, to the right      u = (cos a, sin a, 0)
//	rows, downwards            v = u x d = (sin a sin b, -cos a sin b, -cos b)
//
// seen from the detector with the head up. The stored picture is this one
// turned clockwise by Field of View Rotation, then mirrored left to right where
// Field of View Horizontal Flip says so. The source lies at -SOD d and the
// detector plane at (SID - SOD) d, with SID the Distance Source to Detector and
// SOD the Distance Source to Patient, which PS3.3 C.8.7.5 counts to the centre
// of the field of view.
//
// Assumptions the standard does not vouch for, and which every user of a
// camera inherits: the centre of the stored image is the foot of the central
// beam; frames of one study share their isocentre; the stored pixels were turned
// by nothing but the two attributes above; an image intensifier's distortion is
// left out (PS3.17 annex FFF).
package carm

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
)

// Camera is the projection of one frame. The zero value is not a camera: make
// one with FromGeometry.
type Camera struct {
	source      r3.Vec // mm from the isocentre
	right, down r3.Vec // unit axes of the stored picture in the patient
	beam        r3.Vec // unit, source to detector
	sid         float64
	spacing     imaging.Spacing // of the stored pixels, at the detector, mm
	centre      r2.Vec          // foot of the central beam, SR pixels
}

// FromGeometry makes the camera of a frame from its header.
//
// It needs both positioner angles, the matrix size, two of the three of
// Distance Source to Detector, Distance Source to Patient and Estimated
// Radiographic Magnification Factor (their relation: PS3.3 C.8.7.5; the two
// distances win where all three are given), and a pixel size. That is Imager
// Pixel Spacing; without it, Pixel Spacing whose Calibration Type is FIDUCIAL or
// GEOMETRY, taken to hold in the plane of the isocentre.
//
// What is missing is named in an error that wraps imaging.ErrNoScale where
// lengths are concerned and imaging.ErrBadInput otherwise.
func FromGeometry(g imaging.Geometry) (Camera, error) {
	right, down, beam, err := axes(g)
	if err != nil {
		return Camera{}, err
	}
	if g.Columns <= 0 || g.Rows <= 0 {
		return Camera{}, fmt.Errorf("%w: projection needs the size of the image, but Columns is %d and Rows is %d; check the file", imaging.ErrBadInput, g.Columns, g.Rows)
	}
	sid, sod, err := distances(g)
	if err != nil {
		return Camera{}, err
	}
	spacing, err := detectorSpacing(g, sid/sod)
	if err != nil {
		return Camera{}, err
	}
	across, along, err := detectorTilt(g)
	if err != nil {
		return Camera{}, err
	}
	if across != 0 || along != 0 {
		return tilted(g, right, down, beam, sid, sod, spacing, across, along)
	}
	return Camera{
		source:  r3.Scale(-sod, beam),
		right:   right,
		down:    down,
		beam:    beam,
		sid:     sid,
		spacing: spacing,
		centre:  r2.Vec{X: float64(g.Columns) / 2, Y: float64(g.Rows) / 2},
	}, nil
}

// axes of the stored picture in the patient: where its rows run to the right,
// where its columns run downwards, and the beam.
func axes(g imaging.Geometry) (right, down, beam r3.Vec, err error) {
	for _, a := range []struct {
		name  string
		angle imaging.Number
		limit float64
	}{
		// Ranges of PS3.3 C.8.7.5.1.2. A primary angle written 0 to 360 is the
		// same direction, so it is let through.
		{"Positioner Primary Angle (0018,1510)", g.PrimaryAngle, 360},
		{"Positioner Secondary Angle (0018,1511)", g.SecondaryAngle, 90},
	} {
		if !a.angle.Known {
			return right, down, beam, fmt.Errorf("%w: projection needs %s, which the header does not give; work with this frame as a single plane", imaging.ErrBadInput, a.name)
		}
		if !(math.Abs(a.angle.Value) <= a.limit) {
			return right, down, beam, fmt.Errorf("%w: %s is %g, outside -%g to %g degrees; check the header", imaging.ErrBadInput, a.name, a.angle.Value, a.limit, a.limit)
		}
	}
	sa, ca := sincos(g.PrimaryAngle.Value)
	sb, cb := sincos(g.SecondaryAngle.Value)
	beam = r3.Vec{X: cb * sa, Y: -cb * ca, Z: sb}
	u := r3.Vec{X: ca, Y: sa}
	v := r3.Cross(u, beam)

	turn := 0.0
	if g.FieldOfViewRotation.Known {
		turn = g.FieldOfViewRotation.Value
	}
	if math.Mod(turn, 90) != 0 { // NaN and infinities end here too
		return right, down, beam, fmt.Errorf("%w: Field of View Rotation (0018,7032) is %g, not a multiple of 90 degrees; check the header", imaging.ErrBadInput, turn)
	}
	// A clockwise turn by t takes the picture vector (X, Y), Y downwards, to
	// (X cos t - Y sin t, X sin t + Y cos t). The stored axes are what the
	// inverse turn makes of (1, 0) and (0, 1).
	st, ct := sincos(turn)
	right = r3.Sub(r3.Scale(ct, u), r3.Scale(st, v))
	down = r3.Add(r3.Scale(st, u), r3.Scale(ct, v))
	switch g.FieldOfViewFlip {
	case "", "NO":
	case "YES":
		right = r3.Scale(-1, right)
	default:
		return right, down, beam, fmt.Errorf("%w: Field of View Horizontal Flip (0018,7034) is %q, neither YES nor NO; check the header", imaging.ErrBadInput, g.FieldOfViewFlip)
	}
	return right, down, beam, nil
}

// sincos of an angle in degrees, exact at multiples of 90.
func sincos(degrees float64) (sin, cos float64) {
	switch math.Mod(math.Mod(degrees, 360)+360, 360) {
	case 0:
		return 0, 1
	case 90:
		return 1, 0
	case 180:
		return 0, -1
	case 270:
		return -1, 0
	}
	return math.Sincos(degrees * math.Pi / 180)
}

// distances from the source to the detector and to the isocentre, in mm.
func distances(g imaging.Geometry) (sid, sod float64, err error) {
	const (
		sidName = "Distance Source to Detector (0018,1110)"
		sodName = "Distance Source to Patient (0018,1111)"
		magName = "Estimated Radiographic Magnification Factor (0018,1114)"
	)
	given := func(n imaging.Number) bool { return n.Known && n.Value > 0 && !math.IsInf(n.Value, 0) }
	d, p, m := given(g.SourceToDetector), given(g.SourceToPatient), given(g.MagnificationFactor)
	switch {
	case d && p:
		sid, sod = g.SourceToDetector.Value, g.SourceToPatient.Value
	case d && m:
		sid, sod = g.SourceToDetector.Value, g.SourceToDetector.Value/g.MagnificationFactor.Value
	case p && m:
		sid, sod = g.SourceToPatient.Value*g.MagnificationFactor.Value, g.SourceToPatient.Value
	case d:
		return 0, 0, fmt.Errorf("%w: projection needs %s or %s beside %s, and the header gives neither; work with this frame as a single plane", imaging.ErrNoScale, sodName, magName, sidName)
	default:
		return 0, 0, fmt.Errorf("%w: projection needs %s, which the header does not give; work with this frame as a single plane", imaging.ErrNoScale, sidName)
	}
	if sod >= sid {
		return 0, 0, fmt.Errorf("%w: the source would be %g mm from the patient and %g mm from the detector behind; check %s, %s and %s", imaging.ErrBadInput, sod, sid, sidName, sodName, magName)
	}
	return sid, sod, nil
}

// detectorSpacing is the size of a stored pixel at the detector in mm.
func detectorSpacing(g imaging.Geometry, magnification float64) (imaging.Spacing, error) {
	usable := func(s imaging.Spacing) bool {
		return s.Known && s.Row > 0 && s.Column > 0 && !math.IsInf(s.Row, 0) && !math.IsInf(s.Column, 0)
	}
	calibrated := g.CalibrationType == "FIDUCIAL" || g.CalibrationType == "GEOMETRY"
	switch {
	case usable(g.ImagerSpacing):
		return g.ImagerSpacing, nil
	case usable(g.PixelSpacing) && calibrated:
		return imaging.Spacing{Row: g.PixelSpacing.Row * magnification, Column: g.PixelSpacing.Column * magnification, Known: true}, nil
	case usable(g.PixelSpacing):
		return imaging.Spacing{}, fmt.Errorf("%w: projection needs Imager Pixel Spacing (0018,1164); Pixel Spacing stands alone with no Calibration Type, so its plane cannot be known (PS3.3 10.7.1.1)", imaging.ErrNoScale)
	}
	return imaging.Spacing{}, fmt.Errorf("%w: projection needs Imager Pixel Spacing (0018,1164), which the header does not give; work with this frame as a single plane", imaging.ErrNoScale)
}

// Project gives the point of the film, in SR pixels, where the ray from the
// source through p (patient, mm) meets the detector plane; it may lie outside
// the image. ok is false for a point level with the source or behind it.
func (c Camera) Project(p r3.Vec) (point r2.Vec, ok bool) {
	q := r3.Sub(p, c.source)
	depth := r3.Dot(q, c.beam)
	if !(depth > 1e-9*c.sid) {
		return r2.Vec{}, false
	}
	m := c.sid / depth
	return r2.Vec{
		X: c.centre.X + m*r3.Dot(q, c.right)/c.spacing.Column,
		Y: c.centre.Y + m*r3.Dot(q, c.down)/c.spacing.Row,
	}, true
}

// Ray that ends at the point p of the film (SR pixels): its origin is the
// source (patient, mm), its direction a unit vector towards the detector.
func (c Camera) Ray(p r2.Vec) (origin, direction r3.Vec) {
	d := r3.Add(r3.Scale(c.sid, c.beam), r3.Add(
		r3.Scale((p.X-c.centre.X)*c.spacing.Column, c.right),
		r3.Scale((p.Y-c.centre.Y)*c.spacing.Row, c.down)))
	return c.source, r3.Unit(d)
}

// Epipolar gives the line on the film of camera to on which anything lies that
// is seen at p (SR pixels) on the film of camera from: a point on it and its
// unit direction in pixels, pointing the way the ray of from runs. The point is
// the picture of the ray's point nearest the isocentre. ok is false where there
// is no such line: both sources on the ray, or the ray's plane parallel to the
// other detector.
//
// The line is where the plane through both sources and p meets the detector:
// with n = (source - source') x ray and X, Y the millimetres from the foot of
// the central beam, n.right X + n.down Y + SID n.beam = 0.
func Epipolar(from Camera, p r2.Vec, to Camera) (point, direction r2.Vec, ok bool) {
	origin, ray := from.Ray(p)
	n := r3.Cross(r3.Sub(origin, to.source), ray)
	a, b := r3.Dot(n, to.right), r3.Dot(n, to.down)
	if size := math.Hypot(a, b); !(size > 1e-9*to.sid) {
		return r2.Vec{}, r2.Vec{}, false
	}
	near := r3.Add(origin, r3.Scale(-r3.Dot(origin, ray), ray))
	point, ok = to.Project(near)
	if !ok {
		return r2.Vec{}, r2.Vec{}, false
	}
	direction = r2.Unit(r2.Vec{X: b / to.spacing.Column, Y: -a / to.spacing.Row})
	// Derivative of the projection along the ray, up to a positive factor.
	q := r3.Sub(near, to.source)
	depth, along := r3.Dot(q, to.beam), r3.Dot(ray, to.beam)
	run := r2.Vec{
		X: (r3.Dot(ray, to.right)*depth - r3.Dot(q, to.right)*along) / to.spacing.Column,
		Y: (r3.Dot(ray, to.down)*depth - r3.Dot(q, to.down)*along) / to.spacing.Row,
	}
	if r2.Dot(run, direction) < 0 {
		direction = r2.Scale(-1, direction)
	}
	return point, direction, true
}
