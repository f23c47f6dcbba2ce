package placement

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/measure/curve"
	"leadline/measure/mark"
	"leadline/measure/quantity"
)

// DeflectionLength in millimetres is the end of a lead whose direction is
// compared with the midline.
const DeflectionLength = 10.0

// leastWidth is the part of a foramen's whole width that it must have at the
// entry's height for a fraction of it to mean something.
const leastWidth = 0.3

// extendedMost, in millimetres, is how far past its marked ends a shaft is
// followed to its entry.
const extendedMost = 15.0

// outline of a foramen as marked on a frontal film.
type outline struct {
	line
	level  mark.Level
	side   mark.Side // as stated
	unsure bool      // which opening it is
	arc    bool      // an open arc
}

// frontal is all that a frontal film says of one device, given where the
// lateral film puts its entry.
type frontal struct {
	plane    plane
	device   line // curve only for leads
	midline  drawn
	si       drawn
	foramina []outline
	chosen   int // the foramen measured from, -1 none
	cranial  r2.Vec
	noHead   string

	// entry of the lateral film in its SR pixels, and the line on this film
	// on which it must lie, in SR pixels: the epipolar line, or a level.
	lateral   r2.Vec
	level     func(lateral r2.Vec) (point, direction r2.Vec, ok bool)
	noLevel   string
	viewShift r2.Vec  // displacement of that line, plane units
	entered   float64 // plane units from the tip back to the entry as seen; 0 not known
	// own is the side of the midline that the device entered on, as a displaced
	// copy keeps it: +1 or -1 as curve.Line.Off counts; 0 to be found.
	own     float64
	outside bool // the entry lies in no marked outline
	// ends, where above 0, is how far past the ends of the marked shaft, plane
	// units, an entry may lie that is drawn: the shaft is marked from skin to tip,
	// and one whose entry lies between them enters there.
	ends float64
}

// Slots of a frontal film.
const (
	frontEntryX = iota // SR pixels
	frontEntryY
	offsetEntry // plane units, positive to the entry's own side
	foramenMedial
	foramenSuperior
	fractionMedial
	fractionSuperior
	offsetTip
	caudalTip
	deflection // degrees, lateral positive
	frontalSlots
)

// evaluate computes every slot.
func (w *frontal) evaluate() *found {
	f := newFound(frontalSlots)
	tip := w.plane.at(w.device.px[len(w.device.px)-1])
	mid, midOK := curve.Fit(w.plane.all(w.midline.px))
	headward := r2.Vec{}
	if midOK && w.cranial != (r2.Vec{}) {
		switch d := r2.Dot(mid.Direction, w.cranial); {
		case d > acrossLimit:
			headward = mid.Direction
		case d < -acrossLimit:
			headward = r2.Scale(-1, mid.Direction)
		}
	}
	noMid := ""
	if !midOK {
		noMid = "mark the midline on this film"
		if w.midline.lack != "" {
			noMid = w.midline.lack
		}
	}
	entry, ok := w.entry(f)
	if ok {
		p := w.plane.pixel(entry)
		f.v[frontEntryX], f.v[frontEntryY] = p.X, p.Y
	}
	// own is +1 or -1: the side of the midline, as Off counts it, that the
	// device entered on.
	own := 0.0
	switch {
	case noMid != "":
		f.miss(noMid, offsetEntry, foramenMedial, foramenSuperior, fractionMedial, fractionSuperior, offsetTip, caudalTip, deflection)
		return f
	case ok:
		own = math.Copysign(1, mid.Off(entry))
		if w.own != 0 {
			own = w.own
		}
		f.v[offsetEntry] = own * mid.Off(entry)
	default:
		f.miss(f.why[frontEntryX], offsetEntry, foramenMedial, foramenSuperior, fractionMedial, fractionSuperior)
		var sum float64
		for _, p := range w.plane.all(w.device.px) {
			sum += mid.Off(p)
		}
		own = math.Copysign(1, sum)
		if w.own != 0 {
			own = w.own
		}
	}
	f.own = own
	f.v[offsetTip] = own * mid.Off(tip)
	if headward == (r2.Vec{}) {
		why := w.noHead
		if why == "" {
			why = "the midline runs across the cranial direction"
		}
		f.miss(why, caudalTip, deflection, foramenMedial, foramenSuperior, fractionMedial, fractionSuperior)
		return f
	}
	caudal := r2.Scale(-1, headward)
	// lateral is at right angles to the midline, away from it on the own side:
	// Off grows along (-y, x) of the line's direction.
	lateral := r2.Scale(own, r2.Vec{X: -mid.Direction.Y, Y: mid.Direction.X})
	if ok {
		w.foramenSlots(f, entry, lateral, caudal)
	}
	w.siSlot(f, tip, caudal)
	w.deflectionSlot(f, lateral, caudal)
	return f
}

