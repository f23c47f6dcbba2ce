package placement_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
)

// world is a simulated patient on two films. It shares no formula with the
// package under test nor with package carm: the projection is written anew from
// PS3.3 C.8.7.5 (beam, axes of the picture, distances), and what is true of the
// needle is known before anything is projected.
type world struct {
	rng *rand.Rand

	// What is true, in the patient's own axes: x to the left, y to posterior,
	// z to the head, mm.
	midX           float64              // of the sagittal plane
	dorsal         func(float64) r3.Vec // by z
	ventral        func(float64) r3.Vec
	entry, tip     r3.Vec
	hub            r3.Vec
	midDepth       float64 // by how much the marked midline lies off the dorsal surface, along y
	toHeader       r3.Rotation
	headerIsTurned bool

	front, side view

	noise float64
	sd    func(mark.Structure) float64
}

// view is one film: what its header says, and how it truly stood.
type view struct {
	said           imaging.Geometry
	primary        float64 // degrees, true
	secondary      float64
	turn           r3.Rotation
	sid, sod       float64 // true
	shift          r3.Vec  // of the isocentre
	footX, footY   float64 // px off the centre
	bulge          float64
	spacing        float64
	rotation       float64
	flip           bool
	columns        int
	edgeD, edgeV   float64 // mm, wrong edges
	distortedReach float64
}

func (w *world) uniform(half float64) float64 { return half * (2*w.rng.Float64() - 1) }

// project a point of the header's axes.
func (v *view) project(p r3.Vec) r2.Vec {
	sa, ca := math.Sincos(v.primary * math.Pi / 180)
	sb, cb := math.Sincos(v.secondary * math.Pi / 180)
	beam := r3.Vec{X: cb * sa, Y: -cb * ca, Z: sb}
	u := r3.Vec{X: ca, Y: sa}
	d := r3.Cross(u, beam)
	if v.turn != (r3.Rotation{}) {
		beam, u, d = v.turn.Rotate(beam), v.turn.Rotate(u), v.turn.Rotate(d)
	}
	source := r3.Sub(v.shift, r3.Scale(v.sod, beam))
	q := r3.Sub(p, source)
	m := v.sid / r3.Dot(q, beam)
	x, y := m*r3.Dot(q, u), m*r3.Dot(q, d) // mm on the detector
	if v.bulge != 0 {
		reach := float64(v.columns) * v.spacing / 2
		k := 1 + v.bulge*(x*x+y*y)/(reach*reach)
		x, y = x*k, y*k
	}
	x, y = x/v.spacing+v.footX, y/v.spacing+v.footY
	// Field of View Rotation clockwise, then the flip.
	s, c := math.Sincos(v.rotation * math.Pi / 180)
	x, y = x*c-y*s, x*s+y*c
	if v.flip {
		x = -x
	}
	half := float64(v.columns) / 2
	return r2.Vec{X: half + x, Y: half + y}
}

// sacrum makes the curves, the needle and what is true of it.
func newWorld(seed uint64) *world {
	w := &world{rng: rand.New(rand.NewPCG(seed, 77))}
	w.midX = w.uniform(8)
	y0, slope, bend := w.uniform(10), -0.35+w.uniform(0.25), 0.004+w.uniform(0.002)
	thick := 22 + w.uniform(4)
	w.dorsal = func(z float64) r3.Vec { return r3.Vec{X: w.midX, Y: y0 + slope*z - bend*z*z/2 + 12, Z: z} }
	w.ventral = func(z float64) r3.Vec {
		return r3.Vec{X: w.midX, Y: y0 + slope*z - bend*z*z/2 + 12 - thick - 3*math.Sin(z/25), Z: z}
	}
	side := math.Copysign(1, w.rng.Float64()-0.5)
	w.needle(side*(16+10*w.rng.Float64()), w.uniform(8))
	w.front = view{columns: 1024, spacing: 0.2 + 0.1*w.rng.Float64(), sid: 1000 + w.uniform(150), sod: 700 + w.uniform(60)}
	w.side = w.front
	w.side.sid, w.side.sod = 1000+w.uniform(150), 700+w.uniform(60)
	return w
}

// needle enters the dorsal surface off mm to the left of the midline at z.
func (w *world) needle(off, z float64) {
	e := w.dorsal(z)
	e.X += off
	w.entry = e
	d := r3.Unit(r3.Vec{X: w.uniform(0.25), Y: -1, Z: -0.35 + w.uniform(0.25)})
	w.hub = r3.Sub(e, r3.Scale(35, d))
	w.tip = r3.Add(e, r3.Scale(22+12*w.rng.Float64(), d))
}

