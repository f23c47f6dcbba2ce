package placement

import (
	"math"
	"strconv"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/quantity"
	"leadline/measure/scale"
)

// unknown is one draw of what no header and no mark of a film tells.
type unknown struct {
	scale       float64 // factor of the scale
	depth       float64 // mm, of the reference plane beyond the scale's plane
	long, cross float64 // radians, of the patient about the long and the cross axis
	off, tip    float64 // mm, of the device's way through bone, and of its tip, beyond the reference plane
	slope       float64 // of the device out of the plane, a mm of its length seen
	rim         float64 // mm, of an opening's edge beyond the entry
	shift       float64 // mm, of this film's heights against the lateral one's
	bulge       float64 // of the picture
}

// layer is a set of causes that are drawn together.
type layer uint8

const (
	layScale layer = 1 << iota
	layDepth
	layOff
	layTurn
	layShift
	layFoot
	layBulge
	layAll layer = 1<<iota - 1
)

// alone are the budget keys that are drawn, each with the layers that count
// under it. What a turned view does depends on how far the device lies off the
// plane: its part is that of both less that of the distance alone.
var alone = []struct {
	key  string
	with layer
	less string // a key further up
}{
	{byScale, layScale, ""},
	{byPlaneOffset, layDepth, ""},
	{byOutOfPlane, layOff, ""},
	{byRotation, layOff | layTurn, byOutOfPlane},
	{byViewShift, layShift, ""},
	{byBeamCentre, layFoot, ""},
	{byDistortion, layBulge, ""},
}

const (
	jointDraws = 512
	aloneDraws = 64
)

// stream is the draws of an input, from 0 to 1.
func (w *work) stream(input string, n int) []float64 {
	key := input + "\x00" + strconv.Itoa(n)
	if s, ok := w.streams[key]; ok {
		return s
	}
	if w.streams == nil {
		w.streams = map[string][]float64{}
	}
	s := quantity.Uniform(input, n)
	w.streams[key] = s
	return s
}

// unknowns draws n times what film and device leave open, of the given layers.
func (w *work) unknowns(s *sheet, set setting, layers layer, n int) []unknown {
	out := make([]unknown, n)
	for i := range out {
		out[i] = unknown{scale: 1}
	}
	// each draws an input of a rectangular distribution of half width half.
	each := func(of layer, input string, half float64, put func(u *unknown, x float64)) {
		if layers&of == 0 || half == 0 {
			return
		}
		for i, x := range w.stream(input, n) {
			put(&out[i], half*(2*x-1))
		}
	}
	// Positions of one device on one film lie about as far off its plane: what is
	// not known of that is the same for both, and cancels in a change of depth.
	// How each leans is its own.
	device := set.film + "/" + mark.Device(set.object)
	if layers&layScale != 0 {
		a, b := w.stream(set.film+"/scale", n), w.stream(set.film+"/foreshortened", n)
		for i := range out {
			out[i].scale = s.reading.Scale.Factor(a[i], b[i])
		}
	}
	each(layDepth, set.film+"/depth", scale.OffPlaneHalf, func(u *unknown, x float64) { u.depth = x })
	each(layOff, device+"/off", OffMidlineHalf, func(u *unknown, x float64) { u.off = x })
	each(layOff, device+"/tip", OffMidlineHalf*TipReach, func(u *unknown, x float64) { u.tip = x })
	each(layOff, set.film+"/"+set.object+"/slope", TiltHalf, func(u *unknown, x float64) { u.slope = x })
	each(layOff, device+"/rim", OffMidlineHalf*NearRim, func(u *unknown, x float64) { u.rim = x })
	if layers&layTurn != 0 {
		// The patient against the C-arm's table, and its angles against what they
		// say.
		a, b := w.stream(set.film+"/long", n), w.stream(set.film+"/cross", n)
		c, d := w.stream(set.film+"/angle/long", n), w.stream(set.film+"/angle/cross", n)
		t := w.turned(s)
		for i := range out {
			u := &out[i]
			u.long, u.cross = quantity.Radians(set.offLong), quantity.Radians(set.offCross)
			if s.camera != nil { // which tells the signs, too
				u.long, u.cross = t.against(s)
			}
			t := turn{known: t.known, uRoll: t.uRoll, uTilt: t.uTilt}
			x, y := t.draw(a[i], b[i])
			u.long += x + quantity.Radians(AngleHalf*(2*c[i]-1))
			u.cross += y + quantity.Radians(AngleHalf*(2*d[i]-1))
		}
	}
	each(layShift, set.film+"/shift", set.shift, func(u *unknown, x float64) { u.shift = x })
	each(layFoot, set.film+"/foot", set.foot, func(u *unknown, x float64) { u.shift += x })
	each(layFoot, set.partner+"/foot", set.foot, func(u *unknown, x float64) { u.shift += x })
	each(layBulge, set.film+"/bulge", DistortionHalf, func(u *unknown, x float64) { u.bulge = x })
	return out
}

