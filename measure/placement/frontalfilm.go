package placement

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
	"leadline/imaging/carm"
	"leadline/measure/curve"
	"leadline/measure/mark"
	"leadline/measure/quantity"
)

// frontalFilms evaluates an object on each frontal film that shows it, and
// decides what each says of its side and level.
func (w *work) frontalFilms(o *object) {
	for _, s := range w.films {
		m, ok := s.device(o.name)
		if !ok || s.reading.View != imaging.Frontal {
			continue
		}
		fr := w.frontalOf(s, m)
		d := &sounding{sheet: s, frontal: fr}
		approximate := w.levelFor(o, s, fr, d)
		fr.chosen = -1
		f := fr.evaluate()
		inside := false
		if e := (r2.Vec{X: f.v[frontEntryX], Y: f.v[frontEntryY]}); e.X == e.X {
			fr.chosen, inside = fr.choose(s.plane.at(e))
			f = fr.evaluate()
		}
		d.found = f
		fr.outside = !inside
		fr.own = f.own
		d.terms = w.frontalTerms(s, o, d, approximate)
		d.drawn = w.frontalDraws(s, o, d, approximate)
		o.frontal = append(o.frontal, d)
		s.point(f, o.name+"/entry", frontEntryX, frontEntryY)
		tip := m.Points[len(m.Points)-1]
		s.reading.Points[o.name+"/tip"] = Point{X: tip.X, Y: tip.Y}
		w.frontalValues(o, d, approximate, inside)
		if inside {
			for _, f := range fr.foramina {
				if f.curve != nil && !f.arc && holds(f.curve, s.plane.at(r2.Vec{X: d.found.v[frontEntryX], Y: d.found.v[frontEntryY]})) {
					o.openings = append(o.openings, f)
				}
			}
		}
		w.heights(o, d)
	}
}

// sides settles what each frontal film says of the side that a device entered
// on, once both films together have told what they can.
func (w *work) sides(o *object) {
	for _, d := range o.frontal {
		s, fr := d.sheet, d.frontal
		toward, seen := d.toward(o)
		if mid, ok := curve.Fit(s.plane.all(fr.midline.px)); ok && seen {
			o.halves[s] = math.Copysign(1, r2.Cross(mid.Direction, s.plane.at(toward)))
		}
		side := mark.DecideSide(o.name, s.read, toward, seen, w.book)
		if v := d.found.v[offsetEntry]; v == v && !seen && side.Side == mark.NoSide && side.Conflict == "" {
			side.Source = "not known: the entry lies nearer the midline than its uncertainty"
		}
		o.sides = append(o.sides, side)
	}
}

// heights compares the tip's heights on the two films where the geometry of
// both is known and there is a scale. That they agree proves nothing; that they
// differ by more than the films may be shifted is worth telling.
func (w *work) heights(o *object, d *sounding) {
	if d.partner == nil || o.kind == mark.Lead {
		return
	}
	// rise of the shaft towards the head, from hub to tip.
	rise := func(s *sheet, l line) float64 {
		return r2.Dot(r2.Sub(s.plane.at(l.px[len(l.px)-1]), s.plane.at(l.px[0])), s.cranial)
	}
	a, b := rise(d.partner.sheet, d.partner.lateral.device), rise(d.sheet, d.frontal.device)
	if least := ViewShiftHalf; d.sheet.plane.scaled && d.partner.sheet.plane.scaled && a*b < 0 && math.Min(math.Abs(a), math.Abs(b)) > least {
		o.heights = append(o.heights, o.name+" runs towards the head on one film and towards the feet on the other: one is marked from tip to hub, or shows another needle.")
	}
	if d.sheet.camera == nil || d.partner.sheet.camera == nil || !d.sheet.plane.scaled {
		return
	}
	lateral, frontal := d.partner.lateral.device, d.frontal.device
	p, along, ok := carm.Epipolar(*d.partner.sheet.camera, lateral.px[len(lateral.px)-1], *d.sheet.camera)
	if !ok {
		return
	}
	at := d.sheet.plane.at
	level := curve.Line{Origin: at(p), Direction: r2.Unit(r2.Sub(at(r2.Add(p, along)), at(p)))}
	apart := math.Abs(level.Off(at(frontal.px[len(frontal.px)-1])))
	marks := quantity.Coverage * math.Hypot(lateral.sd*d.partner.sheet.plane.row, frontal.sd*d.sheet.plane.row)
	if limit := math.Hypot(ViewShiftHalf, marks); apart > limit {
		o.heights = append(o.heights, fmt.Sprintf("%s: the heights of its tip on the two films differ by %.0f mm: the films may be shifted, or one shows another needle.", o.name, apart))
	}
}