// truth of the needle.
type truth struct {
	depth, perpendicular, offset, tipOffset, chord, surface, dorsalAngle, ventralAngle float64
}

func (w *world) truth() truth {
	var t truth
	d := r3.Unit(r3.Sub(w.tip, w.hub))
	// Exit by bisection along the shaft, seen along x.
	gap := func(s float64) float64 {
		p := r3.Add(w.entry, r3.Scale(s, d))
		return p.Y - w.ventral(p.Z).Y
	}
	lo, hi := 0.0, 90.0
	for range 200 {
		if m := (lo + hi) / 2; gap(m) > 0 {
			lo = m
		} else {
			hi = m
		}
	}
	exit := r3.Add(w.entry, r3.Scale(lo, d))
	t.depth = r3.Norm(r3.Sub(w.tip, w.entry)) - lo
	own := math.Copysign(1, w.entry.X-w.midX)
	t.offset = math.Abs(w.entry.X - w.midX)
	t.tipOffset = own * (w.tip.X - w.midX)
	// Shortest distance to the margin, seen along x, by fine steps.
	best := math.Inf(1)
	for z := exit.Z - 19; z <= exit.Z+19; z += 0.002 {
		v := w.ventral(z)
		best = math.Min(best, math.Hypot(v.Y-w.tip.Y, v.Z-w.tip.Z))
	}
	t.perpendicular = math.Copysign(best, t.depth)
	tangent := func(f func(float64) r3.Vec, z float64) r2.Vec {
		a, b := f(z-1e-4), f(z+1e-4)
		return r2.Unit(r2.Vec{X: b.Y - a.Y, Y: b.Z - a.Z}) // towards the head
	}
	back := r2.Unit(r2.Vec{X: -d.Y, Y: -d.Z})
	angle := func(a, b r2.Vec) float64 { return math.Acos(r2.Dot(a, b)) * 180 / math.Pi }
	dt := tangent(w.dorsal, w.entry.Z)
	t.dorsalAngle = angle(back, dt)
	t.ventralAngle = angle(back, tangent(w.ventral, exit.Z))
	n := r3.Vec{Y: -dt.Y, Z: dt.X}
	t.surface = math.Asin(math.Abs(r3.Dot(n, d))) * 180 / math.Pi
	// The total least squares line of the dorsal curve within 15 mm along it.
	var pts []r2.Vec
	walk := func(step float64) {
		z, s := w.entry.Z, 0.0
		for s < 15 {
			a, b := w.dorsal(z), w.dorsal(z+step)
			pts = append(pts, r2.Vec{X: a.Y, Y: a.Z})
			s += math.Hypot(b.Y-a.Y, b.Z-a.Z)
			z += step
		}
	}
	walk(0.001)
	walk(-0.001)
	var mean r2.Vec
	for _, p := range pts {
		mean = r2.Add(mean, r2.Scale(1/float64(len(pts)), p))
	}
	var xx, xy, yy float64
	for _, p := range pts {
		q := r2.Sub(p, mean)
		xx, xy, yy = xx+q.X*q.X, xy+q.X*q.Y, yy+q.Y*q.Y
	}
	th := math.Atan2(2*xy, xx-yy) / 2
	c := r2.Vec{X: math.Cos(th), Y: math.Sin(th)}
	if c.Y < 0 {
		c = r2.Scale(-1, c)
	}
	t.chord = angle(back, c)
	return t
}

const (
	sideUID  = "1.2.826.1"
	frontUID = "1.2.826.2"
)

// header of a view, with angles as the header says them.
func (v *view) header(uid string) *imaging.Header {
	return &imaging.Header{File: uid + ".dcm", SOPInstance: uid, Study: "1.2.826", Columns: v.columns, Rows: v.columns, Frames: 1, Base: v.said}
}

// say writes down in the header what is true now.
func (v *view) say() {
	v.said = imaging.Geometry{
		Kind: imaging.KindXA, Columns: v.columns, Rows: v.columns,
		ImagerSpacing:    imaging.Spacing{Row: v.spacing, Column: v.spacing, Known: true},
		SourceToDetector: imaging.Known(v.sid), SourceToPatient: imaging.Known(v.sod),
		PrimaryAngle: imaging.Known(v.primary), SecondaryAngle: imaging.Known(v.secondary),
	}
	if v.rotation != 0 {
		v.said.FieldOfViewRotation = imaging.Known(v.rotation)
	}
	if v.flip {
		v.said.FieldOfViewFlip = "YES"
	}
}

