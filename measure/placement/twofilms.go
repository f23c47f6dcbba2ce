package placement

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/measure/mark"
	"leadline/measure/pose"
	"leadline/measure/quantity"
)

// Assumptions about two films of one C-arm, half widths of rectangular
// distributions; none has a published source.
const (
	// AngleHalf in degrees is how far the positioner's angles, and so the view
	// against the patient, may be off about each axis.
	AngleHalf = 1.0
	// FootHalf in millimetres on the detector is how far the foot of the central
	// beam may lie from the centre of the image.
	FootHalf = 3.0
)

// Plane3D is the plane of what both films tell together.
const Plane3D = "3d"

// Budget keys of two films.
const (
	byAngles     = "angles"
	byBeamCentre = "beam-centre"
)

// spaces computes what both films tell of each device that is marked on both.
func (w *work) spaces(objects []*object) {
	for _, o := range objects {
		if len(o.frontal) == 0 || len(o.lateral) == 0 {
			continue
		}
		c, front, side := w.bestCouple(o)
		if c.fit == nil {
			o.missing = append(o.missing, Missing{o.name, Plane3D, "both films together: " + c.why})
			continue
		}
		w.space(o, c, front, side)
	}
	w.nearest(objects)
}

// bestCouple takes the first two films that give the most: an entry and a
// midline, and cameras.
func (w *work) bestCouple(o *object) (c *couple, front, side *sounding) {
	best := -1
	for _, f := range o.frontal {
		for _, l := range o.lateral {
			k := w.couple(f.sheet, l.sheet)
			worth := 0
			if k.fit != nil {
				worth += 4
			}
			if f.frontal.midline.marked() {
				worth += 2
			}
			if l.found.v[entryX] == l.found.v[entryX] {
				worth++
			}
			if worth > best {
				best, c, front, side = worth, k, f, l
			}
		}
	}
	return c, front, side
}

// stand puts cameras and points of a solution into the device's space.
func (sp *space) stand(c *couple, s pose.Solution, name string) *space {
	out := *sp
	out.front, out.side = s.Cameras[0], s.Cameras[1]
	out.tip = s.Points[c.points[name+"/tip"]]
	out.contacts = map[int]r3.Vec{}
	for _, k := range sp.lateral.contacts {
		if p, ok := c.points[fmt.Sprintf("%s/contact/%d", name, k.index)]; ok {
			out.contacts[k.index] = s.Points[p]
		}
	}
	return &out
}

func (w *work) space(o *object, c *couple, front, side *sounding) {
	fr, l := *front.frontal, *side.lateral
	t := w.turned(c.side)
	sp := (&space{lateral: &l, frontal: &fr, roll: t.roll, tilt: t.tilt}).stand(c, c.fit.Solution, o.name)
	f := sp.evaluate()
	sp.own = f.own
	d := &spaceSounding{couple: c, space: sp, found: f, front: front, side: side}
	if !w.bare {
		var err error
		if d.terms, err = w.spaceTerms(o, d); err != nil {
			o.missing = append(o.missing, Missing{o.name, Plane3D, err.Error()})
			return
		}
		d.spread(w)
	}
	o.space = d
	w.spaceValues(o, d)
}

// spaceSounding is the evaluation of one object by two films.
type spaceSounding struct {
	couple      *couple
	space       *space
	found       *found
	terms       [][]quantity.Term
	draws       [][]float64 // of the sagittal plane's turn
	front, side *sounding
}

const turnDraws = 128

// spread draws the turn of the sagittal plane against the header's axes.
func (d *spaceSounding) spread(w *work) {
	d.draws = make([][]float64, len(d.found.v))
	for s := range d.draws {
		d.draws[s] = make([]float64, turnDraws)
	}
	name := d.couple.front.reading.Film.Ref.Instance + "/" + d.couple.side.reading.Film.Ref.Instance
	t := w.turned(d.couple.side)
	roll, tilt := w.stream(name+"/roll", turnDraws), w.stream(name+"/tilt", turnDraws)
	for i := range turnDraws {
		sp := *d.space
		sp.roll, sp.tilt = t.draw(roll[i], tilt[i])
		for s, v := range sp.evaluate().v {
			d.draws[s][i] = v
		}
	}
}

