package placement

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/quantity"
)

// lateralFilms evaluates an object on each lateral film that shows it.
func (w *work) lateralFilms(o *object) {
	for _, s := range w.films {
		m, ok := s.device(o.name)
		if !ok || s.reading.View != imaging.Lateral {
			continue
		}
		l := w.lateralOf(s, m)
		f := l.evaluate()
		d := &sounding{sheet: s, lateral: l, found: f}
		d.terms = w.lateralTerms(s, o, l, f)
		d.drawn = w.lateralDraws(s, o, d)
		o.lateral = append(o.lateral, d)
		s.point(f, o.name+"/entry", entryX, entryY)
		s.point(f, o.name+"/exit", exitX, exitY)
		tip := m.Points[len(m.Points)-1]
		s.reading.Points[o.name+"/tip"] = Point{X: tip.X, Y: tip.Y}
		w.lateralValues(o, d)
	}
}

func (w *work) lateralOf(s *sheet, m mark.Mark) *lateral {
	l := &lateral{
		plane: s.plane, device: w.deviceLine(s, m), cranial: s.cranial, noHead: s.noHead,
		ventral: arranged(w.named(s, mark.VentralMargin), s.plane, openForm),
		dorsal:  arranged(w.named(s, mark.DorsalMargin), s.plane, openForm),
		skin:    arranged(w.named(s, mark.SkinLine), s.plane, openForm),
	}
	for _, k := range s.marks {
		switch {
		case k.Structure == mark.FusionLine && len(k.Points) > 1:
			l.fusion = append(l.fusion, w.drawn(k))
			l.names = append(l.names, k.Detail)
		case k.Structure == mark.Contact && k.Object == m.Object:
			c := contact{drawn: w.drawn(k), index: k.Index}
			if mm, ok := k.Length(); ok && s.plane.scaled {
				c.length = mm
			}
			l.contacts = append(l.contacts, c)
		}
	}
	return l
}

// Setters of a displaced copy.
func setDevice(l *lateral, d drawn) *lateral {
	c := *l
	c.device = line{drawn: d}
	if d.lead {
		c.device = newLine(d, l.plane, openForm)
	}
	return &c
}

func setVentral(l *lateral, d drawn) *lateral {
	c := *l
	c.ventral = newLine(d, l.plane, openForm)
	return &c
}

func setDorsal(l *lateral, d drawn) *lateral {
	c := *l
	c.dorsal = newLine(d, l.plane, openForm)
	return &c
}

func setSkin(l *lateral, d drawn) *lateral {
	c := *l
	c.skin = newLine(d, l.plane, openForm)
	return &c
}

// stretched is the film on a plane whose pixels are wider and higher by the given parts.
func (l *lateral) stretched(columns, rows float64) *lateral {
	c := *l
	c.plane.column *= 1 + columns
	c.plane.row *= 1 + rows
	again := func(ln line) line {
		if ln.curve == nil {
			return ln
		}
		return newLine(ln.drawn, c.plane, openForm)
	}
	c.device, c.ventral, c.dorsal, c.skin = again(l.device), again(l.ventral), again(l.dorsal), again(l.skin)
	return &c
}

// displaced moves device and contacts.
func (l *lateral) displaced(move func(px r2.Vec) r2.Vec) *lateral {
	each := func(_ int, p r2.Vec) r2.Vec { return move(p) }
	c := setDevice(l, l.device.drawn.shifted(each))
	c.contacts = make([]contact, len(l.contacts))
	for i, k := range l.contacts {
		k.drawn = k.drawn.shifted(each)
		c.contacts[i] = k
	}
	return c
}

// parts are the marks that the film's values hang on.
func (l *lateral) parts(f *found) []part[*lateral] {
	out := []part[*lateral]{{l.device.drawn, setDevice, l.device.curve != nil}}
	for _, c := range []struct {
		line line
		set  func(*lateral, drawn) *lateral
	}{{l.ventral, setVentral}, {l.dorsal, setDorsal}, {l.skin, setSkin}} {
		if c.line.curve != nil {
			out = append(out, part[*lateral]{c.line.drawn, c.set, true})
		}
	}
	if i := f.fusion; i >= 0 {
		out = append(out, part[*lateral]{l.fusion[i], func(l *lateral, d drawn) *lateral {
			c := *l
			c.fusion = slices.Clone(l.fusion)
			c.fusion[i] = d
			return &c
		}, false})
	}
	for i := range l.contacts {
		out = append(out, part[*lateral]{l.contacts[i].drawn, func(l *lateral, d drawn) *lateral {
			c := *l
			c.contacts = slices.Clone(l.contacts)
			c.contacts[i].drawn = d
			return &c
		}, false})
	}
	return out
}