// marks of both films; noise scales every structure's own standard deviation.
func (w *world) marks(noise float64, sd func(mark.Structure) float64) mark.Book {
	b := mark.Book{Observer: "Observer A"}
	w.noise, w.sd = noise, sd
	add := func(v *view, uid string, s mark.Structure, object string, pts ...r3.Vec) {
		w.add(&b, v, uid, s, object, pts...)
	}
	along := func(f func(float64) r3.Vec, edge float64, points int) (out []r3.Vec) {
		for i := range points {
			z := w.entry.Z - 62 + 110*float64(i)/float64(points-1)
			p, q := f(z-0.01), f(z+0.01)
			t := r3.Unit(r3.Sub(q, p))
			m := r3.Scale(0.5, r3.Add(p, q))
			out = append(out, r3.Add(m, r3.Scale(edge, r3.Vec{Y: t.Z, Z: -t.Y})))
		}
		return out
	}
	shaft := func(from, to r3.Vec) (out []r3.Vec) {
		for i := range 5 {
			out = append(out, r3.Add(from, r3.Scale(float64(i)/4, r3.Sub(to, from))))
		}
		return out
	}
	points := 23
	if noise > 0 {
		points = 12 // some 9 mm apart, as a hand sets them
	}
	add(&w.side, sideUID, mark.VentralMargin, "", along(w.ventral, w.side.edgeV, points)...)
	add(&w.side, sideUID, mark.DorsalMargin, "", along(w.dorsal, w.side.edgeD, points)...)
	add(&w.side, sideUID, mark.Needle, "N1", shaft(w.hub, w.tip)...)
	// The films do not share the vertices of the shaft.
	add(&w.front, frontUID, mark.Needle, "N1", shaft(r3.Add(w.hub, r3.Scale(0.2, r3.Sub(w.tip, w.hub))), w.tip)...)
	mid := func(z float64) r3.Vec { return r3.Add(w.dorsal(z), r3.Vec{Y: w.midDepth}) }
	add(&w.front, frontUID, mark.Midline, "", mid(w.entry.Z-30), mid(w.entry.Z-10), mid(w.entry.Z+10), mid(w.entry.Z+30))
	return b
}

// add projects points on a film and marks them there.
func (w *world) add(b *mark.Book, v *view, uid string, s mark.Structure, object string, pts ...r3.Vec) {
	m := mark.Mark{UID: fmt.Sprint("2.25.", len(b.Marks)+1), Frame: mark.One(uid, 1), Structure: s, Object: object, Origin: mark.ByHand}
	for _, p := range pts {
		if w.headerIsTurned {
			p = w.toHeader.Rotate(p)
		}
		px := v.project(p)
		if w.noise > 0 {
			px.X += w.noise * w.sd(s) * w.rng.NormFloat64()
			px.Y += w.noise * w.sd(s) * w.rng.NormFloat64()
		}
		m.Points = append(m.Points, px)
	}
	b.Marks = append(b.Marks, m)
}

// extra marks something more on the frontal film.
func (w *world) extra(b *mark.Book, s mark.Structure, object string, pts ...r3.Vec) {
	w.add(b, &w.front, frontUID, s, object, pts...)
}

func (w *world) compute(b mark.Book, opt placement.Options) placement.Placement {
	hs := []*imaging.Header{w.side.header(sideUID), w.front.header(frontUID)}
	return placement.Compute(placement.Films(hs, b), b, opt)
}

func find(p placement.Placement, quantity, plane string) (placement.Result, bool) {
	for _, r := range p.Results {
		if r.Object == "N1" && r.Quantity == quantity && r.Plane == plane {
			return r, true
		}
	}
	return placement.Result{}, false
}

func quat(r r3.Rotation) [4]float64 { return [4]float64{r.Real, r.Imag, r.Jmag, r.Kmag} }

func mul(a, b [4]float64) (out struct{ Real, Imag, Jmag, Kmag float64 }) {
	out.Real = a[0]*b[0] - a[1]*b[1] - a[2]*b[2] - a[3]*b[3]
	out.Imag = a[0]*b[1] + a[1]*b[0] + a[2]*b[3] - a[3]*b[2]
	out.Jmag = a[0]*b[2] - a[1]*b[3] + a[2]*b[0] + a[3]*b[1]
	out.Kmag = a[0]*b[3] + a[1]*b[2] - a[2]*b[1] + a[3]*b[0]
	return out
}

func decimal(v float64) string { return fmt.Sprintf("%.4f", v) }
