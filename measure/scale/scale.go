// Package scale finds how many millimetres a pixel stands for, in which plane,
// and where that is known from.
package scale

import (
	"math"

	"leadline/measure/quantity"
)

// Plane is the plane a scale holds in.
type Plane string

const (
	NoPlane       Plane = ""
	FieldCentre   Plane = "field centre" // parallel to the detector through the centre of the field (isocentre)
	KnownLength   Plane = "known length" // parallel to the detector through the marked known length
	Calibrated    Plane = "calibrated"   // the calibration object's or assumed depth; the standard does not name it
	DetectorPlane Plane = "detector"     // magnified: not anatomy
	UnknownPlane  Plane = "unknown"      // Pixel Spacing alone with no type: detector or calibrated cannot be known
)

// Scale of one frame.
type Scale struct {
	// Row and Column are millimetres per pixel downwards and to the right.
	// Without a scale (Known false) they are the pixel's shape, Column = 1.
	Row, Column float64
	Known       bool
	Plane       Plane
	Source      string // in words, e.g. "Imager Pixel Spacing and the two distances"
	// Relative standard uncertainties of the scale (k = 1).
	Relative    float64 // of the source itself
	PlaneOffset float64 // for the sacrum not lying in the scale's plane
	// MaxMagnification > 1: true lengths may be smaller by up to this factor
	// (detector or unknown plane), and intervals are widened so.
	MaxMagnification float64
	SourceToPlane    float64  // mm from the source to the plane, 0 not known (a prior is used)
	Conflicts        []string // headers that contradict each other, in words
	Because          string   // why there is no scale
}

// tilted is the part of a known length's Relative that its tilt has.
var tilted = (1 - math.Cos(quantity.Radians(ForeshorteningMost))) / math.Sqrt(3)

// Factor is a draw of what the scale must be multiplied by to be true in its
// own plane, by two numbers drawn evenly from 0 to 1. A known length that is
// tilted out of its plane looks shorter than it is: then a pixel stands for
// less.
func (s Scale) Factor(u, v float64) float64 {
	if s.Plane != KnownLength {
		return 1 + math.Sqrt(3)*s.Relative*(2*u-1)
	}
	rest := math.Sqrt(math.Max(0, s.Relative*s.Relative-tilted*tilted))
	return (1 + rest*quantity.Normal(u)) * math.Cos(quantity.Radians(ForeshorteningMost*(2*v-1)))
}
