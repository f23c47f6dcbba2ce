package pose

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging/carm"
)

// Gap is by how much the rays of one point, seen in two views, miss each other
// in the adjusted cameras.
type Gap struct {
	Point      int
	A, B       int     // sightings
	MM         float64 // least distance of the rays
	PixelsA    float64 // distance, on the film of A, from A to the epipolar line of B
	PixelsB    float64 // and the other way round
	SD         float64 // mm, what the distance was to be expected to be, about 0, after the adjustment
	Normalised float64 // MM over SD; 0 where the adjustment absorbs any gap
	Checked    bool    // false: it does, so that a small gap says nothing
}

// Gaps of every point in every two views that see it. Rays that run side by
// side have none.
func (f *Fit) Gaps() []Gap {
	var out []Gap
	for i, a := range f.in.Sightings {
		for j := i + 1; j < len(f.in.Sightings); j++ {
			if b := f.in.Sightings[j]; a.Point == b.Point && a.View != b.View {
				if g, ok := f.gap(i, j); ok {
					out = append(out, g)
				}
			}
		}
	}
	return out
}

// absorbed is the part of its own standard deviation, before the adjustment, to
// which that of a gap may fall until it no longer checks anything.
const absorbed = 1e-3

func (f *Fit) gap(i, j int) (Gap, bool) {
	a, b := f.in.Sightings[i], f.in.Sightings[j]
	ca, cb := f.Cameras[a.View], f.Cameras[b.View]
	pa, pb := r2.Vec{X: a.X, Y: a.Y}, r2.Vec{X: b.X, Y: b.Y}
	mm, ok := miss(ca, pa, cb, pb)
	if !ok {
		return Gap{}, false
	}
	g := Gap{Point: a.Point, A: i, B: j, MM: math.Abs(mm)}
	if g.PixelsA, ok = offLine(cb, pb, ca, pa); !ok {
		return Gap{}, false
	}
	if g.PixelsB, ok = offLine(ca, pa, cb, pb); !ok {
		return Gap{}, false
	}

	// Slopes by the cameras, which the adjustment correlates with the marks, and
	// by the marks themselves.
	slope := make(along, f.n)
	x := append([]float64(nil), f.x...)
	for _, v := range [2]int{a.View, b.View} {
		for _, c := range f.columns[v] {
			if c < 0 {
				continue
			}
			step := 0.05 * math.Sqrt(f.covariance.At(c, c))
			var ends [2]float64
			for e, sign := range [2]float64{1, -1} {
				x[c] = f.x[c] + sign*step
				da, erra := f.camera(x, a.View)
				db, errb := f.camera(x, b.View)
				if ends[e], ok = miss(da, pa, db, pb); !ok || erra != nil || errb != nil {
					return Gap{}, false
				}
			}
			x[c] = f.x[c]
			slope[c] = (ends[0] - ends[1]) / (2 * step)
		}
	}
	total := f.contributions(slope)
	own := 0.0
	const step = 0.01 // px
	for axis, v := range [2]r2.Vec{{X: step}, {Y: step}} {
		for side, row := range [2]int{2*i + axis, 2*j + axis} {
			var ends [2]float64
			for e, sign := range [2]float64{1, -1} {
				qa, qb := pa, pb
				if side == 0 {
					qa = r2.Add(pa, r2.Scale(sign, v))
				} else {
					qb = r2.Add(pb, r2.Scale(sign, v))
				}
				if ends[e], ok = miss(ca, qa, cb, qb); !ok {
					return Gap{}, false
				}
			}
			u := (ends[0] - ends[1]) / (2 * step) * f.sources[row].SD
			total[row] += u
			own += u * u
		}
	}
	sum := 0.0
	for _, u := range total {
		sum += u * u
	}
	g.SD = math.Sqrt(sum)
	if g.SD > absorbed*math.Sqrt(own) {
		g.Checked, g.Normalised = true, g.MM/g.SD
	}
	return g, true
}

// miss is the signed least distance of two rays, in mm: along the first's
// direction times the second's.
func miss(a carm.Camera, pa r2.Vec, b carm.Camera, pb r2.Vec) (float64, bool) {
	oa, da := a.Ray(pa)
	ob, db := b.Ray(pb)
	n := r3.Cross(da, db)
	if !(r3.Norm(n) > leastSpan) {
		return 0, false
	}
	return r3.Dot(r3.Sub(ob, oa), r3.Unit(n)), true
}

// offLine is the distance, in pixels, of q on the film of to from the epipolar
// line of p.
func offLine(from carm.Camera, p r2.Vec, to carm.Camera, q r2.Vec) (float64, bool) {
	point, direction, ok := carm.Epipolar(from, p, to)
	return math.Abs(r2.Cross(direction, r2.Sub(q, point))), ok
}
