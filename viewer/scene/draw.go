package scene

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

// Draw lays the scene down in the view: marks, then words.
func (s *Scene) Draw(v View) Drawing {
	if !(v.Pane.W() > 0 && v.Pane.H() > 0) {
		return Drawing{}
	}
	d := drafter{view: v, unit: v.Unit, layer: Layer{Clip: v.Pane}}
	if d.unit <= 0 {
		d.unit = 1
	}
	for _, p := range s.Paths {
		pts := make([]r2.Vec, len(p.Points))
		for i, q := range p.Points {
			pts[i] = v.ToPane(q)
		}
		d.stroke(pts, p.Closed, p.Stroke)
	}
	for _, m := range s.Symbols {
		d.symbol(m)
	}
	words := Layer{Clip: v.Pane}
	l := newLayout(v, d.unit, d.layer.Lines)
	for _, m := range s.Symbols {
		h := m.Size / 2 * d.unit
		at := v.ToPane(m.At)
		l.symbols = append(l.symbols, Box(at.X-h, at.Y-h, 2*h, 2*h))
	}
	s.drawEdges(v, l, &words)
	s.drawBar(v, l, &words)
	for _, label := range s.Labels {
		l.place(label, &words)
	}
	return Drawing{Layers: []Layer{d.layer, words}}
}

type drafter struct {
	view  View
	unit  float64
	layer Layer
}

// clip is the pane with room for the widest stroke; everywhere for a drawing
// that lies in no pane.
func (d *drafter) clip() Rect {
	if d.view.Pane.W() <= 0 {
		return Box(-1e6, -1e6, 2e6, 2e6)
	}
	return d.view.Pane.Inset(-20 * d.unit)
}

// stroke draws the dark edge, then the pattern on it.
func (d *drafter) stroke(pts []r2.Vec, closed bool, s Stroke) {
	if len(pts) == 0 {
		return
	}
	pieces := [][]r2.Vec{pts}
	whole := len(s.Dash) == 0
	if !whole {
		pieces = cut(pts, closed, s.Dash, d.unit, d.clip())
	}
	if s.Edge > 0 {
		under := pieces
		if !s.Open {
			under = [][]r2.Vec{pts}
		}
		for _, piece := range under {
			d.layer.Lines = append(d.layer.Lines, Line{Points: piece, Closed: closed && (whole || !s.Open), Width: (s.Width + 2*s.Edge) * d.unit, Color: Dark})
		}
	}
	for _, piece := range pieces {
		d.layer.Lines = append(d.layer.Lines, Line{Points: piece, Closed: closed && whole, Width: s.Width * d.unit, Color: s.Color})
	}
}

// cut gives the inked pieces of a dashed line that touch the clip; the pattern
// runs on unseen outside it, so that panning does not make dashes crawl.
func cut(pts []r2.Vec, closed bool, dash Dash, unit float64, clip Rect) [][]r2.Vec {
	if closed && len(pts) > 1 {
		pts = append(append([]r2.Vec(nil), pts...), pts[0])
	}
	period := 0.0
	for _, d := range dash {
		period += d * unit
	}
	var pieces [][]r2.Vec
	var piece []r2.Vec
	i, left := 0, dash[0]*unit
	next := func() {
		i = (i + 1) % len(dash)
		left = dash[i] * unit
	}
	finish := func() {
		if len(piece) > 1 {
			pieces = append(pieces, piece)
		}
		piece = nil
	}
	for k := 1; k < len(pts); k++ {
		a, b := pts[k-1], pts[k]
		length := r2.Norm(r2.Sub(b, a))
		if !(length > 0) || math.IsInf(length, 0) {
			continue
		}
		from, to, seen := within(a, b, clip)
		if !seen {
			from, to = 1, 1
		}
		for at := 0.0; at < length; {
			if skip := from*length - at; skip > period || (at >= to*length && length-at > period) {
				// Nothing of this stretch is seen: whole periods are passed over.
				finish()
				if at >= to*length {
					skip = length - at
				}
				at += math.Floor(skip/period) * period
			}
			step := math.Min(left, length-at)
			if i%2 == 0 {
				if piece == nil {
					piece = append(piece, r2.Add(a, r2.Scale(at/length, r2.Sub(b, a))))
				}
				piece = append(piece, r2.Add(a, r2.Scale(math.Min(1, (at+step)/length), r2.Sub(b, a))))
			}
			at += step
			if left -= step; left <= 1e-9 {
				finish()
				next()
			}
		}
	}
	finish()
	return pieces
}

