package placement

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging/carm"
	"leadline/measure/curve"
	"leadline/measure/mark"
	"leadline/measure/quantity"
)

// space is what a frontal and a lateral film together say of one device. It is
// a value: a displaced copy answers what the quantities would be then.
//
// Patient coordinates are those of package carm. The sagittal plane is at right
// angles to the patient's left-right axis, through the marked midline, which
// lies on the dorsal surface. Ventral margin and dorsal surface lie in it and
// are extended along its normal, so that a crossing with either is a crossing in
// the projection on the plane.
type space struct {
	front, side carm.Camera
	tip         r3.Vec         // of the device, as adjusted
	contacts    map[int]r3.Vec // by contact number: those seen on both films, as adjusted
	lateral     *lateral
	frontal     *frontal
	own         float64 // +1 or -1: the side of the midline entered on, as a displaced copy keeps it; 0 to be found
	roll, tilt  float64 // radians, of the sagittal plane about the patient's long and front-back axis
}

// Slots of what two films give follow those of the lateral film and its
// contacts.
const (
	spaceOffsetEntry = iota // mm
	spaceMedial
	spaceSuperior
	spaceFractionMedial
	spaceFractionSuperior
	spaceOffsetTip
	spaceSurface // degrees
	spaceEntryX  // mm, patient coordinates
	spaceEntryY
	spaceEntryZ
	spaceTipX
	spaceTipY
	spaceTipZ
	spaceHubX // of the shaft, where the lateral film's marks begin
	spaceHubY
	spaceHubZ
	spaceSlots
)

// leastLean is the sine of the angle below which the two planes that a shaft
// spans with the sources are one: about one degree.
const leastLean = 0.02

func (sp *space) first() int { return lateralSlots + len(sp.lateral.contacts) }

// sagittal is the plane normal . P = at, with unit axes of the plane.
type sagittal struct {
	normal, back, head r3.Vec
	at                 float64
}

func (g sagittal) of(p r3.Vec) r2.Vec { return r2.Vec{X: r3.Dot(g.back, p), Y: r3.Dot(g.head, p)} }

// from the plane's coordinates and the distance along its normal.
func (g sagittal) from(p r2.Vec, x float64) r3.Vec {
	return r3.Add(r3.Add(r3.Scale(p.X, g.back), r3.Scale(p.Y, g.head)), r3.Scale(x, g.normal))
}

// seen is the point seen at px by c that lies at x along the normal.
func (g sagittal) seen(c carm.Camera, px r2.Vec, x float64) r3.Vec {
	o, d := c.Ray(px)
	return r3.Add(o, r3.Scale((x-r3.Dot(g.normal, o))/r3.Dot(g.normal, d), d))
}

// plane of the patient, before it is laid through the midline.
func (sp *space) plane() sagittal { return axes(sp.roll, sp.tilt) }

// evaluate computes every slot.
func (sp *space) evaluate() *found {
	base := sp.first()
	f := newFound(base + spaceSlots)
	g := sp.plane()
	w, why := sp.course(g)
	if why != "" {
		for s := range f.why {
			f.why[s] = why
		}
		return f
	}
	tip, hub := w.points[len(w.points)-1], w.points[0]
	f.v[base+spaceTipX], f.v[base+spaceTipY], f.v[base+spaceTipZ] = tip.X, tip.Y, tip.Z
	f.v[base+spaceHubX], f.v[base+spaceHubY], f.v[base+spaceHubZ] = hub.X, hub.Y, hub.Z
	entry, why := sp.settle(&g, w)
	if why != "" {
		for s := range base + spaceTipX {
			f.why[s] = why
		}
		return f
	}
	l := sp.onPlane(g, w)
	seen := l.evaluate()
	copy(f.v[:base], seen.v)
	copy(f.why[:base], seen.why)
	f.notes, f.fusion, f.axis = seen.notes, seen.fusion, seen.axis
	sp.lengthen(f, l, w, g)
	sp.surface(f, l, w)
	f.v[base+spaceEntryX], f.v[base+spaceEntryY], f.v[base+spaceEntryZ] = entry.X, entry.Y, entry.Z
	sp.sideways(f, g, entry, tip)
	return f
}

const midlineSteps = 24

