package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// s3Dorsal is where, along the ventral margin in mm from the promontory, the
// normal through the middle of the dorsal opening of S3 stands.
const s3Dorsal = 65.5

// opening of a foramen: an ellipse on the dorsal surface or the ventral
// margin. X is its centre's distance from the midline; half axes across and
// along the surface. Millimetres.
type opening struct {
	x, s          float64
	across, along float64
}

// foramen of one level, alike on both sides: a channel that runs obliquely
// from the dorsal to the ventral opening.
//
// Distances of the dorsal openings are chosen after cadavers (S3 to midline 23
// +/- 2 mm, S2 to S3 and S3 to S4 14.8 +/- 3.0 and 2.4 mm: Deveneau et al., Int
// Urogynecol J 2015;26(2), doi 10.1007/s00192-014-2504-9) and CT (15 to 25 mm from
// the spinous processes: J Pelvic Med Surg 2013;19(1):23-30); the sizes are common
// practice, no source.
type foramen struct {
	level           string
	dorsal, ventral opening
}

var foramina = []foramen{
	{"S1", opening{26, 36.5, 4.6, 5.4}, opening{24, 31, 7, 7.5}},
	{"S2", opening{23.5, 53.5, 4.3, 5}, opening{23.5, 53, 6.5, 7}},
	{"S3", opening{21.5, s3Dorsal, 4.2, 4.8}, opening{22, 70.5, 6, 6.5}},
	{"S4", opening{18.5, 76.5, 3.4, 3.6}, opening{19, 85, 5, 5}},
}

// section of the channel at f, 0 at the ventral margin and 1 at the dorsal
// surface; along is still millimetres of the patient.
func (f foramen) section(at float64) opening {
	at = max(-0.15, min(1.15, at))
	lerp := func(a, b float64) float64 { return a + at*(b-a) }
	return opening{
		x:      lerp(f.ventral.x, f.dorsal.x),
		s:      lerp(f.ventral.s, f.dorsal.s),
		across: lerp(f.ventral.across, f.dorsal.across),
		along:  lerp(f.ventral.along, f.dorsal.along),
	}
}

// outside is the distance in mm from the channel's wall of the point at x (of
// either side), arc length s, n mm dorsal of a margin thick mm from the dorsal
// surface and bent by bend; negative in the channel. It is exact on the wall.
func (f foramen) outside(x, s, n, thick, bend float64) float64 {
	o := f.section(n / thick)
	dx := (math.Abs(x) - o.x) / o.across
	ds := (s - o.s) * (1 + bend*n) / o.along
	return (math.Sqrt(dx*dx+ds*ds) - 1) * min(o.across, o.along)
}

// outline of an opening on the patient's left (side +1) or right (-1): points
// on the dorsal surface or the ventral margin, evenly by angle, in mm.
func (f foramen) outline(m *midline, dorsal bool, side float64, points int) []r3.Vec {
	o := f.ventral
	if dorsal {
		o = f.dorsal
	}
	i, _ := m.index(o.s)
	out := make([]r3.Vec, points)
	for k := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(points))
		s, n := o.s+o.along*sin, 0.0
		if dorsal {
			s = o.s + o.along*sin/(1+m.bend[i]*m.thick[i])
			n = m.thickAt.Predict(s)
		}
		out[k] = m.point(side*(o.x+o.across*cos), s, n)
	}
	return out
}
