package scale

import (
	"fmt"
	"math"
	"strings"
)

// Limits of Object Pixel Spacing in Center of Beam (0018,9404), whose model
// (PS3.3 C.8.19.6.9.1) divides by the cosine of the beam's angle to the
// perpendicular of the tabletop.
const (
	// BeamAngleMost, in degrees, is how far the model is taken: PS3.3 C.8.19.6.9.2
	// and PS3.17 FFF.1.3 name about 60. A lateral film lies beyond it.
	BeamAngleMost = 60.0
	// objectDiffers is how far the spacing may be off what its own inputs give
	// before it is named (rounding stays far below), and objectRefused before it
	// is not used at all.
	objectDiffers, objectRefused = 0.01, 0.10
	// beamDiffers, in degrees, is how far a stated beam angle may be off what the
	// positioner's angles make it.
	beamDiffers = 5.0
)

// object is the spacing that an enhanced object states for the region of
// interest. Where its inputs are given it is worked out again from them:
//
//	SOD = ISO - (TH - TO) / cos(beam angle), spacing = imager spacing * SOD / SID
//
// (figures C.8.19.6-1 and C.8.19.6-2), and may be off as the distances may;
// unchecked it counts as an assumed magnification. It is not used beyond
// BeamAngleMost, nor where the beam's angle is not known.
func (l *ladder) object() (Scale, bool) {
	p := l.g.ObjectSpacing
	if !p.Known {
		return Scale{}, false
	}
	angle, ok := l.beamAngle()
	if !ok || upright(angle) > BeamAngleMost {
		return Scale{}, false
	}
	s := Scale{
		Row: p.Row, Column: p.Column, Plane: Calibrated,
		Source:   "Object Pixel Spacing in Center of Beam, unchecked",
		Relative: GeometryHalf / math.Sqrt(3),
	}
	g := l.g
	if !g.ImagerSpacing.Known || !g.SourceToDetector.Known {
		return s, true
	}
	s.SourceToPlane = p.Column / g.ImagerSpacing.Column * g.SourceToDetector.Value
	if !g.SourceToPatient.Known || !g.TableHeight.Known || !g.ObjectToTable.Known {
		return s, true
	}
	sod := g.SourceToPatient.Value - (g.TableHeight.Value-g.ObjectToTable.Value)/math.Cos(angle*math.Pi/180)
	m := sod / g.SourceToDetector.Value
	d := math.Inf(1)
	if m > 0 && m < 1 {
		d = math.Max(differ(p.Row, g.ImagerSpacing.Row*m), differ(p.Column, g.ImagerSpacing.Column*m))
	}
	switch {
	case d > objectRefused:
		l.conflict(0, fmt.Sprintf("Object Pixel Spacing in Center of Beam is %.4g mm, its own inputs give %.4g mm: it is not used.", p.Column, g.ImagerSpacing.Column*m))
		return Scale{}, false
	case d > objectDiffers:
		l.conflict(d, fmt.Sprintf("Object Pixel Spacing in Center of Beam is %.4g mm, its own inputs give %.4g mm: the former is used.", p.Column, g.ImagerSpacing.Column*m))
	}
	s.Source, s.Relative, s.SourceToPlane = "Object Pixel Spacing in Center of Beam", DistanceHalf/math.Sqrt(3), sod
	return s, true
}

// upright is how far, in degrees, a beam at that angle is off the perpendicular
// of the tabletop; above 90 the source is on the other side of the table.
func upright(angle float64) float64 {
	a := math.Abs(angle)
	return math.Min(a, math.Abs(180-a))
}

// beamAngle is the Beam Angle (0018,9449) in degrees, or else what the
// positioner's angles make it (PS3.17 FFF.1.3), which depends on whether the
// patient lies on the side. Where both are given and differ, the one further
// from the perpendicular counts for caution's sake and the difference is named.
func (l *ladder) beamAngle() (float64, bool) {
	stated := l.g.BeamAngle
	if !l.g.PrimaryAngle.Known || !l.g.SecondaryAngle.Known {
		return stated.Value, stated.Known
	}
	s, c := math.Sincos(l.g.PrimaryAngle.Value * math.Pi / 180)
	if side := l.g.PatientPosition; strings.HasSuffix(side, "DR") || strings.HasSuffix(side, "DL") {
		c = s
	}
	c = math.Min(1, math.Abs(c)*math.Abs(math.Cos(l.g.SecondaryAngle.Value*math.Pi/180)))
	derived := math.Acos(c) * 180 / math.Pi
	if !stated.Known {
		return derived, true
	}
	if math.Abs(upright(stated.Value)-derived) > beamDiffers {
		l.conflict(0, fmt.Sprintf("Beam Angle is %.3g degrees, the positioner's angles make it %.3g: Object Pixel Spacing in Center of Beam is weighed by the larger.", stated.Value, derived))
		if derived > upright(stated.Value) {
			return derived, true
		}
	}
	return stated.Value, true
}
