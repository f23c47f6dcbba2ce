package placement

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/measure/curve"
	"leadline/measure/quantity"
)

const (
	// ChordReach is how far along the dorsal surface, in millimetres to either
	// side of the entry, the headline angle's reference line looks.
	ChordReach = 15.0
	// PerpendicularReach is how far along the ventral margin, in millimetres to
	// either side of the exit, the shortest distance is looked for.
	PerpendicularReach = 20.0
	// acrossLimit is the cosine below which a curve runs so nearly across the
	// cranial direction that neither end can be called cranial.
	acrossLimit = 0.1
)

// contact of a lead as marked.
type contact struct {
	drawn
	index  int
	length float64 // plane units; 0 not given
}

// lateral is all that a lateral film says of one device. It is a value: a
// displaced copy answers what the quantities would be then.
type lateral struct {
	plane    plane
	device   line // curve only for leads
	ventral  line
	dorsal   line
	skin     line
	fusion   []drawn
	names    []string // of the fusion lines, S2/S3 …
	contacts []contact
	cranial  r2.Vec // unit vector towards the head on the plane; zero: not known
	noHead   string // why it is not known
}

// Slots of what a film gives; contacts follow after the last.
const (
	entryX = iota // SR pixels
	entryY
	exitX
	exitY
	angleDorsal // degrees
	angleChord
	angleFusion
	angleVentral
	angleSkin
	depthAlong // plane units, positive beyond the margin
	depthPerpendicular
	lateralSlots
)

// found is the outcome of one evaluation: values by slot, NaN where missing.
type found struct {
	v       []float64
	why     []string // why a slot is missing, only where asked for
	notes   map[int]string
	axis    axis
	axisWhy string
	fusion  int     // index of the fusion line taken, -1 none
	own     float64 // frontal: the side of the midline that the device entered on
}

func newFound(n int) *found {
	f := &found{v: make([]float64, n), why: make([]string, n), fusion: -1}
	for i := range f.v {
		f.v[i] = math.NaN()
	}
	return f
}

func (f *found) miss(why string, slots ...int) {
	for _, s := range slots {
		f.why[s] = why
	}
}

func (f *found) note(slot int, text string) {
	if f.notes == nil {
		f.notes = map[int]string{}
	}
	if f.notes[slot] != "" {
		text = f.notes[slot] + "; " + text
	}
	f.notes[slot] = text
}

// angleBetween two directions, 0 to 180 degrees.
func angleBetween(a, b r2.Vec) float64 {
	return quantity.Degrees(math.Atan2(math.Abs(r2.Cross(a, b)), r2.Dot(a, b)))
}

// towardsHead turns a curve's tangent at t so that it points along the curve
// towards S1.
func towardsHead(c *curve.Curve, tangent, cranial r2.Vec) (r2.Vec, bool) {
	a, b := c.Range()
	run := r2.Unit(r2.Sub(c.At(b), c.At(a)))
	switch d := r2.Dot(run, cranial); {
	case d > acrossLimit:
		return tangent, true
	case d < -acrossLimit:
		return r2.Scale(-1, tangent), true
	}
	return r2.Vec{}, false
}

func needMark(l line) string {
	if l.why != "" {
		return l.why
	}
	return "mark the " + l.name + " on this film"
}

// evaluate computes every slot.
func (l *lateral) evaluate() *found {
	f := newFound(lateralSlots + len(l.contacts))
	if l.device.lead {
		l.evaluateLead(f)
	} else {
		l.evaluateNeedle(f)
	}
	return f
}

