package window

import (
	"image"
	"image/color"
	"math"

	"github.com/hajimehoshi/ebiten/v2"
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/viewer/scene"
)

// ink lays drawings down on the screen: all fills and strokes of a layer as
// one list of triangles with soft edges, all words from pictures kept of them.
type ink struct {
	profiles *profiles
	vertices []ebiten.Vertex
	indices  []uint16
	thin     []r2.Vec // a line's points, thinned
	words    *wordStore
}

func newInk() *ink {
	return &ink{profiles: newProfiles(), words: newWordStore()}
}

// draw lays a drawing down.
func (k *ink) draw(dst *ebiten.Image, d scene.Drawing) {
	for _, l := range d.Layers {
		clip := pixels(l.Clip).Intersect(dst.Bounds())
		if clip.Empty() {
			continue
		}
		part := dst.SubImage(clip).(*ebiten.Image)
		for _, f := range l.Fills {
			k.fill(f.Points, f.Color)
		}
		for _, line := range l.Lines {
			k.stroke(part, line)
		}
		k.flush(part)
		for _, t := range l.Texts {
			k.words.draw(part, t)
		}
	}
}

func pixels(r scene.Rect) image.Rectangle {
	return image.Rect(int(math.Floor(r.Min.X)), int(math.Floor(r.Min.Y)), int(math.Ceil(r.Max.X)), int(math.Ceil(r.Max.Y)))
}

func (k *ink) flush(dst *ebiten.Image) {
	if len(k.indices) > 0 {
		dst.DrawTriangles(k.vertices, k.indices, k.profiles.image, &ebiten.DrawTrianglesOptions{
			ColorScaleMode: ebiten.ColorScaleModePremultipliedAlpha, Filter: ebiten.FilterLinear})
	}
	k.vertices, k.indices = k.vertices[:0], k.indices[:0]
}

// vertex adds a corner of a colour at part of its strength and gives its index.
func (k *ink) vertex(p r2.Vec, c color.NRGBA, strength float64) uint16 {
	a := float32(c.A) / 255 * float32(strength)
	k.vertices = append(k.vertices, ebiten.Vertex{
		DstX: float32(p.X), DstY: float32(p.Y), SrcX: whiteAt, SrcY: whiteAt,
		ColorR: float32(c.R) / 255 * a, ColorG: float32(c.G) / 255 * a, ColorB: float32(c.B) / 255 * a, ColorA: a,
	})
	return uint16(len(k.vertices) - 1)
}

func (k *ink) triangle(a, b, c uint16) { k.indices = append(k.indices, a, b, c) }

// fill covers a convex outline: every outline the scenes fill is one.
func (k *ink) fill(pts []r2.Vec, c color.NRGBA) {
	if len(pts) < 3 {
		return
	}
	first := k.vertex(pts[0], c, 1)
	prev := k.vertex(pts[1], c, 1)
	for _, p := range pts[2:] {
		next := k.vertex(p, c, 1)
		k.triangle(first, prev, next)
		prev = next
	}
}

// room is how many vertices one call may hold, less those of the longest line.
const room = 60000

// stroke adds a line as bands of two triangles a stretch; a picture of the
// line's profile across gives it soft edges.
func (k *ink) stroke(dst *ebiten.Image, l scene.Line) {
	if len(k.vertices)+4*len(l.Points)+64 > room {
		k.flush(dst)
	}
	half := l.Width / 2
	if len(l.Points) == 1 {
		k.disc(l.Points[0], half, l.Color)
		return
	}
	k.thin = thinned(k.thin[:0], l.Points)
	pts := k.thin
	n := len(pts)
	if n < 2 {
		return
	}
	strength := 1.0
	if half < 0.5 { // thinner than a pixel: fainter instead
		strength, half = 2*half, 0.5
	}
	begin := 0
	for i := 1; i < n-1; i++ {
		// At a sharp corner the strip ends and a round joint covers the gap.
		if sharp(pts[i-1], pts[i], pts[i+1]) {
			k.strip(pts[begin:i+1], false, half, l.Color, strength)
			k.joint(pts[i], half, l.Color, strength)
			begin = i
		}
	}
	closed := l.Closed && n > 2
	if closed && begin == 0 && !sharp(pts[n-2], pts[n-1], pts[0]) && !sharp(pts[n-1], pts[0], pts[1]) {
		k.strip(pts, true, half, l.Color, strength)
		return
	}
	k.strip(pts[begin:], false, half, l.Color, strength)
	if closed {
		k.strip([]r2.Vec{pts[n-1], pts[0]}, false, half, l.Color, strength)
		k.joint(pts[0], half, l.Color, strength)
		k.joint(pts[n-1], half, l.Color, strength)
	}
}