func (d *spaceSounding) value(slot int) quantity.Value {
	v := quantity.Value{Estimate: d.found.v[slot]}
	if d.terms != nil {
		v.Terms = d.terms[slot]
		v.Draws = d.draws[slot]
		v.Alone = map[string][]float64{byRotation: d.draws[slot]}
	}
	return v
}

// spaceTerms is the budget of every slot: what each mark does directly and by
// the adjustment, what was supposed about the views, wrong edges, the curves
// between points, and distortion.
func (w *work) spaceTerms(o *object, d *spaceSounding) ([][]quantity.Term, error) {
	sp, c := d.space, d.couple
	eval := func(s *space) *found { return s.evaluate() }
	set := settingOf(c.side.reading, o.name, w.opt)
	l, fr := sp.lateral, sp.frontal
	var parts, onFront []part[*space]
	for _, p := range l.parts(d.found) {
		if p.drawn.uid == l.skin.uid && l.skin.marked() {
			continue // of no use in space
		}
		parts = append(parts, part[*space]{p.drawn, func(s *space, k drawn) *space {
			out := *s
			out.lateral = p.set(s.lateral, k)
			return &out
		}, p.curve})
	}
	for _, p := range fr.parts() {
		if p.drawn.uid == fr.si.uid && fr.si.marked() {
			continue
		}
		onFront = append(onFront, part[*space]{p.drawn, func(s *space, k drawn) *space {
			out := *s
			out.frontal = p.set(s.frontal, k)
			return &out
		}, p.curve})
	}
	sides := [2][]part[*space]{onFront, parts}
	parts = append(slices.Clone(parts), onFront...)
	var effects []effect[*space]
	for _, p := range parts {
		effects = append(effects, vertices(p.drawn, p.set)...)
	}
	if set.edges {
		for _, e := range []struct {
			line line
			slot int
			set  func(*lateral, drawn) *lateral
		}{{l.ventral, exitX, setVentral}, {l.dorsal, entryX, setDorsal}} {
			if n, ok := normalAt(e.line, l.plane, d.side.found.v[e.slot], d.side.found.v[e.slot+1]); ok {
				effects = append(effects, edgeEffect(set, l.plane, e.line.drawn, n, func(s *space, k drawn) *space {
					out := *s
					out.lateral = e.set(s.lateral, k)
					return &out
				}))
			}
		}
		if fr.outlined() {
			for i, v := range [2]r2.Vec{{X: 1}, {Y: 1}} {
				e := edgeEffect(set, fr.plane, fr.foramina[fr.chosen].drawn, v, func(s *space, k drawn) *space {
					out := *s
					out.frontal = s.frontal.setForamen(k)
					return &out
				})
				e.shares[0].input += fmt.Sprint("/", i)
				effects = append(effects, e)
			}
		}
	}
	terms := propagate(sp, eval, effects, len(d.found.v))
	if l.device.lead || fr.outlined() {
		scatter(w, sp, eval, parts, terms)
	}
	// By the adjustment.
	by, err := c.fit.Effects(func(s pose.Solution) []float64 { return sp.stand(c, s, o.name).evaluate().v })
	if err != nil {
		return nil, err
	}
	name := c.front.reading.Film.Ref.Instance + "/" + c.side.reading.Film.Ref.Instance
	sources := c.fit.Sources()
	for slot := range terms {
		for i, u := range by[slot] {
			if u == 0 {
				continue
			}
			t := quantity.Term{U: u}
			switch s := sources[i]; s.Of {
			case pose.FromSighting:
				t.Source, t.Input = byMarking, fmt.Sprintf("%s/%d", c.uids[s.Index], s.Axis)
			case pose.FromView:
				t.Source, t.Input = viewKey(s.Kind), name+"/"+s.Name
			default:
				t.Source, t.Input = byScale, name+"/"+s.Name
			}
			terms[slot] = append(terms[slot], t)
		}
	}
	for _, p := range parts {
		if p.curve {
			omitted(sp, eval, d.found, p.drawn, p.set, terms)
		}
	}
	if l.device.lead {
		if u := sp.unseen(d.found); u > 0 {
			for _, slot := range []int{spaceOffsetEntry, spaceMedial} {
				terms[sp.first()+slot] = append(terms[sp.first()+slot], quantity.Term{Source: byInterpolation, Input: name + "/" + o.name + "/course", U: u})
			}
		}
	}
	// Distortion moves every mark of a film.
	for view, s := range []*sheet{c.front, c.side} {
		bulge := func(px r2.Vec) r2.Vec { return s.bulged(px) }
		effects := []effect[*space]{{
			shares: []share{{byDistortion, s.reading.Film.Ref.Instance, quantity.Rectangular(DistortionHalf)}},
			step:   1e-3,
			apply: func(sp *space, x float64) *space {
				for _, p := range sides[view] {
					sp = p.set(sp, p.drawn.shifted(func(_ int, px r2.Vec) r2.Vec { return r2.Add(px, r2.Scale(x, bulge(px))) }))
				}
				return sp
			},
		}}
		for slot, t := range propagate(sp, eval, effects, len(terms)) {
			sum := 0.0
			for _, k := range t {
				sum += k.U
			}
			for i, u := range by[slot] {
				if src := sources[i]; src.Of == pose.FromSighting && c.in.Sightings[src.Index].View == view {
					m := c.in.Sightings[src.Index]
					b := bulge(r2.Vec{X: m.X, Y: m.Y})
					sum += quantity.Rectangular(DistortionHalf) * u / src.SD * [2]float64{b.X, b.Y}[src.Axis]
				}
			}
			if sum != 0 {
				terms[slot] = append(terms[slot], quantity.Term{Source: byDistortion, Input: s.reading.Film.Ref.Instance, U: sum})
			}
		}
	}
	return terms, nil
}