// middle is where the marked midline lies on the dorsal surface: its distance
// along the normal at a height, as the line through its points there.
func (sp *space) middle(g sagittal, dorsal *curve.Curve, height float64) (x float64, why string) {
	m := sp.frontal.midline
	if len(m.px) < 2 {
		if m.lack != "" {
			return 0, m.lack
		}
		return 0, "mark the midline on the frontal film"
	}
	var n, sz, sx, szz, szx float64
	lay := func(px r2.Vec) {
		p, ok := sp.onDorsal(g, dorsal, px)
		if !ok {
			return
		}
		z, x := r3.Dot(g.head, p)-height, r3.Dot(g.normal, p)
		n, sz, sx, szz, szx = n+1, sz+z, sx+x, szz+z*z, szx+z*x
	}
	for _, px := range m.px {
		lay(px)
	}
	if n < 2 {
		// Its points lie past the ends of the marked surface: the straight line
		// between them then stands for it.
		n, sz, sx, szz, szx = 0, 0, 0, 0, 0
		first, last := m.px[0], m.px[len(m.px)-1]
		for i := range midlineSteps + 1 {
			lay(r2.Add(first, r2.Scale(float64(i)/midlineSteps, r2.Sub(last, first))))
		}
	}
	switch d := n*szz - sz*sz; {
	case n == 0:
		return 0, "the midline lies beyond the marked dorsal-margin; extend dorsal-margin"
	case n == 1 || d < 1e-9*n*n:
		return sx / n, ""
	default:
		return (szz*sx - sz*szx) / d, "" // the fitted line at the height
	}
}

// onDorsal is where the ray of the frontal film through px meets the dorsal
// surface. In the run of a sacrum that is one place; of several the one nearest
// to the isocentre counts.
func (sp *space) onDorsal(g sagittal, dorsal *curve.Curve, px r2.Vec) (at r3.Vec, ok bool) {
	if dorsal == nil {
		return r3.Vec{}, false
	}
	s, ray := sp.front.Ray(px)
	from, along := g.of(s), g.of(ray)
	size := r2.Norm(along)
	best := math.Inf(1)
	for _, x := range dorsal.CrossLine(curve.Line{Origin: from, Direction: r2.Scale(1/size, along)}) {
		if p := r3.Add(s, r3.Scale(x.S/size, ray)); r3.Norm(p) < best {
			best, at, ok = r3.Norm(p), p, true
		}
	}
	return at, ok
}

// settle finds the sagittal plane through the midline at the entry, each of
// which hangs on the other a little, and the entry.
func (sp *space) settle(g *sagittal, w way) (entry r3.Vec, why string) {
	if sp.lateral.dorsal.curve == nil {
		return r3.Vec{}, needMark(sp.lateral.dorsal) + " on the lateral film"
	}
	tip := w.points[len(w.points)-1]
	g.at = r3.Dot(g.normal, tip)
	height := r3.Dot(g.head, tip)
	for range 12 {
		dorsal := sp.lineOn(*g, sp.lateral.dorsal)
		l := lateral{plane: millimetre, device: sp.flat(*g, w), dorsal: dorsal}
		if sp.lateral.ventral.curve != nil {
			l.ventral = sp.lineOn(*g, sp.lateral.ventral)
		}
		e, found := l.entryPoint()
		if !found {
			return r3.Vec{}, "the " + sp.lateral.device.name + " does not cross the marked dorsal-margin; extend dorsal-margin"
		}
		entry = g.from(e, w.side(*g, e))
		height = r3.Dot(g.head, entry)
		at, why := sp.middle(*g, dorsal.curve, height)
		if why != "" {
			return r3.Vec{}, why
		}
		done := math.Abs(at-g.at) < 1e-6
		g.at = at
		if done {
			break
		}
	}
	return entry, ""
}

// entryPoint is where the device enters, plane units.
func (l *lateral) entryPoint() (r2.Vec, bool) {
	if l.device.lead {
		if l.device.curve == nil || l.dorsal.curve == nil {
			return r2.Vec{}, false
		}
		if xs := l.device.curve.CrossCurve(l.dorsal.curve); len(xs) > 0 {
			return xs[0].Point, true
		}
		return r2.Vec{}, false
	}
	a, why := newAxis(l.device.drawn, l.plane)
	if why != "" || l.dorsal.curve == nil {
		return r2.Vec{}, false
	}
	if e := l.entry(a); e != nil {
		return e.Point, true
	}
	return r2.Vec{}, false
}

