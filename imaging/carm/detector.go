package carm

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
)

// tiltMost in degrees: no detector of a C-arm stands further off its beam.
const tiltMost = 45.0

// detectorTilt is the angle of the beam against the detector's normal, in
// degrees, towards higher columns and higher rows of the detector.
func detectorTilt(g imaging.Geometry) (across, along float64, err error) {
	for _, a := range []struct {
		name  string
		angle imaging.Number
		to    *float64
	}{
		{"Detector Primary Angle (0018,1530)", g.DetectorPrimaryAngle, &across},
		{"Detector Secondary Angle (0018,1531)", g.DetectorSecondaryAngle, &along},
	} {
		if !a.angle.Known {
			continue
		}
		if !(math.Abs(a.angle.Value) <= tiltMost) {
			return 0, 0, fmt.Errorf("%w: %s is %g, more than %g degrees; check the header", imaging.ErrBadInput, a.name, a.angle.Value, tiltMost)
		}
		*a.to = a.angle.Value
	}
	return across, along, nil
}

// tilted is the camera whose detector does not stand square to the beam. The
// beam still meets it at the centre of the image, Distance Source to Detector
// along the way. right and down are the stored picture's axes of a detector that
// does stand square.
func tilted(g imaging.Geometry, right, down, beam r3.Vec, sid, sod float64, spacing imaging.Spacing, across, along float64) (Camera, error) {
	// In the detector's own frame (columns, rows, normal) the beam runs along
	// (tan across, tan along, 1).
	ta, tl := math.Tan(across*math.Pi/180), math.Tan(along*math.Pi/180)
	// The smallest turn that takes the beam onto that direction, undone: it takes
	// the square detector's axes to the tilted one's.
	w := r3.Unit(r3.Vec{X: ta, Y: tl, Z: 1})
	// Coordinates in the basis right, down, beam, which need not be right-handed:
	// the turn in the plane of the beam and w.
	sine := math.Hypot(w.X, w.Y)
	e := r3.Vec{X: w.X / sine, Y: w.Y / sine} // towards which the beam leans
	turn := func(v r3.Vec) r3.Vec {
		// v = p e + q beam + rest; turned so that w becomes the beam's (0, 0, 1).
		p, q := r3.Dot(v, e), v.Z
		rest := r3.Sub(v, r3.Add(r3.Scale(p, e), r3.Vec{Z: q}))
		return r3.Add(rest, r3.Add(r3.Scale(p*w.Z-q*sine, e), r3.Vec{Z: p*sine + q*w.Z}))
	}
	patient := func(v r3.Vec) r3.Vec {
		return r3.Add(r3.Scale(v.X, right), r3.Add(r3.Scale(v.Y, down), r3.Scale(v.Z, beam)))
	}
	p := Pinhole{
		Source: r3.Scale(-sod, beam),
		Right:  patient(turn(r3.Vec{X: 1})), Down: patient(turn(r3.Vec{Y: 1})), Beam: patient(turn(r3.Vec{Z: 1})),
		SourceToDetector: sid * w.Z, Spacing: spacing,
	}
	// The foot of the normal lies short of the image's centre by what the beam
	// runs across on its way.
	p.Foot = r2.Vec{
		X: float64(g.Columns)/2 - sid*w.X/spacing.Column,
		Y: float64(g.Rows)/2 - sid*w.Y/spacing.Row,
	}
	return p.Camera()
}