func viewKey(k pose.Kind) string {
	switch k {
	case pose.TurnLong, pose.TurnCross, pose.TurnBeam:
		return byAngles
	case pose.ShiftX, pose.ShiftY, pose.ShiftZ:
		return byViewShift
	case pose.FootX, pose.FootY:
		return byBeamCentre
	}
	return byScale
}

// bulged is how far a pixel moves where the picture is stretched by its whole
// size at the edge of the field.
func (s *sheet) bulged(px r2.Vec) r2.Vec {
	g := s.reading.Film.Geometry
	d := r2.Sub(px, r2.Vec{X: float64(g.Columns) / 2, Y: float64(g.Rows) / 2})
	q := s.plane.at(d)
	reach := math.Min(float64(g.Columns)*s.plane.column, float64(g.Rows)*s.plane.row) / 2
	return r2.Scale(r2.Norm2(q)/(reach*reach), d)
}

// spaceQuantities names the slots; those of the second list count from the
// first slot after the lateral film's.
var spaceQuantities = []struct {
	name   string
	slot   int
	beyond bool
	unit   string
	shaft  bool // of needles and wires only
}{
	{"entry-offset-midline", spaceOffsetEntry, true, "mm", false},
	{"entry-from-foramen-medial", spaceMedial, true, "mm", false},
	{"entry-from-foramen-superior", spaceSuperior, true, "mm", false},
	{"entry-fraction-medial", spaceFractionMedial, true, "1", false},
	{"entry-fraction-superior", spaceFractionSuperior, true, "1", false},
	{"insertion-angle-chord", angleChord, false, "deg", false},
	{"insertion-angle-surface", spaceSurface, true, "deg", false},
	{"insertion-angle-fusion", angleFusion, false, "deg", false},
	{"insertion-angle-ventral", angleVentral, false, "deg", false},
	{"tip-depth-along-needle", depthAlong, false, "mm", true},
	{"tip-depth-perpendicular", depthPerpendicular, false, "mm", true},
	{"tip-offset-midline", spaceOffsetTip, true, "mm", false},
}