// flat is the device's course as it looks along the normal.
func (sp *space) flat(g sagittal, w way) line {
	d := sp.lateral.device.drawn
	d.px = make([]r2.Vec, len(w.points))
	for i, p := range w.points {
		d.px[i] = g.of(p)
	}
	d.sd *= math.Max(sp.lateral.plane.column, sp.lateral.plane.row)
	if w.leads {
		return newLine(d, millimetre, openForm)
	}
	d.shape = straight
	return line{drawn: d}
}

// side is how far along the normal the course lies where it looks to be at p.
func (w way) side(g sagittal, p r2.Vec) float64 {
	best, out := math.Inf(1), 0.0
	for i := 1; i < len(w.points); i++ {
		a, b := g.of(w.points[i-1]), g.of(w.points[i])
		d := r2.Sub(b, a)
		u := r2.Dot(r2.Sub(p, a), d) / r2.Norm2(d)
		if w.leads || len(w.points) > 2 {
			u = math.Max(0, math.Min(1, u))
		}
		if r := r2.Norm(r2.Sub(p, r2.Add(a, r2.Scale(u, d)))); r < best {
			x, y := r3.Dot(g.normal, w.points[i-1]), r3.Dot(g.normal, w.points[i])
			best, out = r, x+u*(y-x)
		}
	}
	return out
}

func (sp *space) lineOn(g sagittal, l line) line {
	d := l.drawn
	d.px = make([]r2.Vec, len(l.px))
	for i, p := range l.px {
		d.px[i] = g.of(g.seen(sp.side, p, g.at))
	}
	if l.curve == nil {
		return line{drawn: d, why: l.why}
	}
	return newLine(d, millimetre, openForm)
}

// onPlane is the lateral film's marks on the sagittal plane, and the device as
// it looks along the normal.
func (sp *space) onPlane(g sagittal, w way) *lateral {
	l := sp.lateral
	out := &lateral{
		plane: millimetre, device: sp.flat(g, w), cranial: r2.Vec{Y: 1}, names: l.names,
		ventral: sp.lineOn(g, l.ventral), dorsal: sp.lineOn(g, l.dorsal), skin: line{why: "not in this plane"},
	}
	for _, d := range l.fusion {
		out.fusion = append(out.fusion, sp.lineOn(g, line{drawn: d}).drawn)
	}
	for _, k := range l.contacts {
		p, ok := sp.contacts[k.index]
		if !ok {
			// Seen on the lateral film alone: at the lead's own distance.
			rough := g.of(g.seen(sp.side, k.px[0], r3.Dot(g.normal, sp.tip)))
			p = g.seen(sp.side, k.px[0], w.side(g, rough))
		}
		k.px = []r2.Vec{g.of(p)}
		k.sd *= math.Max(l.plane.column, l.plane.row)
		out.contacts = append(out.contacts, k)
	}
	return out
}

// lengthen turns lengths along the device, as they look on the sagittal plane,
// into its own.
func (sp *space) lengthen(f *found, l *lateral, w way, g sagittal) {
	if !w.leads {
		hub, tip := w.points[0], w.points[1]
		f.v[depthAlong] *= r3.Norm(r3.Sub(tip, hub)) / r2.Norm(r2.Sub(g.of(tip), g.of(hub)))
		return
	}
	exit := r2.Vec{X: f.v[exitX], Y: f.v[exitY]}
	if l.device.curve == nil || !finite(exit) {
		return
	}
	c := l.device.curve
	a, b := c.Range()
	from, _ := c.Nearest(exit, a, b)
	for i, k := range l.contacts {
		slot := lateralSlots + i
		if f.v[slot] != f.v[slot] {
			continue
		}
		to, _ := c.Nearest(k.px[0], a, b)
		const parts = 24
		sum := 0.0
		last := w.side(g, c.At(from))
		for n := 1; n <= parts; n++ {
			t0, t1 := from+(to-from)*float64(n-1)/parts, from+(to-from)*float64(n)/parts
			x := w.side(g, c.At(t1))
			sum += math.Hypot(c.Length(t0, t1), x-last)
			last = x
		}
		f.v[slot] = math.Copysign(sum, f.v[slot])
	}
}

