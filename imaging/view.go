package imaging

import "math"

// View is the direction a frame was taken in.
type View string

const (
	NoView  View = ""
	Frontal View = "frontal"
	Lateral View = "lateral"
	Oblique View = "oblique"
)

// ViewTolerance is how far, in degrees, the positioner may be off a true
// frontal (0, 180) or lateral (+90, -90) for the view to carry that name.
const ViewTolerance = 20

// ViewByAngles names the view from the positioner's primary and secondary
// angle in degrees (PS3.3 C.8.7.5.1.2): frontal within ViewTolerance of 0 or
// 180, lateral within it of +90 or -90, both with the secondary angle within it
// of 0, else oblique. ok is false where an angle is not given.
func (g Geometry) ViewByAngles() (v View, ok bool) {
	if !g.PrimaryAngle.Known || !g.SecondaryAngle.Known {
		return NoView, false
	}
	off := func(a, b float64) float64 {
		d := math.Mod(math.Abs(a-b), 360)
		return math.Min(d, 360-d)
	}
	p, s := g.PrimaryAngle.Value, g.SecondaryAngle.Value
	if math.Abs(s) > ViewTolerance {
		return Oblique, true
	}
	switch {
	case off(p, 0) <= ViewTolerance, off(p, 180) <= ViewTolerance:
		return Frontal, true
	case off(p, 90) <= ViewTolerance, off(p, -90) <= ViewTolerance:
		return Lateral, true
	}
	return Oblique, true
}

// OffView is how far, in degrees, the beam lies off the true direction of a
// frontal or lateral view: the angle between the beam and the patient's
// front-back or left-right axis, by the positioner's angles. primary and
// secondary are its parts about the patient's long axis and out of the
// horizontal plane. ok is false where an angle is not given or the view has no
// true direction.
func (g Geometry) OffView(v View) (total, primary, secondary float64, ok bool) {
	if !g.PrimaryAngle.Known || !g.SecondaryAngle.Known || v != Frontal && v != Lateral {
		return 0, 0, 0, false
	}
	p, s := g.PrimaryAngle.Value*math.Pi/180, g.SecondaryAngle.Value*math.Pi/180
	along, across := math.Abs(math.Cos(p)), math.Abs(math.Sin(p))
	if v == Lateral {
		along, across = across, along
	}
	deg := 180 / math.Pi
	return math.Acos(math.Min(1, along*math.Cos(s))) * deg, math.Atan2(across, along) * deg, math.Abs(s) * deg, true
}