func (l *lateral) evaluateNeedle(f *found) {
	a, why := newAxis(l.device.drawn, l.plane)
	f.axis, f.axisWhy = a, why
	if why != "" {
		for s := range f.why {
			f.why[s] = l.device.name + ": " + why
		}
		return
	}
	back := r2.Scale(-1, a.Direction) // from tip to hub
	var entry, exit *curve.Crossing
	if l.dorsal.curve != nil {
		entry = l.entry(a)
	}
	if l.ventral.curve != nil {
		from := a.hub
		if entry != nil {
			from = entry.S
		}
		before := false
		for _, x := range l.ventral.curve.CrossLine(a.Line) {
			if x.S > from {
				exit = &x
				break
			}
			before = true
		}
		if entry != nil && exit == nil && before {
			for s := range f.why {
				f.why[s] = "the " + l.device.name + " meets the ventral-margin before the dorsal-margin: mark it from skin to tip, or exchange the two margins"
			}
			return
		}
	}
	l.entrySlots(f, entry, back)
	if entry != nil && entry.S > a.tip {
		f.note(entryX, "axis extended past the tip to the dorsal surface")
	}
	if entry != nil && entry.S < a.hub {
		f.note(entryX, "axis extended back past the first marked point")
	}
	l.exitSlots(f, exit, back)
	l.fusionSlot(f, back, entry, exit)
	l.skinSlot(f, a, entry)
	tip := l.plane.at(l.device.px[len(l.device.px)-1])
	if exit == nil {
		f.miss(f.why[exitX], depthAlong, depthPerpendicular)
		return
	}
	f.v[depthAlong] = a.tip - exit.S
	if a.tip < exit.S {
		f.note(depthAlong, "axis extended past the tip to the margin")
	}
	if !l.plane.scaled {
		f.miss("needs a scale", depthPerpendicular)
		return
	}
	lo, _ := l.ventral.curve.Advance(exit.T, -PerpendicularReach)
	hi, _ := l.ventral.curve.Advance(exit.T, PerpendicularReach)
	_, d := l.ventral.curve.Nearest(tip, lo, hi)
	f.v[depthPerpendicular] = math.Copysign(d, f.v[depthAlong])
}

// entry is the first crossing of the dorsal surface that the axis meets coming
// from the hub. Where the shaft was marked only from inside the bone the axis
// is followed back past its first point.
func (l *lateral) entry(a axis) *curve.Crossing {
	var ahead, behind *curve.Crossing
	for _, x := range l.dorsal.curve.CrossLine(a.Line) {
		if x.S >= a.hub && ahead == nil {
			ahead = &x
		}
		if x.S < a.hub {
			behind = &x
		}
	}
	if ahead == nil || behind == nil {
		if ahead == nil {
			return behind
		}
		return ahead
	}
	if l.ventral.curve != nil {
		for _, x := range l.ventral.curve.CrossLine(a.Line) {
			if x.S >= a.hub && x.S < ahead.S {
				return behind
			}
		}
	}
	return ahead
}

// entrySlots fills what hangs on the entry; back points from tip to hub there.
func (l *lateral) entrySlots(f *found, entry *curve.Crossing, back r2.Vec) {
	if entry == nil {
		why := needMark(l.dorsal)
		if l.dorsal.curve != nil {
			why = "the " + l.device.name + " does not cross the marked dorsal-margin; extend dorsal-margin"
		}
		f.miss(why, entryX, entryY, angleDorsal, angleChord)
		return
	}
	p := l.plane.pixel(entry.Point)
	f.v[entryX], f.v[entryY] = p.X, p.Y
	if l.cranial == (r2.Vec{}) {
		f.miss(l.noHead, angleDorsal, angleChord)
		return
	}
	c := l.dorsal.curve
	head, ok := towardsHead(c, c.Tangent(entry.T), l.cranial)
	if !ok {
		f.miss("the dorsal-margin runs across the cranial direction", angleDorsal, angleChord)
		return
	}
	f.v[angleDorsal] = angleBetween(back, head)
	if !l.plane.scaled {
		f.miss("needs a scale", angleChord)
		return
	}
	lo, enoughLo := c.Advance(entry.T, -ChordReach)
	hi, enoughHi := c.Advance(entry.T, ChordReach)
	if c.Length(lo, hi) < ChordReach {
		f.miss("the dorsal-margin is marked too short around the entry; extend dorsal-margin", angleChord)
		return
	}
	chord, ok := c.Chord(lo, hi)
	if !ok {
		f.miss("the dorsal-margin is marked too short around the entry; extend dorsal-margin", angleChord)
		return
	}
	if r2.Dot(chord.Direction, head) < 0 {
		chord.Direction = r2.Scale(-1, chord.Direction)
	}
	f.v[angleChord] = angleBetween(back, chord.Direction)
	if !enoughLo || !enoughHi {
		f.note(angleChord, "the dorsal-margin ends within the reach of the chord")
	}
}

