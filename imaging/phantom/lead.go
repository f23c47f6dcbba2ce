package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging/carm"
)

// Measures of a lead in mm: platinum-iridium rings on a soft tube with thin
// conductors inside (common practice, no source).
const (
	ringRadius      = 0.635
	ringWall        = 0.10
	conductorRadius = 0.25 // of the coil in the tube
)

// Linear attenuation in 1/cm at effectiveEnergy. Platinum by NISTIR 5632, from
// memory (about 4.4 cm2/g); the coil as steel that fills a tenth of its tube.
const (
	ringAttenuation      = 4.4 * 21.5
	conductorAttenuation = 0.1 * steelAttenuation
)

// Lead lies along a curve in the patient: Path is a polyline, fine enough to
// stand for the curve, from the tip on. Contacts are stretches of it.
type Lead struct {
	Path     []Point
	Contacts []Contact // from the tip
}

// Contact is a ring of a lead: where it begins and ends along the path, in mm
// from the tip.
type Contact struct{ From, To float64 }

// Centre of the contact on the path, and its ends.
func (l Lead) Centre(k int) (centre, from, to Point) {
	c := l.Contacts[k]
	return l.at((c.From + c.To) / 2), l.at(c.From), l.at(c.To)
}

// at is the point s mm along the path, the path's end beyond it.
func (l Lead) at(s float64) Point {
	for i := 1; i < len(l.Path); i++ {
		a, b := l.Path[i-1].Vec(), l.Path[i].Vec()
		step := r3.Norm(r3.Sub(b, a))
		if s <= step {
			return pointOf(r3.Add(a, r3.Scale(s/step, r3.Sub(b, a))))
		}
		s -= step
	}
	return l.Path[len(l.Path)-1]
}

// cast adds the lead's shadow to the line integrals of a film; the transmission
// of a pixel is the mean of its parts'. Ring and coil are cut square to the
// path, seen from the side, and where the lead lies in front of itself only its
// nearest part casts a shadow.
func (l Lead) cast(c carm.Camera, film plate) {
	type piece struct {
		a, b     r2.Vec // on the film
		from, to float64
		sin      float64 // of the angle between path and ray
		perMM    float64 // pixels a millimetre across the path
	}
	var pieces []piece
	s := 0.0
	const reach = ringRadius + 1
	for i := 1; i < len(l.Path); i++ {
		a, b := l.Path[i-1].Vec(), l.Path[i].Vec()
		step := r3.Norm(r3.Sub(b, a))
		pa, okA := c.Project(a)
		pb, okB := c.Project(b)
		if okA && okB && step > 0 {
			_, ray := c.Ray(pa)
			along := r3.Scale(1/step, r3.Sub(b, a))
			sin := r3.Norm(r3.Cross(along, ray))
			// A step across both path and ray shows how large a millimetre is.
			if across := r3.Cross(along, ray); sin > 0.05 {
				side, _ := c.Project(r3.Add(a, r3.Scale(1/sin, across)))
				pieces = append(pieces, piece{pa, pb, s, s + step, sin, r2.Norm(r2.Sub(side, pa))})
			}
		}
		s += step
	}
	const parts = 4
	n := parts * film.side
	gap := make(map[int][2]float64) // of a part of a pixel: gap in mm and place along
	sines := make(map[int]float64)
	for _, p := range pieces {
		m := reach * p.perMM
		for j := max(0, int((min(p.a.Y, p.b.Y)-m)*parts)); j < min(n, int((max(p.a.Y, p.b.Y)+m)*parts)+1); j++ {
			for i := max(0, int((min(p.a.X, p.b.X)-m)*parts)); i < min(n, int((max(p.a.X, p.b.X)+m)*parts)+1); i++ {
				at := r2.Vec{X: (float64(i) + 0.5) / parts, Y: (float64(j) + 0.5) / parts}
				e := r2.Sub(p.b, p.a)
				f := max(0, min(1, r2.Dot(r2.Sub(at, p.a), e)/r2.Norm2(e)))
				d := r2.Norm(r2.Sub(at, r2.Add(p.a, r2.Scale(f, e)))) / p.perMM
				k := j*n + i
				if old, known := gap[k]; d < ringRadius && (!known || d < old[0]) {
					gap[k] = [2]float64{d, p.from + f*(p.to-p.from)}
					sines[k] = p.sin
				}
			}
		}
	}
	passed := make(map[int]float64)
	for k, g := range gap {
		i, j := k%n/parts, k/n/parts
		passed[j*film.side+i] += 1 - math.Exp(-l.attenuation(g[0], g[1], sines[k]))
	}
	for k, lost := range passed {
		film.v[k] -= math.Log(1 - lost/(parts*parts))
	}
}

// attenuation of a ray that passes the path gap mm off, s mm from the tip: the
// dimensionless line integral, soft tissue taken off.
func (l Lead) attenuation(gap, s, sin float64) float64 {
	chord := func(r float64) float64 {
		if gap >= r {
			return 0
		}
		return 2 * math.Sqrt(r*r-gap*gap) / sin / 10 // cm
	}
	out := chord(conductorRadius) * (conductorAttenuation - softAttenuation)
	for _, c := range l.Contacts {
		if s >= c.From && s <= c.To {
			out += (chord(ringRadius) - chord(ringRadius-ringWall)) * (ringAttenuation - softAttenuation)
		}
	}
	return max(0, out)
}