// thinned leaves out points that lie within a seventh of a pixel of the line
// through those kept: no eye sees the difference.
func thinned(out, pts []r2.Vec) []r2.Vec {
	const near = 0.15
	out = append(out, pts[0])
	from := 0
	for i := 2; i < len(pts); i++ {
		a, d := pts[from], unit(r2.Sub(pts[i], pts[from]))
		for j := from + 1; j < i; j++ {
			b := r2.Sub(pts[j], a)
			if off := b.X*d.Y - b.Y*d.X; off > near || off < -near || r2.Dot(b, d) < 0 {
				out = append(out, pts[i-1])
				from = i - 1
				break
			}
		}
	}
	if len(pts) > 1 {
		out = append(out, pts[len(pts)-1])
	}
	return out
}

// joint rounds a corner where it can be seen.
func (k *ink) joint(p r2.Vec, half float64, c color.NRGBA, strength float64) {
	if half > 1.4 {
		c.A = uint8(float64(c.A) * strength)
		k.disc(p, half, c)
	}
}

func sharp(a, b, c r2.Vec) bool {
	u, v := r2.Sub(b, a), r2.Sub(c, b)
	n := r2.Norm(u) * r2.Norm(v)
	return n > 0 && r2.Dot(u, v)/n < 0.5
}

// strip covers a line with a band whose edges the profile picture softens; an
// open end reaches half the line's width further.
func (k *ink) strip(pts []r2.Vec, closed bool, half float64, c color.NRGBA, strength float64) {
	n := len(pts)
	if n < 2 {
		return
	}
	low, high, y := k.profiles.of(half)
	reach := half + profileMargin
	var last, first [2]uint16
	have := false
	for i, p := range pts {
		var in, out r2.Vec
		switch {
		case closed || i > 0 && i < n-1:
			in, out = unit(r2.Sub(p, pts[(i+n-1)%n])), unit(r2.Sub(pts[(i+1)%n], p))
		case i == 0:
			out = unit(r2.Sub(pts[1], p))
			in = out
			p = r2.Sub(p, r2.Scale(half*0.8, out))
		default:
			in = unit(r2.Sub(p, pts[i-1]))
			out = in
			p = r2.Add(p, r2.Scale(half*0.8, in))
		}
		d := r2.Add(in, out)
		if r2.Norm(d) < 1e-9 {
			continue
		}
		d = unit(d)
		normal := r2.Vec{X: -d.Y, Y: d.X}
		miter := 1.0
		if cos := r2.Dot(normal, r2.Vec{X: -out.Y, Y: out.X}); cos > 0.5 {
			miter = 1 / cos
		}
		side := r2.Scale(reach*miter, normal)
		row := [2]uint16{k.vertex(r2.Add(p, side), c, strength), k.vertex(r2.Sub(p, side), c, strength)}
		k.vertices[row[0]].SrcX, k.vertices[row[0]].SrcY = low, y
		k.vertices[row[1]].SrcX, k.vertices[row[1]].SrcY = high, y
		if have {
			k.join(last, row)
		} else {
			first = row
		}
		last, have = row, true
	}
	if closed && have {
		k.join(last, first)
	}
}

func (k *ink) join(a, b [2]uint16) {
	k.triangle(a[0], a[1], b[0])
	k.triangle(b[0], a[1], b[1])
}

// disc fills a circle with a soft edge.
func (k *ink) disc(p r2.Vec, r float64, c color.NRGBA) {
	n := 6 + int(3*math.Sqrt(r))
	centre := k.vertex(p, c, 1)
	var in, out, in0, out0 uint16
	for i := range n {
		s, co := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		d := r2.Vec{X: co, Y: s}
		a := k.vertex(r2.Add(p, r2.Scale(math.Max(r-0.5, 0), d)), c, 1)
		b := k.vertex(r2.Add(p, r2.Scale(r+0.5, d)), c, 0)
		if i == 0 {
			in0, out0 = a, b
		} else {
			k.wedge(centre, in, out, a, b)
		}
		in, out = a, b
	}
	k.wedge(centre, in, out, in0, out0)
}

func (k *ink) wedge(centre, in, out, in2, out2 uint16) {
	k.triangle(centre, in, in2)
	k.triangle(in, out, in2)
	k.triangle(in2, out, out2)
}

func unit(v r2.Vec) r2.Vec {
	n := r2.Norm(v)
	if n == 0 {
		return r2.Vec{}
	}
	return r2.Scale(1/n, v)
}