// gazeOf is how the film sees, under a draw.
func (s *sheet) gazeOf(set setting, u unknown) gaze {
	g := s.reading.Film.Geometry
	return gaze{
		foot: set.centre, column: s.plane.column * u.scale, row: s.plane.row * u.scale,
		source: set.sourceToPlane, depth: u.depth,
		bulge: u.bulge, reach: math.Min(float64(g.Columns)*s.plane.column, float64(g.Rows)*s.plane.row) / 2,
	}.turned(s.cranial, u.long, u.cross)
}

// millimetre is the plane of coordinates that are millimetres already.
var millimetre = plane{column: 1, row: 1, scaled: true}

// on brings a mark to the reference plane of g, each point off by what off says.
func (d drawn) on(g gaze, off func(i int) float64) drawn {
	px := make([]r2.Vec, len(d.px))
	for i, p := range d.px {
		o := 0.0
		if off != nil {
			o = off(i)
		}
		px[i] = g.at(p, o)
	}
	d.px, d.sd = px, d.sd*math.Max(g.column, g.row)
	return d
}

func (l line) on(g gaze, f form, off func(i int) float64) line {
	if l.curve == nil && !l.marked() {
		return l
	}
	moved := l.drawn.on(g, off)
	if l.curve == nil {
		return line{drawn: moved, why: l.why}
	}
	return newLine(moved, millimetre, f)
}

// under is what the film's values would be under a draw.
func (l *lateral) under(g gaze, u unknown) *found {
	c := *l
	c.plane = millimetre
	far := fromTip(l.device.drawn, l.plane)
	c.device = l.device.on(g, openForm, func(i int) float64 { return u.off + u.slope*far[i] })
	c.ventral, c.dorsal, c.skin = l.ventral.on(g, openForm, nil), l.dorsal.on(g, openForm, nil), l.skin.on(g, openForm, nil)
	c.fusion = make([]drawn, len(l.fusion))
	for i, d := range l.fusion {
		c.fusion[i] = d.on(g, nil)
	}
	tip := l.plane.at(l.device.px[len(l.device.px)-1])
	c.contacts = make([]contact, len(l.contacts))
	for i, k := range l.contacts {
		r := r2.Norm(r2.Sub(l.plane.at(k.px[0]), tip))
		k.drawn = k.drawn.on(g, func(int) float64 { return u.off + u.slope*r })
		c.contacts[i] = k
	}
	f := c.evaluate()
	// Along a device that leans out of the plane there is more of it than is
	// seen.
	lean := math.Hypot(1, u.slope)
	f.v[depthAlong] *= lean
	for s := lateralSlots; s < len(f.v); s++ {
		f.v[s] *= lean
	}
	seenTip := g.at(l.device.px[len(l.device.px)-1], u.off)
	for _, x := range []int{entryX, exitX} {
		if p := (r2.Vec{X: f.v[x], Y: f.v[x+1]}); finite(p) {
			q := g.pixel(p, u.off+u.slope*r2.Norm(r2.Sub(p, seenTip)))
			f.v[x], f.v[x+1] = q.X, q.Y
		}
	}
	return f
}

// pastEnds, in millimetres, is how far past the ends of a marked shaft a draw
// may put its entry.
const pastEnds = 10.0

// deviceReach, in millimetres, bounds how far off the reference plane a draw
// puts any part of a device.
const deviceReach = 100.0