func (w *work) frontalOf(s *sheet, m mark.Mark) *frontal {
	fr := &frontal{
		plane: s.plane, device: w.deviceLine(s, m), cranial: s.cranial, noHead: s.noHead,
		midline: w.named(s, mark.Midline), si: w.named(s, mark.SILine),
	}
	for _, k := range s.marks {
		if k.Structure != mark.Foramen || k.Opening() == "ventral" {
			continue
		}
		d := w.drawn(k)
		d.name = "foramen"
		f := closedForm
		if k.Open() {
			f = openForm
		}
		fr.foramina = append(fr.foramina, outline{line: arranged(d, s.plane, f), level: k.Level, side: k.Side, unsure: k.Opening() == "unsure", arc: k.Open()})
	}
	return fr
}

// levelFor finds the line on the frontal film at which the lateral film's entry
// must lie: the epipolar line where the geometry of both is known, else the
// same height. It reports whether it is the latter.
func (w *work) levelFor(o *object, s *sheet, fr *frontal, d *sounding) (approximate bool) {
	var partner *sounding
	for _, l := range o.lateral {
		if l.found.v[entryX] == l.found.v[entryX] {
			partner = l
			break
		}
	}
	if partner == nil {
		fr.noLevel = "the entry is not known from a lateral film: mark " + string(o.kind) + " and dorsal-margin there"
		if len(o.lateral) > 0 {
			fr.noLevel = "the entry is not known from the lateral film: " + o.lateral[0].found.why[entryX]
		}
		return false
	}
	d.partner = partner
	fr.lateral = r2.Vec{X: partner.found.v[entryX], Y: partner.found.v[entryY]}
	from, to := partner.sheet, s
	if from.camera != nil && to.camera != nil {
		a, b := *from.camera, *to.camera
		fr.level = func(p r2.Vec) (r2.Vec, r2.Vec, bool) { return carm.Epipolar(a, p, b) }
		return false
	}
	switch {
	case from.cranial == (r2.Vec{}):
		fr.noLevel = "the entry's height cannot be carried over: on the lateral film " + from.noHead
		return true
	case to.cranial == (r2.Vec{}):
		fr.noLevel = "the entry's height cannot be carried over: " + to.noHead
		return true
	case from.plane.scaled != to.plane.scaled:
		fr.noLevel = "the entry's height cannot be carried over: one film has a scale, the other none"
		return true
	}
	centre := func(s *sheet) r2.Vec {
		g := s.reading.Film.Geometry
		return s.plane.at(r2.Vec{X: float64(g.Columns) / 2, Y: float64(g.Rows) / 2})
	}
	ca, cb := centre(from), centre(to)
	pa, pb := from.plane, to.plane
	ea, eb := from.cranial, to.cranial
	fr.level = func(p r2.Vec) (r2.Vec, r2.Vec, bool) {
		height := r2.Dot(r2.Sub(pa.at(p), ca), ea)
		at := pb.pixel(r2.Add(cb, r2.Scale(height, eb)))
		across := r2.Vec{X: -eb.Y, Y: eb.X}
		return at, r2.Sub(pb.pixel(r2.Add(pb.at(at), across)), at), true
	}
	return true
}

// choose takes the foramen whose outline holds the entry, else the nearest one.
func (w *frontal) choose(entry r2.Vec) (chosen int, inside bool) {
	chosen = -1
	nearest := math.Inf(1)
	for i, o := range w.foramina {
		if o.curve == nil {
			if chosen < 0 && len(w.foramina) == 1 {
				chosen = i // so that what is wrong with it is told
			}
			continue
		}
		if !o.arc && holds(o.curve, entry) {
			return i, true
		}
		a, b := o.curve.Range()
		if _, r := o.curve.Nearest(entry, a, b); r < nearest {
			nearest, chosen = r, i
		}
	}
	return chosen, false
}

