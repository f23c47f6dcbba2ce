// Package paint lays scenes down as pictures without a window: anti-aliased
// strokes and letters on an 8-bit image, and PNG files that hold pixels alone.
package paint

import (
	"image"
	"image/color"
	"image/draw"
	"math"

	"golang.org/x/image/vector"
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/viewer/scene"
)

// Draw lays the drawing's layers down on the picture, whose pixels are the
// drawing's output pixels.
func Draw(dst *image.RGBA, d scene.Drawing) {
	p := painter{dst: dst}
	for _, l := range d.Layers {
		p.clip = bounds(l.Clip).Intersect(dst.Bounds())
		if p.clip.Empty() {
			continue
		}
		for _, f := range l.Fills {
			p.fill(f)
		}
		for _, line := range l.Lines {
			p.line(line)
		}
		for _, t := range l.Texts {
			p.text(t)
		}
	}
}

func bounds(r scene.Rect) image.Rectangle {
	return image.Rect(int(math.Floor(r.Min.X)), int(math.Floor(r.Min.Y)), int(math.Ceil(r.Max.X)), int(math.Ceil(r.Max.Y)))
}

type painter struct {
	dst    *image.RGBA
	clip   image.Rectangle
	raster vector.Rasterizer
	loops  [][]r2.Vec // outlines being gathered
}

func (p *painter) fill(f scene.Fill) {
	p.loops = append(p.loops[:0], f.Points)
	p.ink(f.Color)
}

// line covers a stroke with outlines that all turn the same way, so that where
// they overlap the rasterizer's coverage stops at full.
func (p *painter) line(l scene.Line) {
	p.loops = p.loops[:0]
	p.stroke(l.Points, l.Closed, l.Width/2)
	p.ink(l.Color)
}

func (p *painter) stroke(pts []r2.Vec, closed bool, half float64) {
	if len(pts) == 0 || half <= 0 {
		return
	}
	for i := 0; i < len(pts); i++ {
		// Between stretches that hardly turn, the disc would add nothing.
		if i > 0 && i < len(pts)-1 && straight(pts[i-1], pts[i], pts[i+1]) && half < 3 {
			continue
		}
		p.loops = append(p.loops, disc(pts[i], half))
	}
	n := len(pts) - 1
	if closed {
		n++
	}
	for i := 0; i < n; i++ {
		a, b := pts[i], pts[(i+1)%len(pts)]
		d := r2.Sub(b, a)
		length := r2.Norm(d)
		if length == 0 {
			continue
		}
		o := r2.Scale(half/length, r2.Vec{X: -d.Y, Y: d.X})
		p.loops = append(p.loops, []r2.Vec{r2.Sub(a, o), r2.Sub(b, o), r2.Add(b, o), r2.Add(a, o)})
	}
}

func straight(a, b, c r2.Vec) bool {
	u, v := r2.Sub(b, a), r2.Sub(c, b)
	n := r2.Norm(u) * r2.Norm(v)
	return n > 0 && r2.Dot(u, v)/n > 0.9995
}

func disc(c r2.Vec, r float64) []r2.Vec {
	n := 8 + int(3*math.Sqrt(r)*2)
	pts := make([]r2.Vec, n)
	for i := range pts {
		s, k := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		pts[i] = r2.Vec{X: c.X + r*k, Y: c.Y + r*s}
	}
	return pts
}

// ink fills the gathered outlines with one colour.
func (p *painter) ink(c color.NRGBA) {
	lo, hi := r2.Vec{X: math.Inf(1), Y: math.Inf(1)}, r2.Vec{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, loop := range p.loops {
		for _, q := range loop {
			lo = r2.Vec{X: math.Min(lo.X, q.X), Y: math.Min(lo.Y, q.Y)}
			hi = r2.Vec{X: math.Max(hi.X, q.X), Y: math.Max(hi.Y, q.Y)}
		}
	}
	if !(lo.X <= hi.X) {
		return
	}
	// What lies far outside may be cut away before whole numbers run out.
	clamp := func(v float64) int { return int(math.Max(-1e6, math.Min(1e6, v))) }
	box := image.Rect(clamp(math.Floor(lo.X)), clamp(math.Floor(lo.Y)), clamp(math.Ceil(hi.X))+1, clamp(math.Ceil(hi.Y))+1).Intersect(p.clip)
	if box.Empty() {
		return
	}
	p.raster.Reset(box.Dx(), box.Dy())
	p.raster.DrawOp = draw.Over
	for _, loop := range p.loops {
		for i, q := range loop {
			x, y := float32(q.X-float64(box.Min.X)), float32(q.Y-float64(box.Min.Y))
			if i == 0 {
				p.raster.MoveTo(x, y)
			} else {
				p.raster.LineTo(x, y)
			}
		}
		p.raster.ClosePath()
	}
	p.raster.Draw(p.dst, box, image.NewUniform(c), image.Point{})
}