// exitSlots fills exit and the angle to the ventral margin.
func (l *lateral) exitSlots(f *found, exit *curve.Crossing, back r2.Vec) {
	if exit == nil {
		why := needMark(l.ventral)
		if l.ventral.curve != nil {
			why = "the " + l.device.name + " does not cross the marked ventral-margin; extend ventral-margin"
			if l.device.lead {
				why = "the lead does not reach the marked ventral-margin: it ends short of it, or extend ventral-margin"
			}
		}
		f.miss(why, exitX, exitY, angleVentral)
		return
	}
	p := l.plane.pixel(exit.Point)
	f.v[exitX], f.v[exitY] = p.X, p.Y
	if l.cranial == (r2.Vec{}) {
		f.miss(l.noHead, angleVentral)
		return
	}
	c := l.ventral.curve
	head, ok := towardsHead(c, c.Tangent(exit.T), l.cranial)
	if !ok {
		f.miss("the ventral-margin runs across the cranial direction", angleVentral)
		return
	}
	f.v[angleVentral] = angleBetween(back, head)
}

// fusionSlot measures against the fusion line nearest to the way through bone,
// pointing dorsal.
func (l *lateral) fusionSlot(f *found, back r2.Vec, entry, exit *curve.Crossing) {
	if len(l.fusion) == 0 {
		f.miss("mark the fusion-line next to the foramen on this film", angleFusion)
		return
	}
	var at r2.Vec
	switch {
	case entry != nil && exit != nil:
		at = r2.Scale(0.5, r2.Add(entry.Point, exit.Point))
	case entry != nil:
		at = entry.Point
	case exit != nil:
		at = exit.Point
	default:
		at = l.plane.at(l.device.px[len(l.device.px)-1])
	}
	nearest := math.Inf(1)
	var direction r2.Vec
	for i, d := range l.fusion {
		pts := l.plane.all(d.px)
		fit, ok := curve.Fit(pts)
		if !ok {
			continue
		}
		middle := r2.Scale(0.5, r2.Add(pts[0], pts[len(pts)-1]))
		if r := r2.Norm(r2.Sub(middle, at)); r < nearest {
			nearest, f.fusion, direction = r, i, fit.Direction
		}
	}
	if f.fusion < 0 {
		f.miss("the fusion-line's points coincide", angleFusion)
		return
	}
	dorsal := back
	if entry != nil && exit != nil {
		dorsal = r2.Sub(entry.Point, exit.Point)
	}
	if r2.Dot(direction, dorsal) < 0 {
		direction = r2.Scale(-1, direction)
	}
	f.v[angleFusion] = angleBetween(back, direction)
}

// skinSlot measures against the skin where the axis comes through it.
func (l *lateral) skinSlot(f *found, a axis, entry *curve.Crossing) {
	if l.skin.curve == nil {
		f.miss(needMark(l.skin), angleSkin)
		return
	}
	before := a.tip
	if entry != nil {
		before = entry.S
	}
	var through *curve.Crossing
	for _, x := range l.skin.curve.CrossLine(a.Line) {
		if x.S < before {
			through = &x
		}
	}
	if through == nil {
		f.miss("the "+l.device.name+" does not cross the marked skin-line; extend skin-line", angleSkin)
		return
	}
	l.skinAngle(f, through.T, r2.Scale(-1, a.Direction))
}