// within gives the part of the stretch from a to b, as fractions, that lies in
// the rectangle (Liang and Barsky's clipping).
func within(a, b r2.Vec, r Rect) (from, to float64, ok bool) {
	from, to = 0, 1
	d := r2.Sub(b, a)
	for _, side := range [4][2]float64{{-d.X, a.X - r.Min.X}, {d.X, r.Max.X - a.X}, {-d.Y, a.Y - r.Min.Y}, {d.Y, r.Max.Y - a.Y}} {
		speed, room := side[0], side[1]
		switch {
		case speed == 0 && room < 0:
			return 0, 0, false
		case speed < 0:
			from = math.Max(from, room/speed)
		case speed > 0:
			to = math.Min(to, room/speed)
		}
	}
	return from, to, from <= to
}

// symbol draws a point mark round its place.
func (d *drafter) symbol(m Symbol) {
	c, r := d.view.ToPane(m.At), m.Size/2*d.unit
	s := m.Stroke
	s.Dash = nil
	at := func(x, y float64) r2.Vec { return r2.Vec{X: c.X + x*r, Y: c.Y + y*r} }
	outline := func(pts ...r2.Vec) {
		if m.Fill.A > 0 {
			d.layer.Lines = append(d.layer.Lines, disc(c, 2*r, m.Fill))
		}
		d.stroke(pts, true, s)
	}
	switch m.Shape {
	case Circle:
		outline(ring(c, r)...)
	case Diamond:
		outline(at(0, -1.15), at(1.15, 0), at(0, 1.15), at(-1.15, 0))
	case Square:
		outline(at(-0.9, -0.9), at(0.9, -0.9), at(0.9, 0.9), at(-0.9, 0.9))
	case Triangle:
		outline(at(0, -1.15), at(1.1, 0.8), at(-1.1, 0.8))
	case Handle:
		d.layer.Lines = append(d.layer.Lines, disc(c, 2*r+(s.Width+2*s.Edge)*d.unit, Dark), disc(c, 2*r, m.Fill))
		plain := s
		plain.Edge = 0
		d.stroke(ring(c, r), true, plain)
	case Cross:
		d.strokes(s, []r2.Vec{at(-0.8, -0.8), at(0.8, 0.8)}, []r2.Vec{at(-0.8, 0.8), at(0.8, -0.8)})
	case Plus:
		d.strokes(s, []r2.Vec{at(-1, 0), at(1, 0)}, []r2.Vec{at(0, -1), at(0, 1)})
	case Across:
		u := r2.Sub(d.view.ToPane(r2.Add(m.At, m.Along)), c)
		if n := r2.Norm(u); n > 0 {
			u = r2.Scale(r/n, r2.Vec{X: -u.Y, Y: u.X})
			d.strokes(s, []r2.Vec{r2.Sub(c, u), r2.Add(c, u)})
		}
	}
}

// strokes draws all edges before all colours, so that no edge cuts a stroke.
func (d *drafter) strokes(s Stroke, all ...[]r2.Vec) {
	for _, pts := range all {
		d.layer.Lines = append(d.layer.Lines, Line{Points: pts, Width: (s.Width + 2*s.Edge) * d.unit, Color: Dark})
	}
	for _, pts := range all {
		d.layer.Lines = append(d.layer.Lines, Line{Points: pts, Width: s.Width * d.unit, Color: s.Color})
	}
}

// disc is a filled circle: a stroke of no length with round caps.
func disc(c r2.Vec, diameter float64, col colour) Line {
	return Line{Points: []r2.Vec{c, {X: c.X + 0.01, Y: c.Y}}, Width: diameter, Color: col}
}

func ring(c r2.Vec, r float64) []r2.Vec {
	const n = 28
	pts := make([]r2.Vec, n)
	for i := range pts {
		a := 2 * math.Pi * float64(i) / n
		pts[i] = r2.Vec{X: c.X + r*math.Cos(a), Y: c.Y + r*math.Sin(a)}
	}
	return pts
}

