package paint

import (
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/viewer/scene"
)

// outlineSize is the em at which outlines are read; they scale without hints.
const outlineSize = 1024

type glyph struct {
	loops   [][]r2.Vec // of the em, y downwards from the baseline
	advance float64
}

var glyphs struct {
	sync.Mutex
	font   [2]*sfnt.Font
	buffer sfnt.Buffer
	of     [2]map[rune]glyph
}

// outline of a letter of the scene's fonts, with its curves in short straight
// stretches.
func outline(r rune, bold bool) glyph {
	glyphs.Lock()
	defer glyphs.Unlock()
	i := 0
	if bold {
		i = 1
	}
	if g, ok := glyphs.of[i][r]; ok {
		return g
	}
	if glyphs.font[i] == nil {
		f, err := sfnt.Parse(scene.FontData(bold))
		if err != nil {
			return glyph{}
		}
		glyphs.font[i], glyphs.of[i] = f, map[rune]glyph{}
	}
	f := glyphs.font[i]
	var g glyph
	if at, err := f.GlyphIndex(&glyphs.buffer, r); err == nil {
		if a, err := f.GlyphAdvance(&glyphs.buffer, at, fixed.I(outlineSize), font.HintingNone); err == nil {
			g.advance = float64(a) / 64 / outlineSize
		}
		if segs, err := f.LoadGlyph(&glyphs.buffer, at, fixed.I(outlineSize), nil); err == nil {
			g.loops = flatten(segs)
		}
	}
	glyphs.of[i][r] = g
	return g
}

func flatten(segs sfnt.Segments) [][]r2.Vec {
	vec := func(p fixed.Point26_6) r2.Vec {
		return r2.Vec{X: float64(p.X) / 64 / outlineSize, Y: float64(p.Y) / 64 / outlineSize}
	}
	var loops [][]r2.Vec
	var loop []r2.Vec
	for _, s := range segs {
		a := vec(s.Args[0])
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			if len(loop) > 2 {
				loops = append(loops, loop)
			}
			loop = []r2.Vec{a}
		case sfnt.SegmentOpLineTo:
			loop = append(loop, a)
		case sfnt.SegmentOpQuadTo:
			from, b := loop[len(loop)-1], vec(s.Args[1])
			const n = 5
			for k := 1; k <= n; k++ {
				t := float64(k) / n
				loop = append(loop, r2.Add(r2.Add(r2.Scale((1-t)*(1-t), from), r2.Scale(2*t*(1-t), a)), r2.Scale(t*t, b)))
			}
		case sfnt.SegmentOpCubeTo:
			from, b, c := loop[len(loop)-1], vec(s.Args[1]), vec(s.Args[2])
			const n = 8
			for k := 1; k <= n; k++ {
				t := float64(k) / n
				u := 1 - t
				p := r2.Add(r2.Scale(u*u*u, from), r2.Scale(3*u*u*t, a))
				loop = append(loop, r2.Add(p, r2.Add(r2.Scale(3*u*t*t, b), r2.Scale(t*t*t, c))))
			}
		}
	}
	if len(loop) > 2 {
		loops = append(loops, loop)
	}
	return loops
}

// text sets a line of words: first its dark edge, then the letters.
func (p *painter) text(t scene.Text) {
	var loops [][]r2.Vec
	x := t.X
	for _, r := range t.Words {
		g := outline(r, t.Bold)
		for _, l := range g.loops {
			out := make([]r2.Vec, len(l))
			for i, q := range l {
				out[i] = r2.Vec{X: x + q.X*t.Size, Y: t.Y + q.Y*t.Size}
			}
			loops = append(loops, out)
		}
		x += g.advance * t.Size
	}
	if t.Edge > 0 {
		p.loops = p.loops[:0]
		for _, l := range loops {
			p.stroke(l, true, t.Edge)
		}
		p.ink(scene.Dark)
	}
	p.loops = append(p.loops[:0], loops...)
	p.ink(t.Color)
}
