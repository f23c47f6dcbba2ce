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
	type told struct {
		object, quantity, of string
		contact              int
	}
	inSpace := map[told]bool{}
	for _, r := range p.Results {
		if r.Plane == Plane3D && r.Quantity != "crossing" { // that is another thing on a film
			inSpace[told{r.Object, r.Quantity, r.Of, r.Contact}] = true
		}
	}
	out := make([]Result, 0, len(p.Results))
	for _, r := range p.Results {
		if r.Plane == Plane3D || !inSpace[told{r.Object, r.Quantity, r.Of, r.Contact}] {
			out = append(out, r)
		}
	}
	return out
}