// holds reports whether a closed curve goes round p: a ray from it crosses the
// curve an odd number of times.
func holds(c *curve.Curve, p r2.Vec) bool {
	n := 0
	for _, x := range c.CrossLine(curve.Line{Origin: p, Direction: r2.Vec{X: 1}}) {
		if x.S > 0 {
			n++
		}
	}
	return n%2 == 1
}

func setFrontDevice(w *frontal, d drawn) *frontal {
	c := *w
	c.device = line{drawn: d}
	if d.lead {
		c.device = newLine(d, w.plane, openForm)
	}
	return &c
}

func (w *frontal) setForamen(d drawn) *frontal {
	c := *w
	c.foramina = append([]outline(nil), w.foramina...)
	o := c.foramina[w.chosen]
	f := closedForm
	if o.arc {
		f = openForm
	}
	o.line = newLine(d, w.plane, f)
	c.foramina[w.chosen] = o
	return &c
}

func (w *frontal) stretched(columns, rows float64) *frontal {
	c := *w
	c.plane.column *= 1 + columns
	c.plane.row *= 1 + rows
	if w.device.curve != nil {
		c.device = newLine(w.device.drawn, c.plane, openForm)
	}
	if w.chosen >= 0 && w.foramina[w.chosen].curve != nil {
		return c.setForamen(w.foramina[w.chosen].drawn)
	}
	return &c
}

func (w *frontal) displaced(move func(px r2.Vec) r2.Vec) *frontal {
	return setFrontDevice(w, w.device.drawn.shifted(func(_ int, p r2.Vec) r2.Vec { return move(p) }))
}

func (w *frontal) outlined() bool { return w.chosen >= 0 && w.foramina[w.chosen].curve != nil }

// parts are the marks of this film that its values hang on.
func (w *frontal) parts() []part[*frontal] {
	out := []part[*frontal]{
		{w.device.drawn, setFrontDevice, w.device.curve != nil},
		{w.midline, func(w *frontal, d drawn) *frontal { c := *w; c.midline = d; return &c }, false},
		{w.si, func(w *frontal, d drawn) *frontal { c := *w; c.si = d; return &c }, false},
	}
	if w.outlined() {
		out = append(out, part[*frontal]{w.foramina[w.chosen].drawn, (*frontal).setForamen, true})
	}
	return out
}

// frontalTerms is the budget of every slot of a frontal film, the lateral
// film's share in the entry included.
func (w *work) frontalTerms(s *sheet, o *object, d *sounding, approximate bool) [][]quantity.Term {
	fr, f := d.frontal, d.found
	if w.bare {
		return make([][]quantity.Term, len(f.v))
	}
	set := settingOf(s.reading, o.name, w.opt)
	eval := func(w *frontal) *found { return w.evaluate() }
	parts := fr.parts()
	var effects []effect[*frontal]
	for _, p := range parts {
		effects = append(effects, vertices(p.drawn, p.set)...)
	}
	if set.edges && fr.outlined() {
		for i, v := range [2]r2.Vec{{X: 1}, {Y: 1}} {
			e := edgeEffect(set, s.plane, fr.foramina[fr.chosen].drawn, v, (*frontal).setForamen)
			e.shares[0].input += fmt.Sprint("/", i)
			effects = append(effects, e)
		}
	}
	var beam []effect[*frontal]
	if !drawable(s.reading) {
		effects = append(effects, turnEffects(set, s.cranial, (*frontal).stretched)...)
		beam = beamEffects(set, (*frontal).displaced)
		if fr.level != nil && s.cranial != (r2.Vec{}) {
			effects = append(effects, effect[*frontal]{
				shares: []share{{byViewShift, set.film + "/" + d.partner.sheet.reading.Film.Ref.Instance, quantity.Rectangular(HeightFraction * float64(s.reading.Film.Geometry.Rows))}},
				step:   0.05,
				apply: func(w *frontal, x float64) *frontal {
					c := *w
					c.viewShift = r2.Add(w.viewShift, r2.Scale(x, s.cranial))
					return &c
				},
			})
		}
	}
	terms := propagate(fr, eval, effects, len(f.v))
	for slot, t := range propagate(fr, eval, beam, len(f.v)) {
		reach := 1.0
		switch slot {
		case foramenMedial, foramenSuperior, fractionMedial, fractionSuperior:
			reach = NearRim
		case offsetTip, caudalTip:
			reach = TipReach
		}
		for _, t := range t {
			t.U *= reach
			terms[slot] = append(terms[slot], t)
		}
	}
	for _, p := range parts {
		if p.curve {
			omitted(fr, eval, f, p.drawn, p.set, terms)
		}
	}
	scatter(w, fr, eval, parts, terms)
	if d.partner != nil && fr.level != nil {
		w.chain(d, eval, terms)
	}
	return terms
}