func (l *lateral) skinAngle(f *found, t float64, back r2.Vec) {
	if l.cranial == (r2.Vec{}) {
		f.miss(l.noHead, angleSkin)
		return
	}
	head, ok := towardsHead(l.skin.curve, l.skin.curve.Tangent(t), l.cranial)
	if !ok {
		f.miss("the skin-line runs across the cranial direction", angleSkin)
		return
	}
	f.v[angleSkin] = angleBetween(back, head)
}

// evaluateLead follows a lead's curve from skin to tip.
func (l *lateral) evaluateLead(f *found) {
	c := l.device.curve
	if c == nil {
		for s := range f.why {
			f.why[s] = needMark(l.device)
		}
		return
	}
	f.miss("a lead's tip depth is no measure; see its contacts", depthAlong, depthPerpendicular)
	var entry, exit *curve.Crossing
	back := func(t float64) r2.Vec { return r2.Scale(-1, c.Tangent(t)) }
	// onto turns a crossing along the lead into one along the other curve.
	onto := func(x curve.Crossing) *curve.Crossing { return &curve.Crossing{T: x.S, S: x.T, Point: x.Point} }
	if l.dorsal.curve != nil {
		if xs := c.CrossCurve(l.dorsal.curve); len(xs) > 0 {
			entry = onto(xs[0])
		}
	}
	if l.ventral.curve != nil {
		for _, x := range c.CrossCurve(l.ventral.curve) {
			if entry == nil || x.T > entry.S {
				exit = onto(x)
				break
			}
		}
	}
	var eb, xb r2.Vec
	if entry != nil {
		eb = back(entry.S)
	}
	if exit != nil {
		xb = back(exit.S)
	}
	l.entrySlots(f, entry, eb)
	l.exitSlots(f, exit, xb)
	if entry != nil {
		l.fusionSlot(f, eb, entry, exit)
	} else {
		f.miss(f.why[entryX], angleFusion)
	}
	switch {
	case l.skin.curve == nil:
		f.miss(needMark(l.skin), angleSkin)
	default:
		xs := c.CrossCurve(l.skin.curve)
		if len(xs) == 0 {
			f.miss("the lead does not cross the marked skin-line; extend skin-line", angleSkin)
		} else {
			l.skinAngle(f, xs[0].S, back(xs[0].T))
		}
	}
	l.contactSlots(f, exit)
}

// ContactOff is how far, in millimetres and over the marking of both, a
// contact may be marked off its lead.
const ContactOff = 3.0

// contactSlots measures each contact along the lead from the margin, where it
// crosses it. Contact 0 is nearest the tip: where the numbers run the other way
// the lead is marked from its tip, or the contacts are numbered from the hub.
func (l *lateral) contactSlots(f *found, exit *curve.Crossing) {
	c := l.device.curve
	a, b := c.Range()
	at := make([]float64, len(l.contacts))
	for i, k := range l.contacts {
		var off float64
		at[i], off = c.Nearest(l.plane.at(k.px[0]), a, b)
		limit := 3 * math.Hypot(k.sd, l.device.sd) * max(l.plane.column, l.plane.row)
		if l.plane.scaled {
			limit += ContactOff
		}
		switch {
		case exit == nil:
			f.miss(f.why[exitX], lateralSlots+i)
		case off > limit:
			f.miss("the contact is marked off its lead", lateralSlots+i)
		default:
			f.v[lateralSlots+i] = c.Length(exit.S, at[i])
		}
	}
	for i, k := range l.contacts {
		for j, m := range l.contacts {
			if k.index < m.index && at[i] < at[j] {
				for s := range l.contacts {
					f.v[lateralSlots+s] = math.NaN()
					f.miss("contact 0 is not the nearest to the tip: mark the lead from skin to tip and number its contacts from the tip", lateralSlots+s)
				}
				return
			}
		}
	}
}

// class of a contact by its ends.
func (k contact) class(depth float64) string {
	switch h := k.length / 2; {
	case k.length <= 0:
		return ""
	case depth+h <= 0:
		return "short"
	case depth-h >= 0:
		return "beyond"
	}
	return "astride"
}
