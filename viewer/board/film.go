package board

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/imaging/carm"
	"leadline/measure/mark"
	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

// Scene of a pane's film with the desk's marks on it.
func Scene(d *desk.Desk, id desk.PaneID) *scene.Scene {
	pane := d.Pane(id)
	if pane.Ref.Instance == "" {
		return &scene.Scene{}
	}
	p, _ := d.Placement()
	sel := d.Selection()
	opt := scene.Options{Selected: sel.Mark, Vertex: sel.Vertex, Device: d.Device()}
	marks := d.Marks(pane.Ref)
	if dr := d.Draft(); dr != nil && dr.Pane == id {
		opt.Selected, opt.Vertex = dr.Mark.UID, len(dr.Mark.Points)-1
		if _, kept := d.Mark(dr.Mark.UID); !kept && len(dr.Mark.Points) > 0 {
			marks = append(marks, dr.Mark)
		}
	}
	p.Cautions = nil // those of the case stand beside the films, by Cautions
	sc := scene.Film(d.Reading(pane.Ref), marks, p, opt)
	return &sc
}

// LevelLine joins the two films at the point in hand, or at the device's tip:
// in the other film the line on which the same point must lie.
type LevelLine struct {
	Lines  [2][2]r2.Vec // ends in each film, SR pixels
	Exact  bool         // by the C-arm's geometry; else the same height, approximate
	Source desk.PaneID
}

// Level finds the level line; ok is false where there is nothing to join.
func Level(d *desk.Desk) (l LevelLine, ok bool) {
	from, p, ok := levelPoint(d)
	if !ok {
		return l, false
	}
	to := from.Other()
	a, b := d.Pane(from).Ref, d.Pane(to).Ref
	if a.Instance == "" || b.Instance == "" || d.Reading(a).View == d.Reading(b).View {
		return l, false
	}
	l.Source = from
	if there, here, exact := epipolar(d, a, b, p); exact {
		l.Exact = true
		l.Lines[to], l.Lines[from] = there, here
		return l, true
	}
	// Without geometry: the same height below the middle of the field, in
	// millimetres where both films have a scale, else as a part of the frame.
	ra, rb := d.Reading(a), d.Reading(b)
	va, vb := View(d, from, scene.Box(0, 0, 1, 1), 1), View(d, to, scene.Box(0, 0, 1, 1), 1)
	ha, hb := frame(ra.Film.Header), frame(rb.Film.Header)
	va.Centre, vb.Centre, va.Zoom, vb.Zoom = r2.Scale(0.5, ha), r2.Scale(0.5, hb), 1, 1
	y := va.ToPane(p).Y - 0.5
	switch {
	case ra.Scale.Known && rb.Scale.Known:
		y *= ra.Scale.Column / rb.Scale.Column
	case ha.Y > 0:
		y *= hb.Y / ha.Y
	}
	l.Lines[from] = across(va, va.ToPane(p).Y-0.5, ha)
	l.Lines[to] = across(vb, y, hb)
	return l, true
}

// across is the horizontal line at a height below the middle, as shown.
func across(v scene.View, y float64, size r2.Vec) [2]r2.Vec {
	half := math.Max(size.X, size.Y)
	return [2]r2.Vec{v.ToImage(r2.Vec{X: 0.5 - half, Y: 0.5 + y}), v.ToImage(r2.Vec{X: 0.5 + half, Y: 0.5 + y})}
}

func frame(h *imaging.Header) r2.Vec {
	if h == nil {
		return r2.Vec{}
	}
	return r2.Vec{X: float64(h.Columns), Y: float64(h.Rows)}
}

func epipolar(d *desk.Desk, a, b mark.FrameRef, p r2.Vec) (there, here [2]r2.Vec, ok bool) {
	ca, err := carm.FromGeometry(d.Reading(a).Film.Geometry)
	if err != nil {
		return there, here, false
	}
	cb, err := carm.FromGeometry(d.Reading(b).Film.Geometry)
	if err != nil {
		return there, here, false
	}
	q, dir, ok := carm.Epipolar(ca, p, cb)
	if !ok {
		return there, here, false
	}
	there = ends(q, dir)
	// The same plane seen from the first film: through p, by any point of the
	// line just found.
	q2, dir2, ok := carm.Epipolar(cb, q, ca)
	if !ok {
		return there, here, false
	}
	return there, ends(q2, dir2), true
}

func ends(p, dir r2.Vec) [2]r2.Vec {
	const far = 8000 // pixels: beyond any frame
	n := r2.Norm(dir)
	if n == 0 {
		return [2]r2.Vec{p, p}
	}
	dir = r2.Scale(far/n, dir)
	return [2]r2.Vec{r2.Sub(p, dir), r2.Add(p, dir)}
}