// frontalDraws are the film's values under draws of what is not known of it
// and of the lateral film that its entry came from.
func (w *work) frontalDraws(s *sheet, o *object, d *sounding, approximate bool) *drawnValues {
	if w.bare || !drawable(s.reading) {
		return nil
	}
	fr, f := d.frontal, d.found
	set := settingOf(s.reading, o.name, w.opt)
	if fr.level != nil && s.cranial != (r2.Vec{}) {
		set.shift = ViewShiftHalf
		if approximate {
			set.shift = HeightHalf
		} else {
			// What both central beams are off on the detector is less in the patient.
			spacing := s.camera.Pinhole().Spacing
			set.foot = FootHalf * s.plane.column / spacing.Column
			set.partner = d.partner.sheet.reading.Film.Ref.Instance + "/" + d.partner.sheet.reading.Film.Ref.Span()
		}
	}
	if e := (r2.Vec{X: f.v[frontEntryX], Y: f.v[frontEntryY]}); finite(e) {
		fr.entered = r2.Norm(r2.Sub(s.plane.at(e), s.plane.at(fr.device.px[len(fr.device.px)-1])))
	}
	return w.draw(len(f.v), f.v,
		func(l layer, n int) []unknown { return w.unknowns(s, set, l, n) },
		func(u unknown, key string, i int) *found {
			at := fr.lateral
			if d.partner != nil && d.partner.drawn != nil {
				at = d.partner.drawn.entryUnder(key, i)
			}
			return fr.under(s.gazeOf(set, u), u, at)
		})
}

// chain adds what the lateral film's entry owes to its own inputs.
func (w *work) chain(d *sounding, eval func(*frontal) *found, terms [][]quantity.Term) {
	for k, v := range [2]r2.Vec{{X: 1}, {Y: 1}} {
		move := func(x float64) *found {
			c := *d.frontal
			c.lateral = r2.Add(c.lateral, r2.Scale(x, v))
			return eval(&c)
		}
		plus, minus := move(markStep), move(-markStep)
		for slot := range terms {
			slope := (plus.v[slot] - minus.v[slot]) / (2 * markStep)
			if slope != slope || slope == 0 {
				continue
			}
			for _, t := range d.partner.terms[entryX+k] {
				t.U *= slope
				terms[slot] = append(terms[slot], t)
			}
		}
	}
}

var frontalQuantities = []struct {
	name   string
	slot   int
	unit   string // empty: the plane's
	lead   bool   // of leads only
	length bool
}{
	{"entry-offset-midline", offsetEntry, "", false, true},
	{"entry-from-foramen-medial", foramenMedial, "", false, true},
	{"entry-from-foramen-superior", foramenSuperior, "", false, true},
	{"entry-fraction-medial", fractionMedial, "1", false, false},
	{"entry-fraction-superior", fractionSuperior, "1", false, false},
	{"tip-offset-midline", offsetTip, "", false, true},
	{"tip-caudal-to-si-line", caudalTip, "", false, true},
	{"frontal-deflection", deflection, "deg", true, false},
}

