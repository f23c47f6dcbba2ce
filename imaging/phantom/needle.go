package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging/carm"
)

// Measures of the needles in mm; a steel foramen needle of about 1 mm with a
// plastic hub is common practice, no source.
const (
	needleRadius = 0.46
	needleLength = 90.0
	pointLength  = 1.4 // the ground point
	hubRadius    = 2.6
	hubLength    = 17.0
)

// needle as it lies in the patient, all points in patient mm.
type needle struct {
	object string
	side   string
	hub    r3.Vec // end of the shaft at the hub
	entry  r3.Vec // crossing of the axis with the dorsal surface
	exit   r3.Vec // crossing of the axis with the ventral margin
	tip    r3.Vec
}

// plan of a needle.
type plan struct {
	object string
	side   float64 // +1 the patient's left, -1 right
	x      float64 // of the entry, mm from the midline
	s      float64 // of the entry
	angle  float64 // degrees to the dorsal surface's chord
	veer   float64 // degrees by which the tip runs lateral of the sagittal plane
	depth  float64 // mm from exit to tip along the axis
}

// Both needles enter in the medial and cranial part of the S3 opening.
var plans = []plan{
	{object: "N1", side: 1, x: 20.0, s: 64.6, angle: 70.5, veer: 2, depth: 3},
	{object: "N2", side: -1, x: 20.6, s: 65.3, angle: 67.0, veer: 3.5, depth: 11},
}

// sideName of +1 or -1.
func sideName(side float64) string {
	if side > 0 {
		return "left"
	}
	return "right"
}

// place a needle: its axis leaves the dorsal surface at the planned angle to
// the line through that surface within chordReach of the entry.
func (p plan) place(m *midline) needle {
	entry := m.point(p.side*p.x, p.s, m.thickAt.Predict(p.s))
	chord := m.dorsalChord(r2.Vec{X: entry.Z, Y: entry.Y})
	lean := math.Atan2(chord.Y, chord.X) + p.angle*math.Pi/180
	veer := math.Tan(p.veer * math.Pi / 180)
	// From tip to hub.
	up := r3.Unit(r3.Vec{X: -p.side * veer, Y: math.Sin(lean), Z: math.Cos(lean)})
	exit := entry
	if t, ok := crossing(m.ventral, r2.Vec{X: entry.Z, Y: entry.Y}, r2.Vec{X: -up.Z, Y: -up.Y}); ok {
		exit = r3.Sub(entry, r3.Scale(t, up))
	}
	tip := r3.Sub(exit, r3.Scale(p.depth, up))
	return needle{
		object: p.object, side: sideName(p.side),
		hub: r3.Add(tip, r3.Scale(needleLength, up)), entry: entry, exit: exit, tip: tip,
	}
}

// crossing of the ray from p along d with the polyline, as the factor of d;
// the nearest ahead.
func crossing(line []r2.Vec, p, d r2.Vec) (t float64, ok bool) {
	t = math.Inf(1)
	for i := 1; i < len(line); i++ {
		e := r2.Sub(line[i], line[i-1])
		den := r2.Cross(d, e)
		if den == 0 {
			continue
		}
		q := r2.Sub(line[i-1], p)
		if f := r2.Cross(q, d) / den; f < 0 || f > 1 {
			continue
		}
		if u := r2.Cross(q, e) / den; u > 1e-6 && u < t {
			t, ok = u, true
		}
	}
	return t, ok
}

// chordReach is how far, along the dorsal surface in mm to either side of the
// entry, its straight reference line is fitted.
const chordReach = 15.0