// levelPoint is the point in hand, the last of the draft, or the device's tip
// on the focused film, else on the other.
func levelPoint(d *desk.Desk) (desk.PaneID, r2.Vec, bool) {
	if dr := d.Draft(); dr != nil && len(dr.Mark.Points) > 0 {
		return dr.Pane, dr.Mark.Points[len(dr.Mark.Points)-1], true
	}
	if m, ok := d.Selected(); ok {
		if v := d.Selection().Vertex; v >= 0 && v < len(m.Points) {
			for _, id := range []desk.PaneID{desk.FrontalPane, desk.LateralPane} {
				if d.Pane(id).Ref == m.Frame {
					return id, m.Points[v], true
				}
			}
		}
	}
	for _, id := range []desk.PaneID{desk.LateralPane, desk.FrontalPane} {
		if q, ok := d.Reading(d.Pane(id).Ref).Points[d.Device()+"/tip"]; ok {
			return id, r2.Vec{X: q.X, Y: q.Y}, true
		}
	}
	return 0, r2.Vec{}, false
}

// Draw gives the level line of one film, broken where it would run through the
// words of what is drawn there already.
func (l LevelLine) Draw(id desk.PaneID, v scene.View, over scene.Drawing) scene.Drawing {
	dash := scene.DashDot
	if !l.Exact {
		dash = scene.Dotted
	}
	ends, ok := clip(v, l.Lines[id])
	if !ok {
		return scene.Drawing{}
	}
	stroke := scene.Stroke{Width: 1.1, Color: scene.Mist, Dash: dash, Edge: 0.8}
	var sc scene.Scene
	for _, piece := range broken(v.ToPane(ends[0]), v.ToPane(ends[1]), words(over)) {
		sc.Paths = append(sc.Paths, scene.Path{Points: []r2.Vec{v.ToImage(piece[0]), v.ToImage(piece[1])}, Stroke: stroke})
	}
	d := sc.Draw(v)
	d.Layers = d.Layers[:1]
	return d
}

// words are the places of all words in a drawing.
func words(d scene.Drawing) []scene.Rect {
	var out []scene.Rect
	for _, l := range d.Layers {
		for _, t := range l.Texts {
			out = append(out, t.Box().Inset(-2*t.Edge))
		}
	}
	return out
}

// broken cuts out of a line what lies in any of the rectangles.
func broken(a, b r2.Vec, holes []scene.Rect) [][2]r2.Vec {
	d := r2.Sub(b, a)
	type span struct{ from, to float64 }
	free := []span{{0, 1}}
	for _, h := range holes {
		t0, t1, ok := through(a, d, h)
		if !ok {
			continue
		}
		var next []span
		for _, s := range free {
			if t0 > s.from {
				next = append(next, span{s.from, math.Min(s.to, t0)})
			}
			if t1 < s.to {
				next = append(next, span{math.Max(s.from, t1), s.to})
			}
		}
		free = next
	}
	var out [][2]r2.Vec
	for _, s := range free {
		if s.to > s.from {
			out = append(out, [2]r2.Vec{r2.Add(a, r2.Scale(s.from, d)), r2.Add(a, r2.Scale(s.to, d))})
		}
	}
	return out
}

// through gives the part of a line, from 0 at a to 1 at a + d, that lies in a
// rectangle (Liang and Barsky, ACM Trans Graph 1984;3(1):1-22).
func through(a, d r2.Vec, r scene.Rect) (t0, t1 float64, ok bool) {
	t0, t1 = 0, 1
	for _, side := range [][2]float64{{-d.X, a.X - r.Min.X}, {d.X, r.Max.X - a.X}, {-d.Y, a.Y - r.Min.Y}, {d.Y, r.Max.Y - a.Y}} {
		p, q := side[0], side[1]
		switch {
		case p == 0 && q < 0:
			return 0, 0, false
		case p < 0:
			t0 = math.Max(t0, q/p)
		case p > 0:
			t1 = math.Min(t1, q/p)
		}
	}
	return t0, t1, t0 < t1
}

// clip cuts a line to a little more than the pane, so that dashes are not cut
// for what is never seen; ok is false where none of it is.
func clip(v scene.View, l [2]r2.Vec) (out [2]r2.Vec, ok bool) {
	a := v.ToPane(l[0])
	d := r2.Sub(v.ToPane(l[1]), a)
	t0, t1, ok := through(a, d, v.Pane)
	if !ok {
		return out, false
	}
	return [2]r2.Vec{v.ToImage(r2.Add(a, r2.Scale(t0, d))), v.ToImage(r2.Add(a, r2.Scale(t1, d)))}, true
}

