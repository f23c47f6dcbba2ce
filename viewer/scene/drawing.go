// Package scene says what is drawn on a frame, once, for every output: the
// window, a picture, a printed sheet.
//
// Three steps lead from marks to ink, and each is a plain value:
//
//   - a Scene holds what there is to draw in image coordinates (SR pixels:
//     x the column, y the row, 0,0 the top left corner of the top left pixel),
//     with stroke widths and text sizes in design units, as a person sees them;
//   - a View says where the image lies in a pane of the output: quarter turns,
//     zoom, pan; there is no mirror, so left never becomes right;
//   - a Drawing is the ink: lines, filled shapes and words in output pixels, in
//     the order they are laid down. A painter needs to know nothing else.
//
// A Scene is built again when marks or placement change, a Drawing when the
// Scene or the View changes; between those, both may be kept and drawn again.
package scene

import (
	"image/color"

	"gonum.org/v1/gonum/spatial/r2"
)

// Line is a stroked polyline in output pixels, with round caps and joins.
// Dashes are already cut: each stroke of a pattern is a Line of its own.
type Line struct {
	Points []r2.Vec
	Closed bool
	Width  float64
	Color  color.NRGBA
}

// Fill is a filled polygon in output pixels.
type Fill struct {
	Points []r2.Vec
	Color  color.NRGBA
}

// Text is one line of words. X, Y is the left end of the baseline in output
// pixels, Size the font's em in output pixels, Edge the width of the dark edge
// round the letters (0: none).
type Text struct {
	X, Y  float64
	Words string
	Size  float64
	Bold  bool
	Color color.NRGBA
	Edge  float64
}

// Box is the text's extent: from ascent to descent, and its advance.
func (t Text) Box() Rect {
	w := Advance(t.Words, t.Size, t.Bold)
	return Rect{Min: r2.Vec{X: t.X, Y: t.Y - ascent*t.Size}, Max: r2.Vec{X: t.X + w, Y: t.Y + descent*t.Size}}
}

// Layer is drawn fills first, then lines, then texts, each in order, and
// nothing of it outside Clip.
type Layer struct {
	Clip  Rect
	Fills []Fill
	Lines []Line
	Texts []Text
}

// Drawing is layers from the bottom up.
type Drawing struct{ Layers []Layer }

// Add lays another drawing on top.
func (d *Drawing) Add(o Drawing) { d.Layers = append(d.Layers, o.Layers...) }

// Rect is an upright rectangle in output pixels.
type Rect struct{ Min, Max r2.Vec }

// Box is the rectangle at x, y with width w and height h.
func Box(x, y, w, h float64) Rect {
	return Rect{Min: r2.Vec{X: x, Y: y}, Max: r2.Vec{X: x + w, Y: y + h}}
}

// W is the width.
func (r Rect) W() float64 { return r.Max.X - r.Min.X }

// H is the height.
func (r Rect) H() float64 { return r.Max.Y - r.Min.Y }

// Centre of the rectangle.
func (r Rect) Centre() r2.Vec {
	return r2.Vec{X: (r.Min.X + r.Max.X) / 2, Y: (r.Min.Y + r.Max.Y) / 2}
}

// Inset moves every side inwards by d.
func (r Rect) Inset(d float64) Rect {
	return Rect{Min: r2.Vec{X: r.Min.X + d, Y: r.Min.Y + d}, Max: r2.Vec{X: r.Max.X - d, Y: r.Max.Y - d}}
}

// Overlaps reports whether the two share any area.
func (r Rect) Overlaps(o Rect) bool {
	return r.Min.X < o.Max.X && o.Min.X < r.Max.X && r.Min.Y < o.Max.Y && o.Min.Y < r.Max.Y
}

// Holds reports whether o lies wholly inside r.
func (r Rect) Holds(o Rect) bool {
	return r.Min.X <= o.Min.X && r.Min.Y <= o.Min.Y && o.Max.X <= r.Max.X && o.Max.Y <= r.Max.Y
}

// Has reports whether the point lies in r.
func (r Rect) Has(p r2.Vec) bool {
	return r.Min.X <= p.X && p.X <= r.Max.X && r.Min.Y <= p.Y && p.Y <= r.Max.Y
}

func (r Rect) corners() []r2.Vec {
	return []r2.Vec{r.Min, {X: r.Max.X, Y: r.Min.Y}, r.Max, {X: r.Min.X, Y: r.Max.Y}}
}