// under is what the frontal film's values would be under a draw, with the
// lateral film's entry where that draw puts it.
func (w *frontal) under(g gaze, u unknown, lateral r2.Vec) *found {
	c := *w
	c.plane, c.lateral, c.viewShift = millimetre, lateral, r2.Vec{}
	if w.entered > 0 {
		c.ends = pastEnds
	}
	if w.level != nil {
		c.level = func(p r2.Vec) (point, direction r2.Vec, ok bool) {
			a, d, ok := w.level(p)
			if !ok {
				return a, d, false
			}
			// Ten pixels apart, so that the direction is well told.
			from, to := g.at(a, u.off), g.at(r2.Add(a, r2.Scale(10, d)), u.off)
			return r2.Add(from, r2.Scale(u.shift, w.cranial)), r2.Sub(to, from), true
		}
	}
	// The device lies at off where it enters and at tip where it ends.
	far := fromTip(w.device.drawn, w.plane)
	way := 0.0
	if w.entered > 0 {
		way = (u.off - u.tip) / w.entered
	}
	c.device = w.device.on(g, openForm, func(i int) float64 {
		return math.Max(-deviceReach, math.Min(deviceReach, u.tip+way*far[i]))
	})
	c.midline, c.si = w.midline.on(g, nil), w.si.on(g, nil)
	c.foramina = append([]outline(nil), w.foramina...)
	for i, o := range c.foramina {
		if i != w.chosen {
			continue
		}
		f := closedForm
		if o.arc {
			f = openForm
		}
		o.line = o.line.on(g, f, func(int) float64 { return u.off + u.rim })
		c.foramina[i] = o
	}
	f := c.evaluate()
	if p := (r2.Vec{X: f.v[frontEntryX], Y: f.v[frontEntryY]}); finite(p) {
		q := g.pixel(p, u.off)
		f.v[frontEntryX], f.v[frontEntryY] = q.X, q.Y
	}
	return f
}

// drawnValues are a film's values under draws: by slot, all causes together,
// and by budget key each alone.
type drawnValues struct {
	joint [][]float64
	alone map[string][][]float64
	under map[string][][]float64 // as drawn: for the turn with the distance's part in it
}

// draw evaluates under all draws. partner, for a frontal film, holds the
// lateral film's values under the same draws.
func (w *work) draw(slots int, nominal []float64, unknowns func(layer, int) []unknown, under func(u unknown, key string, i int) *found) *drawnValues {
	run := func(layers layer, key string, n int) [][]float64 {
		out := make([][]float64, slots)
		for s := range out {
			out[s] = make([]float64, n)
		}
		for i, u := range unknowns(layers, n) {
			f := under(u, key, i)
			for s := range out {
				out[s][i] = f.v[s]
			}
		}
		return out
	}
	d := &drawnValues{joint: run(layAll, "", jointDraws), alone: map[string][][]float64{}, under: map[string][][]float64{}}
	for _, a := range alone {
		v := run(a.with, a.key, aloneDraws)
		d.under[a.key], d.alone[a.key] = v, v
		if a.less == "" {
			continue
		}
		own := make([][]float64, slots)
		for s := range own {
			own[s] = make([]float64, aloneDraws)
			for i := range own[s] {
				own[s][i] = nominal[s] + v[s][i] - d.under[a.less][s][i]
			}
		}
		d.alone[a.key] = own
	}
	return d
}

// spread puts a slot's draws into a value.
func (d *drawnValues) spread(v *quantity.Value, slot int) {
	if d == nil {
		return
	}
	v.Draws = d.joint[slot]
	v.Alone = map[string][]float64{}
	for key, draws := range d.alone {
		v.Alone[key] = draws[slot]
	}
}

// entryUnder is the lateral film's entry under a draw.
func (d *drawnValues) entryUnder(key string, i int) r2.Vec {
	slots := d.joint
	if key != "" {
		slots = d.under[key]
	}
	return r2.Vec{X: slots[entryX][i], Y: slots[entryY][i]}
}

// drawable reports whether a film's unknowns can be drawn in millimetres.
func drawable(r *FilmReading) bool { return r.Scale.Known && r.View != imaging.NoView }