// Name writes the level line's name where the films meet.
func (l LevelLine) Name(views [2]scene.View, unit float64) scene.Drawing {
	left, ok := clip(views[desk.FrontalPane], l.Lines[desk.FrontalPane])
	if !ok {
		return scene.Drawing{}
	}
	a, b := views[desk.FrontalPane].ToPane(left[0]), views[desk.FrontalPane].ToPane(left[1])
	if a.X > b.X {
		b = a
	}
	edge := views[desk.FrontalPane].Pane
	if math.Abs(b.X-edge.Max.X) > 2 {
		return scene.Drawing{}
	}
	words := "level line"
	if !l.Exact {
		words = "same height, approximate"
	}
	w := scene.Advance(words, 11*unit, false) + 18*unit
	whole := scene.Rect{Min: views[0].Pane.Min, Max: views[1].Pane.Max}
	p := newPen(whole, unit)
	x := (edge.Max.X + views[desk.LateralPane].Pane.Min.X) / 2
	r := scene.Box(x-w/2, b.Y-9*unit, w, 18*unit)
	p.box(r, 8.5, scene.Panel)
	p.frame(r, 8.5, 1, cardLine)
	p.text(r.Min.X+9*unit, b.Y+4*unit, words, 11, false, scene.Mist)
	return p.drawing()
}

// Crosshair shows where a key would set a point.
func Crosshair(d *desk.Desk, id desk.PaneID, v scene.View, led bool) scene.Drawing {
	dr := d.Draft()
	if dr == nil || !led || d.Focus() != id {
		return scene.Drawing{}
	}
	p := newPen(v.Pane, v.Unit)
	c, u := v.ToPane(d.Pane(id).Cursor), v.Unit
	for _, pass := range []struct {
		width float64
		dark  bool
	}{{4, true}, {1.4, false}} {
		ink := scene.White
		if pass.dark {
			ink = scene.Dark
		}
		for _, s := range []float64{-1, 1} {
			p.line(pass.width, ink, vec(c.X+s*4*u, c.Y), vec(c.X+s*22*u, c.Y))
			p.line(pass.width, ink, vec(c.X, c.Y+s*4*u), vec(c.X, c.Y+s*22*u))
		}
	}
	return p.drawing()
}

// Suggested draws what is suggested and no one's mark yet: in dashes, with its
// word.
func Suggested(d *desk.Desk, id desk.PaneID, v scene.View) scene.Drawing {
	s := d.Suggestion()
	if s == nil || s.Pane != id {
		return scene.Drawing{}
	}
	p := newPen(v.Pane, v.Unit)
	const ink, gap = 7.0, 5.0
	for _, pass := range []struct {
		width float64
		dark  bool
	}{{4.5, true}, {2, false}} {
		shade := scene.White
		if pass.dark {
			shade = scene.Dark
		}
		for i := 1; i < len(s.Points); i++ {
			a, b := v.ToPane(s.Points[i-1]), v.ToPane(s.Points[i])
			length, along := r2.Norm(r2.Sub(b, a)), r2.Unit(r2.Sub(b, a))
			for at := 0.0; at < length; at += (ink + gap) * v.Unit {
				p.line(pass.width, shade, r2.Add(a, r2.Scale(at, along)), r2.Add(a, r2.Scale(min(at+ink*v.Unit, length), along)))
			}
		}
	}
	tip := v.ToPane(s.Points[len(s.Points)-1])
	p.ring(tip.X, tip.Y, false, scene.White)
	words := "suggested, tip"
	w := scene.Advance(words, 13*v.Unit, true)
	place := scene.Box(tip.X+10*v.Unit, tip.Y+4*v.Unit, w+12*v.Unit, 22*v.Unit)
	p.box(place, 4, scene.Panel)
	p.text(place.Min.X+6*v.Unit, place.Min.Y+15.5*v.Unit, words, 13, true, scene.White)
	return p.drawing()
}

// LoupeFrame is the rim of the loupe and the cross in its middle.
func LoupeFrame(r scene.Rect, unit float64) scene.Drawing {
	p := newPen(r, unit)
	p.frame(r, 0, 1.5, scene.Grey)
	c := r.Centre()
	for _, s := range []float64{-1, 1} {
		p.line(1, scene.White, vec(c.X+s*5*unit, c.Y), vec(c.X+s*14*unit, c.Y))
		p.line(1, scene.White, vec(c.X, c.Y+s*5*unit), vec(c.X, c.Y+s*14*unit))
	}
	return p.drawing()
}

// Empty says why a pane shows no film: it cannot be read, as err says; the one
// film there is has no known view; or the case has none.
func Empty(id desk.PaneID, place scene.Rect, unit float64, unread bool, err error) scene.Drawing {
	p := newPen(place, unit)
	x, y := place.Min.X+24*unit, place.Centre().Y
	if err != nil {
		p.warning(x, y)
		p.wrap(x+22*unit, y, place.W()-70*unit, err.Error(), 13, Warn, 4)
		return p.drawing()
	}
	other := desk.PaneID.String(id.Other())
	if unread {
		p.warning(x, y)
		p.wrap(x+22*unit, y, place.W()-70*unit, "The view of the film beside is not known: state it (V). Nothing is marked on it before.", 13, Warn, 4)
		return p.drawing()
	}
	p.wrap(x, y, place.W()-48*unit, "No "+id.String()+" film in this case. What the "+other+" film alone can give is measured.", 13, scene.Grey, 4)
	return p.drawing()
}