func (w *work) frontalValues(o *object, d *sounding, approximate, inside bool) {
	fr, f, s := d.frontal, d.found, d.sheet
	for _, q := range frontalQuantities {
		if q.lead && o.kind != mark.Lead {
			continue
		}
		if f.v[q.slot] != f.v[q.slot] {
			o.missing = append(o.missing, Missing{o.name, q.name, f.why[q.slot]})
			continue
		}
		c := &computed{object: o, quantity: q.name, plane: "frontal", value: d.value(q.slot, q.length), unit: q.unit, contact: -1, sheets: []*sheet{s}, length: q.length}
		if q.unit == "" {
			c.unit = s.plane.unit()
		}
		usesEntry := q.slot != offsetTip && q.slot != caudalTip && q.slot != deflection
		if usesEntry {
			c.sheets = append(c.sheets, d.partner.sheet)
			if approximate {
				c.notes = append(c.notes, "the entry's height is taken as equal on both films: approximate")
			} else {
				c.notes = append(c.notes, "the entry lies on the epipolar line of the lateral film's entry")
			}
			c.notes = appendNotes(c.notes, f, frontEntryX)
		}
		switch q.slot {
		case foramenMedial, foramenSuperior, fractionMedial, fractionSuperior:
			rim := fr.foramina[fr.chosen]
			c.of = "foramen"
			if rim.level != "" {
				c.of += " " + string(rim.level)
			}
			if !inside {
				c.notes = append(c.notes, "the entry lies outside the marked outline")
			}
			c.notes = appendNotes(c.notes, f, q.slot)
		case offsetTip:
			c.notes = append(c.notes, "secondary: the entry is what is chosen")
		case deflection:
			c.class = deflectionClass(c.value.Estimate)
		}
		w.values = append(w.values, c)
	}
}

// clear reports whether a slot's interval lies above zero.
func (d *sounding) clear(slot int) bool {
	_, lo, _ := d.value(slot, false).Interval()
	return lo > 0
}

// toward is the vector in pixels from the midline to the entry, or to the
// shaft where all of it lies on one side; seen is false where neither is clear
// of the midline.
func (d *sounding) toward(o *object) (toward r2.Vec, seen bool) {
	fr := d.frontal
	mid, ok := curve.Fit(fr.plane.all(fr.midline.px))
	if !ok {
		return r2.Vec{}, false
	}
	from := func(p r2.Vec) r2.Vec { return fr.plane.pixel(r2.Sub(p, mid.At(mid.Along(p)))) }
	if v := d.found.v[offsetEntry]; v == v {
		// Both films together come first: there the entry is found in space.
		if sp := o.space; sp != nil && sp.couple.front == d.sheet {
			if _, lo, _ := sp.value(sp.space.first() + spaceOffsetEntry).Interval(); lo > 0 {
				e := sp.found.v[sp.space.first()+spaceEntryX:]
				if p, ok := sp.space.front.Project(r3.Vec{X: e[0], Y: e[1], Z: e[2]}); ok {
					return from(fr.plane.at(p)), true
				}
			}
		}
		e := fr.plane.at(r2.Vec{X: d.found.v[frontEntryX], Y: d.found.v[frontEntryY]})
		if !d.clear(offsetEntry) {
			return r2.Vec{}, false
		}
		// An entry past the end of what is marked tells no side that the marked
		// part does not lie on.
		if d.found.notes[frontEntryX] != "" {
			for _, p := range fr.plane.all(fr.device.px) {
				if mid.Off(p)*mid.Off(e) < 0 {
					return r2.Vec{}, false
				}
			}
		}
		return from(e), true
	}
	clear := 2 * math.Hypot(fr.device.sd, fr.midline.sd) * fr.plane.column
	var sum r2.Vec
	side := 0.0
	for _, p := range fr.plane.all(fr.device.px) {
		off := mid.Off(p)
		if math.Abs(off) < clear || side*off < 0 {
			return r2.Vec{}, false
		}
		side = math.Copysign(1, off)
		sum = r2.Add(sum, from(p))
	}
	return r2.Scale(1/float64(len(fr.device.px)), sum), true
}
