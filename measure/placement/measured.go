package placement

import (
	"slices"

	"leadline/measure/quantity"
	"leadline/measure/scale"
)

// Measured is a result of this placement as it is told to a reader.
func (p Placement) Measured(r Result) quantity.Measured {
	m := quantity.Measured{Quantity: r.Quantity, Value: r.Value, Unit: r.Unit, HasU: r.HasU, Lo: r.Lo, Hi: r.Hi}
	if !r.Magnified {
		return m
	}
	m.Magnified = "on the detector, magnified"
	for _, f := range p.Films {
		if f.Scale.Plane == scale.UnknownPlane && slices.Contains(r.Frames, f.Film.Ref) {
			m.Magnified = "in a plane not known, perhaps magnified"
		}
	}
	return m
}
