package board

import (
	"image/color"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/viewer/scene"
)

// pen gathers a layer in design units u.
type pen struct {
	u     float64
	layer scene.Layer
}

func newPen(clip scene.Rect, u float64) *pen { return &pen{u: u, layer: scene.Layer{Clip: clip}} }

func (p *pen) drawing() scene.Drawing { return scene.Drawing{Layers: []scene.Layer{p.layer}} }

// text sets words with their baseline at x, y and gives their width.
func (p *pen) text(x, y float64, words string, size float64, bold bool, c color.NRGBA) float64 {
	p.layer.Texts = append(p.layer.Texts, scene.Text{X: x, Y: y, Words: words, Size: size * p.u, Bold: bold, Color: c})
	return scene.Advance(words, size*p.u, bold)
}

// fit sets words, shortened to a width.
func (p *pen) fit(x, y, width float64, words string, size float64, bold bool, c color.NRGBA) float64 {
	return p.text(x, y, scene.Fit(words, size*p.u, bold, width), size, bold, c)
}

// right sets words that end at x.
func (p *pen) right(x, y float64, words string, size float64, bold bool, c color.NRGBA) float64 {
	w := scene.Advance(words, size*p.u, bold)
	p.text(x-w, y, words, size, bold, c)
	return w
}

// wrap sets words in at most so many lines and gives the baseline after.
func (p *pen) wrap(x, y, width float64, words string, size float64, c color.NRGBA, most int) float64 {
	lines := scene.Wrap(words, size*p.u, false, width)
	if len(lines) > most {
		lines = lines[:most]
		lines[most-1] = scene.Fit(lines[most-1]+" …", size*p.u, false, width)
	}
	for _, l := range lines {
		p.text(x, y, l, size, false, c)
		y += size * scene.LineHeight * p.u
	}
	return y
}

// box fills a rectangle with round corners.
func (p *pen) box(r scene.Rect, radius float64, c color.NRGBA) {
	p.layer.Fills = append(p.layer.Fills, scene.Fill{Points: rounded(r, radius*p.u), Color: c})
}

// frame draws its outline.
func (p *pen) frame(r scene.Rect, radius, width float64, c color.NRGBA) {
	p.layer.Lines = append(p.layer.Lines, scene.Line{Points: rounded(r.Inset(width*p.u/2), radius*p.u), Closed: true, Width: width * p.u, Color: c})
}

func (p *pen) line(width float64, c color.NRGBA, pts ...r2.Vec) {
	p.layer.Lines = append(p.layer.Lines, scene.Line{Points: pts, Width: width * p.u, Color: c})
}

// key draws a key cap and gives its width.
func (p *pen) key(x, y float64, name string, c color.NRGBA) float64 {
	size := 12.0
	w := scene.Advance(name, size*p.u, true) + 12*p.u
	if w < 22*p.u {
		w = 22 * p.u
	}
	r := scene.Box(x, y-11*p.u, w, 22*p.u)
	p.frame(r, 4, 1, c)
	p.text(x+(w-scene.Advance(name, size*p.u, true))/2, y+4.4*p.u, name, size, true, c)
	return w
}

// tick is the sign of what is there.
func (p *pen) tick(x, y float64, c color.NRGBA) {
	u := p.u
	p.line(1.8, c, r2.Vec{X: x - 6*u, Y: y}, r2.Vec{X: x - 2*u, Y: y + 4.5*u}, r2.Vec{X: x + 6.5*u, Y: y - 5*u})
}

// ring is the sign of what is still to do, with a gap where it may stay so.
func (p *pen) ring(x, y float64, open bool, c color.NRGBA) {
	ring := circle(r2.Vec{X: x, Y: y}, 5*p.u)
	if !open {
		p.layer.Lines = append(p.layer.Lines, scene.Line{Points: ring, Closed: true, Width: 1.6 * p.u, Color: c})
		return
	}
	for i := 0; i < len(ring); i += 4 {
		p.line(1.4, c, ring[i], ring[(i+1)%len(ring)], ring[(i+2)%len(ring)])
	}
}

// warning is the sign before a caution.
func (p *pen) warning(x, y float64) {
	u, c := p.u, Warn
	at := func(dx, dy float64) r2.Vec { return r2.Vec{X: x + dx*u, Y: y + dy*u} }
	p.layer.Lines = append(p.layer.Lines, scene.Line{Points: []r2.Vec{at(7, -11.5), at(14, 1), at(0, 1)}, Closed: true, Width: 1.5 * u, Color: c})
	p.line(1.5, c, at(7, -7), at(7, -3.8))
	p.line(1.7, c, at(7, -1.3), at(7, -1.2))
}

// swatch shows how a device is drawn and gives the room it took.
func (p *pen) swatch(x, y float64, s scene.DeviceStyle) float64 {
	place := scene.Box(x-4*p.u, y-14*p.u, 48*p.u, 28*p.u)
	v := scene.View{Zoom: 1, Shape: r2.Vec{X: 1, Y: 1}, Unit: p.u, Pane: place, Centre: place.Centre()}
	sc := scene.Scene{
		Paths: []scene.Path{{Points: []r2.Vec{{X: x + 8*p.u, Y: y}, {X: x + 34*p.u, Y: y}},
			Stroke: scene.Stroke{Width: 2.2, Color: s.Color, Dash: s.Dash}}},
		Symbols: []scene.Symbol{{At: r2.Vec{X: x + 7*p.u, Y: y}, Shape: s.Tip, Size: 12, Fill: scene.Ground,
			Stroke: scene.Stroke{Width: 2, Color: s.Color}}},
	}
	for _, l := range sc.Draw(v).Layers {
		p.layer.Lines = append(p.layer.Lines, l.Lines...)
	}
	return 42 * p.u
}

// rounded is the outline of a rectangle with round corners.
func rounded(r scene.Rect, radius float64) []r2.Vec {
	if radius <= 0 {
		return []r2.Vec{r.Min, {X: r.Max.X, Y: r.Min.Y}, r.Max, {X: r.Min.X, Y: r.Max.Y}}
	}
	var out []r2.Vec
	inner := r.Inset(radius)
	for i, c := range []r2.Vec{{X: inner.Max.X, Y: inner.Max.Y}, {X: inner.Min.X, Y: inner.Max.Y}, inner.Min, {X: inner.Max.X, Y: inner.Min.Y}} {
		out = append(out, arc(c, radius, i)...)
	}
	return out
}