// surface is the angle between the device and the dorsal surface at the entry,
// its lean to the side included: that surface runs along the normal.
func (sp *space) surface(f *found, l *lateral, w way) {
	slot := sp.first() + spaceSurface
	e := r2.Vec{X: f.v[entryX], Y: f.v[entryY]}
	if !finite(e) || l.dorsal.curve == nil {
		f.why[slot] = f.why[entryX]
		return
	}
	square, _ := normalAt(l.dorsal, millimetre, e.X, e.Y)
	g := sp.plane()
	n := g.from(square, 0)
	d := r3.Sub(w.points[1], w.points[0])
	if w.leads {
		// The stretch of the lead that holds the entry.
		best := math.Inf(1)
		for i := 1; i < len(w.points); i++ {
			a, b := g.of(w.points[i-1]), g.of(w.points[i])
			m := r2.Scale(0.5, r2.Add(a, b))
			if r := r2.Norm(r2.Sub(m, e)); r < best {
				best, d = r, r3.Sub(w.points[i], w.points[i-1])
			}
		}
		// The way it looks along the normal is the curve's own tangent there.
		if c := l.device.curve; c != nil {
			a, b := c.Range()
			t, _ := c.Nearest(e, a, b)
			flat := r2.Norm(g.of(d))
			d = g.from(r2.Scale(flat, c.Tangent(t)), r3.Dot(g.normal, d))
		}
	}
	f.v[slot] = quantity.Degrees(math.Asin(math.Min(1, math.Abs(r3.Dot(n, r3.Unit(d))))))
}

// sideways is what lies across the midline: entry, tip, and the entry against
// the marked opening, whose outline lies on the dorsal surface.
func (sp *space) sideways(f *found, g sagittal, entry, tip r3.Vec) {
	base := sp.first()
	off := r3.Dot(g.normal, entry) - g.at
	own := math.Copysign(1, off)
	if sp.own != 0 {
		own = sp.own
	}
	f.own = own
	f.v[base+spaceOffsetEntry] = own * off
	f.v[base+spaceOffsetTip] = own * (r3.Dot(g.normal, tip) - g.at)
	fr := sp.frontal
	slots := [4]int{spaceMedial, spaceSuperior, spaceFractionMedial, spaceFractionSuperior}
	front := newFound(frontalSlots)
	c := frontal{plane: millimetre, chosen: -1}
	if fr.chosen >= 0 {
		o := fr.foramina[fr.chosen]
		c.chosen = 0
		if o.curve != nil {
			o.line = sp.outlineOn(g, o)
		}
		c.foramina = []outline{o}
	}
	// Seen along the front-back axis: x along the normal, y to the feet.
	at := r2.Vec{X: r3.Dot(g.normal, entry), Y: -r3.Dot(g.head, entry)}
	c.foramenSlots(front, at, r2.Vec{X: own}, r2.Vec{Y: 1})
	for i, s := range [4]int{foramenMedial, foramenSuperior, fractionMedial, fractionSuperior} {
		f.v[base+slots[i]], f.why[base+slots[i]] = front.v[s], front.why[s]
		if n := front.notes[s]; n != "" {
			f.note(base+slots[i], n)
		}
	}
}

// outlineOn lays an opening's outline on the dorsal surface and shows it along
// the front-back axis.
func (sp *space) outlineOn(g sagittal, o outline) line {
	dorsal := sp.lineOn(g, sp.lateral.dorsal)
	d := o.drawn
	d.px = make([]r2.Vec, len(o.px))
	for i, px := range o.px {
		p, ok := sp.onDorsal(g, dorsal.curve, px)
		if !ok {
			return line{drawn: d, why: "the foramen's outline reaches past the marked dorsal-margin; extend dorsal-margin"}
		}
		d.px[i] = r2.Vec{X: r3.Dot(g.normal, p), Y: -r3.Dot(g.head, p)}
	}
	if o.arc {
		return newLine(d, millimetre, openForm)
	}
	return newLine(d, millimetre, closedForm)
}

// isShaft reports whether a device is straight.
func isShaft(s mark.Structure) bool { return s == mark.Needle || s == mark.Wire }