// drawEdges sets the direction words at the pane's edges.
func (s *Scene) drawEdges(v View, l *layout, into *Layer) {
	const margin = 14
	for _, e := range s.Edges {
		size := 14 * l.unit
		if e.Large {
			size = 26 * l.unit
		}
		t := Text{Words: e.Words, Size: size, Bold: e.Large, Color: e.Color, Edge: 2 * l.unit}
		w, pad := Advance(t.Words, size, t.Bold), margin*l.unit
		r := v.Pane
		// Left and right words stand high, clear of what is drawn in the middle.
		switch v.EdgeShown(e.Edge) {
		case imaging.Left:
			t.X, t.Y = r.Min.X+pad, r.Min.Y+pad+size
		case imaging.Right:
			t.X, t.Y = r.Max.X-pad-w, r.Min.Y+pad+size
		case imaging.Top:
			t.X, t.Y = r.Centre().X-w/2, r.Min.Y+pad+size*0.8
		case imaging.Bottom:
			t.X, t.Y = r.Centre().X-w/2, r.Max.Y-pad-34*l.unit
		default:
			continue
		}
		l.taken = append(l.taken, t.Box())
		into.Texts = append(into.Texts, t)
	}
}

// BarLength picks a bar of 1, 2 or 5 times a power of ten millimetres that is
// at most a quarter of the pane's width, and gives it in mm and output pixels.
func (b Bar) BarLength(v View) (mm, pixels float64) {
	if !b.Known || b.PerColumn <= 0 || v.Zoom <= 0 {
		return 0, 0
	}
	perPixel := b.PerColumn / v.Zoom // mm for an output pixel: pixels are shown in their true shape
	most := v.Pane.W() / 4 * perPixel
	p := math.Pow(10, math.Floor(math.Log10(most)))
	mm = p
	for _, f := range []float64{2, 5} {
		if f*p <= most {
			mm = f * p
		}
	}
	return mm, mm / perPixel
}

// drawBar sets the scale bar and what it rests on along the foot of the pane,
// or, where marks lie there, in a corner that is free of them.
func (s *Scene) drawBar(v View, l *layout, into *Layer) {
	pad, size := 14*l.unit, 13*l.unit
	y := v.Pane.Max.Y - pad
	ink := White
	if s.Bar.Caution {
		ink = Vermillion
	}
	words, lead := s.Bar.Words, 0.0
	mm, w := s.Bar.BarLength(v)
	if mm > 0 {
		words = fmt.Sprintf("%g mm %s", mm, s.Bar.Words)
		lead = w + 10*l.unit
	}
	left, room := v.Pane.Min.X+pad, v.Pane.W()-2*pad-lead
	x := left
	texts := barTexts(Wrap(words, size, false, room), left+lead, y, size, ink)
	if l.marked(texts) {
		narrow := Wrap(words, size, false, math.Min(room, 0.3*v.Pane.W()))
		wide := 0.0
		for _, line := range narrow {
			wide = math.Max(wide, Advance(line, size, false))
		}
		for _, at := range []float64{left, v.Pane.Max.X - pad - wide - lead} {
			if corner := barTexts(narrow, at+lead, y, size, ink); !l.marked(corner) {
				texts, x = corner, at
				break
			}
		}
	}
	into.Texts = append(into.Texts, texts...)
	for _, t := range texts {
		l.taken = append(l.taken, t.Box())
	}
	if mm <= 0 {
		return
	}
	y -= 4.5 * l.unit
	tick := 4 * l.unit
	d := drafter{unit: l.unit}
	d.strokes(Stroke{Width: 1.8, Color: White, Edge: 1.4},
		[]r2.Vec{{X: x, Y: y}, {X: x + w, Y: y}},
		[]r2.Vec{{X: x, Y: y - tick}, {X: x, Y: y + tick}},
		[]r2.Vec{{X: x + w, Y: y - tick}, {X: x + w, Y: y + tick}})
	into.Lines = append(into.Lines, d.layer.Lines...)
	l.taken = append(l.taken, Box(x, y-tick, w, 2*tick))
}

// barTexts sets lines that end on the baseline y.
func barTexts(lines []string, x, y, size float64, ink colour) []Text {
	var out []Text
	for i, line := range lines {
		out = append(out, Text{X: x, Y: y - float64(len(lines)-1-i)*size*LineHeight, Words: line, Size: size, Color: ink, Edge: size * 0.15})
	}
	return out
}