// lateralTerms is the budget of every slot of a lateral film.
func (w *work) lateralTerms(s *sheet, o *object, l *lateral, f *found) [][]quantity.Term {
	if w.bare {
		return make([][]quantity.Term, len(f.v))
	}
	set := settingOf(s.reading, o.name, w.opt)
	eval := func(l *lateral) *found { return l.evaluate() }
	parts := l.parts(f)
	var effects []effect[*lateral]
	for _, p := range parts {
		effects = append(effects, vertices(p.drawn, p.set)...)
	}
	if !drawable(s.reading) {
		effects = append(effects, turnEffects(set, l.cranial, (*lateral).stretched)...)
		effects = append(effects, beamEffects(set, (*lateral).displaced)...)
	}
	if set.edges {
		if n, ok := normalAt(l.ventral, l.plane, f.v[exitX], f.v[exitY]); ok {
			effects = append(effects, edgeEffect(set, l.plane, l.ventral.drawn, n, setVentral))
		}
		if n, ok := normalAt(l.dorsal, l.plane, f.v[entryX], f.v[entryY]); ok {
			effects = append(effects, edgeEffect(set, l.plane, l.dorsal.drawn, n, setDorsal))
		}
	}
	terms := propagate(l, eval, effects, len(f.v))
	for _, p := range parts {
		if p.curve {
			omitted(l, eval, f, p.drawn, p.set, terms)
		}
	}
	scatter(w, l, eval, parts, terms)
	return terms
}

// lateralDraws are the film's values under draws of what is not known of it.
func (w *work) lateralDraws(s *sheet, o *object, d *sounding) *drawnValues {
	if w.bare || !drawable(s.reading) {
		return nil
	}
	set := settingOf(s.reading, o.name, w.opt)
	return w.draw(len(d.found.v), d.found.v,
		func(l layer, n int) []unknown { return w.unknowns(s, set, l, n) },
		func(u unknown, _ string, _ int) *found { return d.lateral.under(s.gazeOf(set, u), u) })
}

// normalAt is the unit normal of a line's curve at the pixel x, y on it.
func normalAt(l line, p plane, x, y float64) (r2.Vec, bool) {
	if l.curve == nil || x != x || y != y {
		return r2.Vec{}, false
	}
	a, b := l.curve.Range()
	t, _ := l.curve.Nearest(p.at(r2.Vec{X: x, Y: y}), a, b)
	d := l.curve.Tangent(t)
	return r2.Vec{X: -d.Y, Y: d.X}, true
}

// lateralQuantities names the slots.
var lateralQuantities = []struct {
	name   string
	slot   int
	length bool
}{
	{"insertion-angle-dorsal", angleDorsal, false},
	{"insertion-angle-chord", angleChord, false},
	{"insertion-angle-fusion", angleFusion, false},
	{"insertion-angle-ventral", angleVentral, false},
	{"insertion-angle-skin", angleSkin, false},
	{"tip-depth-along-needle", depthAlong, true},
	{"tip-depth-perpendicular", depthPerpendicular, true},
}

func (w *work) lateralValues(o *object, d *sounding) {
	f, s := d.found, d.sheet
	for _, q := range lateralQuantities {
		if o.kind == mark.Lead && q.length {
			continue
		}
		if f.v[q.slot] != f.v[q.slot] {
			o.missing = append(o.missing, Missing{o.name, q.name, f.why[q.slot]})
			continue
		}
		c := &computed{object: o, quantity: q.name, plane: "lateral", value: d.value(q.slot, q.length), unit: "deg", contact: -1, sheets: []*sheet{s}, length: q.length}
		if q.length {
			c.unit = s.plane.unit()
		}
		if q.slot == angleFusion {
			c.of = d.lateral.names[f.fusion]
		}
		c.notes = appendNotes(c.notes, f, q.slot)
		switch q.slot {
		case angleDorsal, angleChord:
			c.notes = appendNotes(c.notes, f, entryX)
		case depthPerpendicular:
			c.notes = append(c.notes, "detail only: it can mislead on a curved bone")
		}
		c.notes = w.axisNotes(c.notes, f)
		w.values = append(w.values, c)
	}
	if o.kind == mark.Lead {
		w.contactValues(o, d)
	}
}

func appendNotes(notes []string, f *found, slot int) []string {
	if n := f.notes[slot]; n != "" {
		notes = append(notes, n)
	}
	return notes
}

func (w *work) axisNotes(notes []string, f *found) []string {
	if f.axis.bent {
		notes = append(notes, "the shaft is bent: its axis is that of its end")
	}
	if f.axis.shortTail {
		notes = append(notes, "the shaft is marked over less than the length its axis should have")
	}
	return notes
}