// entry is where the shaft meets the level of the lateral film's entry.
func (w *frontal) entry(f *found) (r2.Vec, bool) {
	if w.noLevel != "" {
		f.miss(w.noLevel, frontEntryX, frontEntryY)
		return r2.Vec{}, false
	}
	p, d, ok := w.level(w.lateral)
	if !ok {
		f.miss("the lateral film's entry has no line on this film", frontEntryX, frontEntryY)
		return r2.Vec{}, false
	}
	o := r2.Add(w.plane.at(p), w.viewShift)
	level := curve.Line{Origin: o, Direction: r2.Unit(r2.Sub(w.plane.at(r2.Add(p, d)), w.plane.at(p)))}
	if w.device.lead {
		if w.device.curve == nil {
			f.miss(needMark(w.device), frontEntryX, frontEntryY)
			return r2.Vec{}, false
		}
		var first *curve.Crossing
		for _, x := range w.device.curve.CrossLine(level) {
			if first == nil || x.T < first.T {
				first = &x
			}
		}
		if first == nil {
			f.miss("the lead does not reach the height of its entry on this film; extend it", frontEntryX, frontEntryY)
			return r2.Vec{}, false
		}
		return first.Point, true
	}
	a, why := newAxis(w.device.drawn, w.plane)
	f.axis, f.axisWhy = a, why
	if why != "" {
		f.miss(w.device.name+": "+why, frontEntryX, frontEntryY)
		return r2.Vec{}, false
	}
	// A shaft within three degrees of the level line gives no entry.
	s, _, ok := a.Cross(level)
	if !ok || math.Abs(r2.Cross(a.Direction, level.Direction)) < 0.05 {
		f.miss("the shaft runs along the level of its entry on this film", frontEntryX, frontEntryY)
		return r2.Vec{}, false
	}
	ends := w.ends
	if ends == 0 && w.plane.scaled {
		ends = extendedMost
	}
	if ends > 0 && (s < a.hub-ends || s > a.tip+ends) {
		f.miss("the level of its entry is met far past the marked shaft, which runs along it: mark the "+w.device.name+" from skin to tip on this film", frontEntryX, frontEntryY)
		return r2.Vec{}, false
	}
	if s < a.hub {
		f.note(frontEntryX, "axis extended back past the first marked point")
	}
	if s > a.tip {
		f.note(frontEntryX, "axis extended past the tip")
	}
	return a.At(s), true
}

// foramenSlots measures the entry against the chosen foramen's edges.
func (w *frontal) foramenSlots(f *found, entry, lateral, caudal r2.Vec) {
	all := []int{foramenMedial, foramenSuperior, fractionMedial, fractionSuperior}
	if w.chosen < 0 {
		f.miss("mark the dorsal opening of the foramen on this film", all...)
		return
	}
	o := w.foramina[w.chosen]
	if o.curve == nil {
		f.miss(needMark(o.line), all...)
		return
	}
	across := curve.Line{Origin: entry, Direction: lateral}
	xs := o.curve.CrossLine(across)
	top, bottom := o.curve.Extent(caudal)
	at := r2.Dot(entry, caudal)
	if !o.arc {
		f.v[foramenSuperior] = at - top
		f.v[fractionSuperior] = f.v[foramenSuperior] / (bottom - top)
	} else {
		f.miss("an arc has no cranial edge to trust; mark a closed outline", foramenSuperior, fractionSuperior)
	}
	switch {
	case len(xs) == 0:
		f.miss("the entry lies above or below the marked foramen", foramenMedial, fractionMedial)
	case o.arc:
		f.v[foramenMedial] = -xs[0].S
		f.miss("an arc has no width; mark a closed outline", fractionMedial)
		if len(xs) > 1 {
			f.note(foramenMedial, "the arc is crossed more than once; its medial crossing is taken")
		}
	default:
		medial, outer := xs[0].S, xs[len(xs)-1].S
		f.v[foramenMedial] = -medial
		near, far := o.curve.Extent(lateral)
		if outer-medial > leastWidth*(far-near) {
			f.v[fractionMedial] = -medial / (outer - medial)
		} else {
			f.miss("the entry lies so near the end of the foramen that it has next to no width there", fractionMedial)
		}
	}
}

// siSlot measures the tip from the sacroiliac line, parallel to the midline.
func (w *frontal) siSlot(f *found, tip, caudal r2.Vec) {
	if !w.si.marked() {
		why := "mark the si-line on this film"
		if w.si.lack != "" {
			why = w.si.lack
		}
		f.miss(why, caudalTip)
		return
	}
	si, ok := curve.Fit(w.plane.all(w.si.px))
	if !ok {
		f.miss("the si-line's points coincide", caudalTip)
		return
	}
	s, _, ok := curve.Line{Origin: tip, Direction: caudal}.Cross(si)
	if !ok {
		f.miss("the si-line runs along the midline", caudalTip)
		return
	}
	f.v[caudalTip] = -s
}

// deflectionSlot is for leads: the direction of the last stretch against the
// caudal midline, positive to the side the lead entered on.
func (w *frontal) deflectionSlot(f *found, lateral, caudal r2.Vec) {
	switch {
	case !w.device.lead:
		return
	case w.device.curve == nil:
		f.miss(needMark(w.device), deflection)
		return
	case !w.plane.scaled:
		f.miss("needs a scale", deflection)
		return
	}
	c := w.device.curve
	_, end := c.Range()
	back, ok := c.Advance(end, -DeflectionLength)
	if !ok {
		f.miss("the lead is marked too short on this film; extend it", deflection)
		return
	}
	d := r2.Sub(c.At(end), c.At(back))
	f.v[deflection] = quantity.Degrees(math.Atan2(r2.Dot(d, lateral), r2.Dot(d, caudal)))
}

// deflectionClass is the class of the angle between midline and lead as
// published for follow-up films: Gahzi et al., Int Neurourol J 2017;21:289-294,
// doi 10.5213/inj.1734942.471.
func deflectionClass(degrees float64) string {
	switch {
	case degrees < 0:
		return "medial"
	case degrees <= 30:
		return "0-30"
	case degrees <= 60:
		return "30-60"
	case degrees <= 90:
		return "60-90"
	}
	return "over 90"
}
