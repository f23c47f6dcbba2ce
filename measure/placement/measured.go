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

// Best are the results to tell where one value of each quantity is told: that
// of both films together where they give one, else those of single planes.
func (p Placement) Best() []Result {
	var out []Result
	for _, r := range p.Results {
		if r.Plane == Plane3D || !p.inSpace(r) {
			out = append(out, r)
		}
	}
	return out
}

// inSpace reports whether both films together give what one film gives here.
func (p Placement) inSpace(r Result) bool {
	return r.Quantity != "crossing" && slices.ContainsFunc(p.Results, func(o Result) bool {
		return o.Plane == Plane3D && o.Object == r.Object && o.Quantity == r.Quantity && o.Contact == r.Contact && o.Of == r.Of
	})
}