// dorsalChord is the unit direction, towards the head, of the total least
// squares line of the dorsal surface within chordReach of the point at along it
// (X: z, Y: y), sampled evenly.
func (m *midline) dorsalChord(at r2.Vec) r2.Vec {
	arc := make([]float64, len(m.dorsal))
	near, best := 0, math.Inf(1)
	for i := range m.dorsal {
		if i > 0 {
			arc[i] = arc[i-1] + r2.Norm(r2.Sub(m.dorsal[i], m.dorsal[i-1]))
		}
		if d := r2.Norm2(r2.Sub(m.dorsal[i], at)); d < best {
			near, best = i, d
		}
	}
	// Where exactly on the curve: the foot on the two neighbouring pieces.
	centre := arc[near]
	for _, i := range []int{near - 1, near} {
		e := r2.Sub(m.dorsal[i+1], m.dorsal[i])
		if f := r2.Dot(r2.Sub(at, m.dorsal[i]), e) / r2.Norm2(e); f >= 0 && f <= 1 {
			centre = arc[i] + f*r2.Norm(e)
		}
	}
	const samples = 601
	pts := make([]r2.Vec, 0, samples)
	var mean r2.Vec
	for k, i := 0, 0; k < samples; k++ {
		a := centre - chordReach + 2*chordReach*float64(k)/(samples-1)
		for i < len(arc)-2 && arc[i+1] < a {
			i++
		}
		f := (a - arc[i]) / (arc[i+1] - arc[i])
		p := r2.Add(m.dorsal[i], r2.Scale(f, r2.Sub(m.dorsal[i+1], m.dorsal[i])))
		pts = append(pts, p)
		mean = r2.Add(mean, r2.Scale(1.0/samples, p))
	}
	var xx, xy, yy float64
	for _, p := range pts {
		d := r2.Sub(p, mean)
		xx, xy, yy = xx+d.X*d.X, xy+d.X*d.Y, yy+d.Y*d.Y
	}
	// Direction of the largest eigenvector of the scatter matrix.
	angle := math.Atan2(2*xy, xx-yy) / 2
	dir := r2.Vec{X: math.Cos(angle), Y: math.Sin(angle)}
	if dir.X < 0 {
		dir = r2.Scale(-1, dir)
	}
	return dir
}

// cast adds the needle's shadow to the line integrals of a film. A pixel a
// shaft's edge runs through takes the mean transmission of its parts.
func (n needle) cast(c carm.Camera, film plate) {
	axis := r3.Unit(r3.Sub(n.hub, n.tip))
	low, high := r2.Vec{X: math.Inf(1), Y: math.Inf(1)}, r2.Vec{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, p := range []r3.Vec{n.tip, r3.Add(n.hub, r3.Scale(hubLength, axis))} {
		if px, ok := c.Project(p); ok {
			low = r2.Vec{X: min(low.X, px.X), Y: min(low.Y, px.Y)}
			high = r2.Vec{X: max(high.X, px.X), Y: max(high.Y, px.Y)}
		}
	}
	const margin = 30 // pixels: more than the hub's half width
	const parts = 3
	for j := max(0, int(low.Y)-margin); j < min(film.side, int(high.Y)+margin); j++ {
		for i := max(0, int(low.X)-margin); i < min(film.side, int(high.X)+margin); i++ {
			origin, direction := c.Ray(r2.Vec{X: float64(i) + 0.5, Y: float64(j) + 0.5})
			if n.gap(axis, origin, direction) > hubRadius*1.25+1 {
				continue
			}
			passed := 0.0
			for k := range parts * parts {
				origin, direction := c.Ray(r2.Vec{
					X: float64(i) + (float64(k%parts)+0.5)/parts,
					Y: float64(j) + (float64(k/parts)+0.5)/parts,
				})
				passed += math.Exp(-n.attenuation(origin, direction)) / (parts * parts)
			}
			film.v[j*film.side+i] -= math.Log(passed)
		}
	}
}

// gap between the needle's axis, made endless, and the ray in mm.
func (n needle) gap(axis, origin, direction r3.Vec) float64 {
	cross := r3.Cross(axis, direction)
	return math.Abs(r3.Dot(r3.Sub(n.tip, origin), cross)) / r3.Norm(cross)
}

// attenuation along the ray from origin in unit direction: the dimensionless
// line integral through shaft and hub. The shaft is a cylinder with a
// ground point; ends are cut square to the axis, seen from the side.
func (n needle) attenuation(origin, direction r3.Vec) float64 {
	axis := r3.Unit(r3.Sub(n.hub, n.tip))
	cross := r3.Cross(axis, direction)
	sin := r3.Norm(cross)
	if sin < 0.05 {
		return 0 // along the axis: not met with in these views
	}
	q := r3.Sub(n.tip, origin)
	gap := math.Abs(r3.Dot(q, cross)) / sin
	// Height over the tip of the axis' nearest point to the ray.
	b := r3.Dot(axis, direction)
	height := (b*r3.Dot(q, direction) - r3.Dot(q, axis)) / (1 - b*b)
	chord := func(r float64) float64 {
		if gap >= r {
			return 0
		}
		return 2 * math.Sqrt(r*r-gap*gap) / sin / 10 // cm
	}
	out := 0.0
	if height >= 0 && height <= needleLength {
		r := needleRadius
		if height < pointLength {
			r *= height / pointLength
		}
		out += chord(r) * (steelAttenuation - softAttenuation)
	}
	if height >= needleLength-4 && height <= needleLength-4+hubLength {
		r := hubRadius
		if height > needleLength+8 { // the flange
			r *= 1.25
		}
		out += chord(r) * hubAttenuation * 0.55 // hollow
	}
	return out
}
