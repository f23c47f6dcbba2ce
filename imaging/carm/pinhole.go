package carm

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
)

// Pinhole is a camera taken apart: where it stands in the patient and what its
// detector is like.
type Pinhole struct {
	Source r3.Vec // mm, patient coordinates
	// Right and Down are where the rows of the stored picture run to the right
	// and its columns downwards; Beam is at right angles to the detector, from
	// the source towards it. All are unit vectors in the patient.
	Right, Down, Beam r3.Vec
	SourceToDetector  float64         // mm, along Beam
	Spacing           imaging.Spacing // mm, of the stored pixels at the detector
	Foot              r2.Vec          // SR pixels, where Beam through the source meets the detector
}

// Pinhole takes the camera apart.
func (c Camera) Pinhole() Pinhole {
	return Pinhole{
		Source: c.source, Right: c.right, Down: c.down, Beam: c.beam,
		SourceToDetector: c.sid, Spacing: c.spacing, Foot: c.centre,
	}
}

// square is how far, in radians, axes that should be unit vectors at right
// angles may be off.
const square = 1e-6

// Camera puts it together. Axes that are not unit vectors at right angles to
// each other and lengths that are not positive are refused by an error that
// wraps imaging.ErrBadInput.
func (p Pinhole) Camera() (Camera, error) {
	axes := [3]r3.Vec{p.Right, p.Down, p.Beam}
	for i, a := range axes {
		for j, b := range axes {
			want := 0.0
			if i == j {
				want = 1
			}
			if !(math.Abs(r3.Dot(a, b)-want) <= square) {
				return Camera{}, fmt.Errorf("%w: the axes of a camera must be unit vectors at right angles, but they are %v, %v and %v", imaging.ErrBadInput, p.Right, p.Down, p.Beam)
			}
		}
	}
	finite := func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
	for _, l := range []struct {
		name string
		mm   float64
	}{
		{"distance from source to detector", p.SourceToDetector},
		{"row spacing", p.Spacing.Row},
		{"column spacing", p.Spacing.Column},
	} {
		if !finite(l.mm) || l.mm <= 0 {
			return Camera{}, fmt.Errorf("%w: the %s of a camera is %g mm; it must be more than 0", imaging.ErrBadInput, l.name, l.mm)
		}
	}
	if !finite(r3.Norm(p.Source)) || !finite(p.Foot.X) || !finite(p.Foot.Y) {
		return Camera{}, fmt.Errorf("%w: a camera's source %v and foot %v must be numbers", imaging.ErrBadInput, p.Source, p.Foot)
	}
	p.Spacing.Known = true
	return Camera{
		source: p.Source, right: p.Right, down: p.Down, beam: p.Beam,
		sid: p.SourceToDetector, spacing: p.Spacing, centre: p.Foot,
	}, nil
}