func (w *work) spaceValues(o *object, d *spaceSounding) {
	f, sp := d.found, d.space
	sheets := []*sheet{d.couple.front, d.couple.side}
	lacks := map[string]bool{}
	for _, q := range spaceQuantities {
		slot := q.slot
		if q.beyond {
			slot += sp.first()
		}
		if q.shaft && o.kind == mark.Lead {
			continue
		}
		if f.v[slot] != f.v[slot] {
			// What one film alone lacks is told there already.
			if why := f.why[slot]; why != "" && o.lost(q.name) == "" && !lacks[why] {
				lacks[why] = true
				o.missing = append(o.missing, Missing{o.name, Plane3D, q.name + ": " + why})
			}
			continue
		}
		c := &computed{object: o, quantity: q.name, plane: Plane3D, value: d.value(slot), unit: q.unit, contact: -1, sheets: sheets, length: q.unit == "mm"}
		switch q.slot {
		case angleFusion:
			if !q.beyond {
				c.of = sp.lateral.names[f.fusion]
			}
		case depthPerpendicular:
			if !q.beyond {
				c.notes = append(c.notes, "detail only: it can mislead on a curved bone")
			}
		}
		if q.beyond && q.slot >= spaceMedial && q.slot <= spaceFractionSuperior {
			if rim := sp.frontal.foramina[sp.frontal.chosen]; rim.level != "" {
				c.of = "foramen " + string(rim.level)
			} else {
				c.of = "foramen"
			}
			if sp.frontal.outside {
				c.notes = append(c.notes, "the entry lies outside the marked outline")
			}
		}
		w.values = append(w.values, c)
	}
	if o.kind == mark.Lead {
		w.spaceContacts(o, d, sheets)
	}
}

func (w *work) spaceContacts(o *object, d *spaceSounding, sheets []*sheet) {
	beyond, told := 0, len(d.space.lateral.contacts) > 0
	for i, k := range d.space.lateral.contacts {
		slot := lateralSlots + i
		if d.found.v[slot] != d.found.v[slot] {
			told = false
			continue
		}
		c := &computed{object: o, quantity: "contact-depth", plane: Plane3D, value: d.value(slot), unit: "mm", contact: k.index, sheets: sheets, length: true}
		switch c.class = k.class(c.value.Estimate); c.class {
		case "":
			told = false
			c.notes = append(c.notes, "the contact's length is not given: short, astride or beyond cannot be told")
		case "short":
		default:
			beyond++
		}
		w.values = append(w.values, c)
	}
	if told {
		w.values = append(w.values, &computed{
			object: o, quantity: "contacts-beyond-margin", plane: Plane3D, value: quantity.Value{Estimate: float64(beyond)},
			unit: "1", bare: true, contact: -1, sheets: sheets,
			notes: []string{"of " + count(len(d.space.lateral.contacts), "contact") + "; beyond or astride; a count carries no interval"},
		})
	}
}

// nearest is how near the shafts of two needles come.
func (w *work) nearest(objects []*object) {
	for i, a := range objects {
		for _, b := range objects[i+1:] {
			if !isShaft(a.kind) || !isShaft(b.kind) || mark.Device(a.name) == mark.Device(b.name) || a.space == nil || b.space == nil || a.space.couple != b.space.couple {
				continue
			}
			pa, qa, okA := a.space.shaft()
			pb, qb, okB := b.space.shaft()
			if !okA || !okB {
				continue
			}
			w.values = append(w.values, &computed{
				object: a, quantity: "crossing", plane: Plane3D, value: quantity.Value{Estimate: apart(pa, qa, pb, qb)}, unit: "mm",
				bare: true, contact: -1, of: b.name, sheets: []*sheet{a.space.couple.front, a.space.couple.side}, length: true,
				notes: []string{"how near the two shafts come; the least of many distances carries no interval"},
			})
		}
	}
}