func (w *work) contactValues(o *object, d *sounding) {
	l, f, s := d.lateral, d.found, d.sheet
	if len(l.contacts) == 0 {
		o.missing = append(o.missing, Missing{o.name, "contact-depth", "mark the lead's contacts on this film"},
			Missing{o.name, "contacts-beyond-margin", "mark the lead's contacts on this film"})
		return
	}
	beyond, unclassed := 0, false
	for i, k := range l.contacts {
		slot := lateralSlots + i
		if f.v[slot] != f.v[slot] {
			o.missing = append(o.missing, Missing{o.name, "contact-depth", f.why[slot]})
			unclassed = true
			continue
		}
		c := &computed{object: o, quantity: "contact-depth", plane: "lateral", value: d.value(slot, true), unit: s.plane.unit(), contact: k.index, sheets: []*sheet{s}, length: true}
		c.class = k.class(c.value.Estimate)
		switch c.class {
		case "":
			unclassed = true
			c.notes = append(c.notes, "the contact's length is not given: short, astride or beyond cannot be told")
		case "short":
		default:
			beyond++
		}
		w.values = append(w.values, c)
	}
	if unclassed {
		why := "give each contact's length in its detail"
		if lost := o.lost("contact-depth"); lost != "" {
			why = lost
		} else if !s.plane.scaled {
			why = "needs a scale"
		}
		o.missing = append(o.missing, Missing{o.name, "contacts-beyond-margin", why})
		return
	}
	w.values = append(w.values, &computed{
		object: o, quantity: "contacts-beyond-margin", plane: "lateral", value: quantity.Value{Estimate: float64(beyond)},
		unit: "1", bare: true, contact: -1, sheets: []*sheet{s},
		notes: []string{"of " + count(len(l.contacts), "contact") + "; beyond or astride; a count carries no interval"},
	})
}

// lost is why a quantity is missing, if it is.
func (o *object) lost(quantity string) string {
	for _, m := range o.missing {
		if m.Quantity == quantity {
			return m.Because
		}
	}
	return ""
}

// crossings finds where the shafts of two needles or wires cross on a film.
func (w *work) crossings(objects []*object) {
	for i, a := range objects {
		for _, b := range objects[i+1:] {
			if a.kind == mark.Lead || b.kind == mark.Lead || mark.Device(a.name) == mark.Device(b.name) {
				continue
			}
			for _, s := range w.films {
				ma, okA := s.device(a.name)
				mb, okB := s.device(b.name)
				if !okA || !okB || s.reading.View != imaging.Lateral && s.reading.View != imaging.Frontal {
					continue
				}
				w.crossing(s, a, b, w.drawn(ma), w.drawn(mb))
			}
		}
	}
}

// pair of shafts on one film.
type pair struct {
	plane plane
	a, b  drawn
}

const (
	crossFromTip = iota // from the tip of a back along its shaft
	crossX
	crossY
	crossSlots
)

func (p pair) evaluate() *found {
	f := newFound(crossSlots)
	a, whyA := newAxis(p.a, p.plane)
	b, whyB := newAxis(p.b, p.plane)
	if whyA+whyB != "" {
		return f
	}
	s, t, ok := a.Cross(b.Line)
	if !ok || s < a.hub || s > a.tip || t < b.hub || t > b.tip {
		return f
	}
	q := p.plane.pixel(a.At(s))
	f.v[crossFromTip], f.v[crossX], f.v[crossY] = a.tip-s, q.X, q.Y
	return f
}

func (w *work) crossing(s *sheet, a, b *object, da, db drawn) {
	p := pair{s.plane, da.decided(s.plane), db.decided(s.plane)}
	f := p.evaluate()
	view := string(s.reading.View)
	if f.v[crossFromTip] != f.v[crossFromTip] {
		return // shafts that do not cross are no lack
	}
	set := settingOf(s.reading, a.name+"x"+b.name, w.opt)
	effects := vertices(da, func(p pair, d drawn) pair { p.a = d; return p })
	effects = append(effects, vertices(db, func(p pair, d drawn) pair { p.b = d; return p })...)
	d := &sounding{sheet: s, found: f, terms: propagate(p, pair.evaluate, effects, crossSlots)}
	if drawable(s.reading) && !w.bare {
		d.drawn = w.draw(crossSlots, f.v,
			func(l layer, n int) []unknown { return w.unknowns(s, set, l&(layScale|layDepth), n) },
			func(u unknown, _ string, _ int) *found {
				c := newFound(crossSlots)
				c.v[crossFromTip] = f.v[crossFromTip] * u.scale * (1 + u.depth/set.sourceToPlane)
				return c
			})
	}
	s.point(f, a.name+"/crossing/"+b.name, crossX, crossY)
	w.values = append(w.values, &computed{
		object: a, quantity: "crossing", plane: view, value: d.value(crossFromTip, true), unit: s.plane.unit(),
		contact: -1, of: b.name, sheets: []*sheet{s}, length: true,
		notes: []string{"from the tip of " + a.name + " back along its shaft; where the pictures cross, the needles need not meet"},
	})
}