func (d *spaceSounding) shaft() (hub, tip r3.Vec, ok bool) {
	at := func(slot int) r3.Vec {
		v := d.found.v[d.space.first()+slot:]
		return r3.Vec{X: v[0], Y: v[1], Z: v[2]}
	}
	hub, tip = at(spaceHubX), at(spaceTipX)
	return hub, tip, hub == hub && tip == tip
}

// apart is the least distance of the segments pq and rs.
func apart(p, q, r, s r3.Vec) float64 {
	u, v, w := r3.Sub(q, p), r3.Sub(s, r), r3.Sub(p, r)
	a, b, c, d, e := r3.Norm2(u), r3.Dot(u, v), r3.Norm2(v), r3.Dot(u, w), r3.Dot(v, w)
	hold := func(x float64) float64 { return math.Max(0, math.Min(1, x)) }
	x := 0.0
	if n := a*c - b*b; n > 1e-12*a*c {
		x = hold((b*e - c*d) / n)
	}
	y := hold((b*x + e) / c)
	x = hold((b*y - d) / a)
	y = hold((b*x + e) / c)
	return r3.Norm(r3.Add(w, r3.Sub(r3.Scale(x, u), r3.Scale(y, v))))
}

// positions lists where points lie that both films show, and cautions of rays
// that miss each other by more than they should.
func (w *work) positions(objects []*object) {
	done := map[*couple]bool{}
	for _, o := range objects {
		if o.space == nil {
			continue
		}
		c := o.space.couple
		frames := []mark.FrameRef{c.front.reading.Film.Ref, c.side.reading.Film.Ref}
		for _, p := range []struct {
			what string
			slot int
		}{{"entry", spaceEntryX}, {"hub", spaceHubX}} {
			v := o.space.found.v[o.space.space.first()+p.slot:]
			if v[0] == v[0] {
				k := Position{Object: o.name, What: p.what, X: v[0], Y: v[1], Z: v[2], Frames: frames}
				for i := range k.U {
					k.U[i] = o.space.value(o.space.space.first() + p.slot + i).Standard()
				}
				w.out.Positions = append(w.out.Positions, k)
			}
		}
		if done[c] {
			continue
		}
		done[c] = true
		gaps := map[int]pose.Gap{}
		for _, g := range c.fit.Gaps() {
			gaps[g.Point] = g
		}
		for i, name := range c.in.Points {
			p, cov := c.fit.Points[i], c.fit.PointCovariance(i)
			k := Position{X: p.X, Y: p.Y, Z: p.Z, Frames: frames}
			k.Object, k.What, _ = strings.Cut(name, "/")
			if k.What == "" {
				k.Object, k.What = "", name
			}
			k.What = strings.ReplaceAll(k.What, "/", " ")
			for j := range k.U {
				k.U[j] = math.Sqrt(cov.At(j, j))
			}
			k.FrontalScale, _, _ = c.fit.Scale(0, i)
			k.LateralScale, _, _ = c.fit.Scale(1, i)
			if g, ok := gaps[i]; ok {
				k.Gapped, k.Gap, k.GapFrontal, k.GapLateral = true, g.MM, g.PixelsA, g.PixelsB
				if g.Checked && g.Normalised > gapMost {
					w.gaps = append(w.gaps, fmt.Sprintf("The rays of %s on the two films miss each other by %.1f mm: a mark is off, the films do not belong together, or one shows another device.",
						strings.TrimSpace(k.Object+" "+k.What), g.MM))
				}
			}
			w.out.Positions = append(w.out.Positions, k)
		}
	}
}

// gapMost is how many of its own standard uncertainties a gap between two rays
// may reach before it is told.
const gapMost = 3.0
