package scene

import (
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

type colour = color.NRGBA

// layout finds places for labels: each inside the pane, none on another's
// words, and where there is a choice off the lines and symbols.
type layout struct {
	view    View
	unit    float64
	taken   []Rect // words, which nothing may cover
	symbols []Rect
	ink     inkGrid
}

func newLayout(v View, unit float64, lines []Line) *layout {
	l := &layout{view: v, unit: unit}
	l.ink.fill(v.Pane, 6*unit, lines)
	return l
}

const (
	boxPad  = 8.0 // inside a boxed label, design units
	wordGap = 4.0 // least distance between words, design units
)

// size of a label with its padding, in output pixels.
func (l *layout) size(label Label) (w, h float64) {
	for i, r := range label.Lines {
		w = math.Max(w, Advance(r.Words, r.Size, r.Bold)*l.unit)
		step := LineHeight
		if i == 0 {
			step = ascent
		}
		h += r.Size * step * l.unit
	}
	if n := len(label.Lines); n > 0 {
		h += descent * label.Lines[n-1].Size * l.unit
	}
	if label.Boxed {
		w, h = w+2*boxPad*l.unit, h+1.5*boxPad*l.unit
	}
	return w, h
}

// directions a label may stand in from its anchor, the best first.
var directions = []r2.Vec{
	{X: 1, Y: 0}, {X: -1, Y: 0}, {X: 0.75, Y: -0.75}, {X: 0.75, Y: 0.75}, {X: -0.75, Y: -0.75}, {X: -0.75, Y: 0.75}, {X: 0, Y: -1}, {X: 0, Y: 1},
	{X: 0.95, Y: -0.4}, {X: 0.95, Y: 0.4}, {X: -0.95, Y: -0.4}, {X: -0.95, Y: 0.4},
}

// reaches are how far beyond its clear space a label may stand off, in design
// units.
var reaches = []float64{0, 14, 34, 62, 100, 150}

// place finds the label's place and draws it.
func (l *layout) place(label Label, into *Layer) {
	if len(label.Lines) == 0 || label.Lines[0].Words == "" {
		return
	}
	w, h := l.size(label)
	inner := l.view.Pane.Inset(6 * l.unit)
	best, bestCost, bestAnchor := Rect{}, math.Inf(1), r2.Vec{}
	for ai, a := range label.Anchors {
		at := l.view.ToPane(a)
		if !l.view.Pane.Has(at) {
			if !label.Must {
				continue
			}
			at = clamp(at, inner) // the thing lies outside: its name stands at the edge
		}
		for ri, reach := range reaches {
			if ri > 2 && !label.Must && !label.Boxed {
				break
			}
			for di, dir := range directions {
				r := standOff(at, dir, (label.Clear+reach)*l.unit, w, h)
				if !inner.Holds(r) || l.covers(r) {
					continue
				}
				cost := 0.4*float64(ai) + 1.1*float64(ri) + 0.12*float64(di) + l.crossed(r)
				if cost < bestCost {
					best, bestCost, bestAnchor = r, cost, at
				}
			}
		}
	}
	if math.IsInf(bestCost, 1) {
		if !label.Must {
			return
		}
		// A name that must be said is said in the corner nearest to its place.
		var ok bool
		if best, ok = l.anywhere(inner, w, h, l.view.ToPane(label.Anchors[0])); !ok {
			return
		}
		bestAnchor = l.view.ToPane(label.Anchors[0])
	}
	l.taken = append(l.taken, best)
	l.draw(label, best, bestAnchor, into)
}

func clamp(p r2.Vec, r Rect) r2.Vec {
	return r2.Vec{X: math.Max(r.Min.X, math.Min(r.Max.X, p.X)), Y: math.Max(r.Min.Y, math.Min(r.Max.Y, p.Y))}
}

// standOff is the box of w by h that stands in the direction from the point
// with its nearest edge gap away.
func standOff(at, dir r2.Vec, gap, w, h float64) Rect {
	c := r2.Vec{X: at.X + dir.X*gap, Y: at.Y + dir.Y*gap}
	// Where the box touches: its side for level directions, its corner for slant.
	half := func(d, s float64) float64 {
		switch {
		case d > 0.2:
			return s / 2
		case d < -0.2:
			return -s / 2
		}
		return 0
	}
	c.X += half(dir.X, w)
	if math.Abs(dir.X) < 0.9 {
		c.Y += half(dir.Y, h)
	} else {
		c.Y += dir.Y * h / 2
	}
	return Box(c.X-w/2, c.Y-h/2, w, h)
}

func (l *layout) covers(r Rect) bool {
	g := r.Inset(-wordGap * l.unit)
	for _, t := range l.taken {
		if g.Overlaps(t) {
			return true
		}
	}
	return false
}

// crossed is the cost of standing on lines and symbols.
func (l *layout) crossed(r Rect) float64 {
	cost := 0.35 * l.ink.count(r)
	for _, s := range l.symbols {
		if r.Overlaps(s) {
			cost += 6
		}
	}
	return cost
}

// marked reports whether words would stand on a line or symbol.
func (l *layout) marked(texts []Text) bool {
	for _, t := range texts {
		if l.crossed(t.Box()) > 0 {
			return true
		}
	}
	return false
}

// anywhere is the free place nearest to the point on a coarse grid.
func (l *layout) anywhere(inner Rect, w, h float64, near r2.Vec) (Rect, bool) {
	step := 12 * l.unit
	best, found, dist := Rect{}, false, math.Inf(1)
	for y := inner.Min.Y; y+h <= inner.Max.Y; y += step {
		for x := inner.Min.X; x+w <= inner.Max.X; x += step {
			r := Box(x, y, w, h)
			if d := r2.Norm(r2.Sub(r.Centre(), near)); d < dist && !l.covers(r) {
				best, found, dist = r, true, d
			}
		}
	}
	return best, found
}

// draw sets the label's words, its box and, where it stands well off, a leader.
func (l *layout) draw(label Label, r Rect, anchor r2.Vec, into *Layer) {
	near := clamp(anchor, r)
	if gap := r2.Norm(r2.Sub(near, anchor)); gap > (label.Clear+22)*l.unit && l.view.Pane.Has(anchor) {
		from := r2.Add(anchor, r2.Scale(label.Clear*l.unit/gap, r2.Sub(near, anchor)))
		c := label.Accent
		if c.A == 0 {
			c = label.Lines[0].Color
		}
		into.Lines = append(into.Lines,
			Line{Points: []r2.Vec{from, near}, Width: 3 * l.unit, Color: Dark},
			Line{Points: []r2.Vec{from, near}, Width: l.unit, Color: c})
	}
	x, y := r.Min.X, r.Min.Y
	edge := 2 * l.unit
	if label.Boxed {
		into.Fills = append(into.Fills, Fill{Points: r.corners(), Color: withAlpha(Panel, 0xE6)})
		accent := Box(r.Min.X, r.Min.Y, 3*l.unit, r.H())
		into.Fills = append(into.Fills, Fill{Points: accent.corners(), Color: label.Accent})
		x, y = x+boxPad*l.unit, y+0.75*boxPad*l.unit
		edge = 0
	}
	for i, run := range label.Lines {
		step := LineHeight
		if i == 0 {
			step = ascent
		}
		y += run.Size * step * l.unit
		into.Texts = append(into.Texts, Text{X: x, Y: y, Words: run.Words, Size: run.Size * l.unit, Bold: run.Bold, Color: run.Color, Edge: edge})
	}
}

// inkGrid counts how much line lies in a rectangle, by a summed table over
// coarse cells.
type inkGrid struct {
	at         r2.Vec
	cell       float64
	cols, rows int
	sum        []float64 // (cols+1)*(rows+1)
}

func (g *inkGrid) fill(pane Rect, cell float64, lines []Line) {
	g.at, g.cell = pane.Min, cell
	g.cols, g.rows = max(0, int(math.Ceil(pane.W()/cell))), max(0, int(math.Ceil(pane.H()/cell)))
	g.sum = make([]float64, (g.cols+1)*(g.rows+1))
	if g.cols <= 0 || g.rows <= 0 {
		return
	}
	mark := func(p r2.Vec) {
		x, y := int((p.X-g.at.X)/cell), int((p.Y-g.at.Y)/cell)
		if p.X >= g.at.X && p.Y >= g.at.Y && x < g.cols && y < g.rows {
			g.sum[(y+1)*(g.cols+1)+x+1] = 1
		}
	}
	for _, line := range lines {
		for i := 1; i < len(line.Points); i++ {
			a, b := line.Points[i-1], line.Points[i]
			from, to, seen := within(a, b, pane)
			if !seen {
				continue
			}
			d := r2.Sub(b, a)
			a, d = r2.Add(a, r2.Scale(from, d)), r2.Scale(to-from, d)
			n := int(r2.Norm(d)/(cell/2)) + 1
			for k := 0; k <= n; k++ {
				mark(r2.Add(a, r2.Scale(float64(k)/float64(n), d)))
			}
		}
	}
	for y := 1; y <= g.rows; y++ {
		for x := 1; x <= g.cols; x++ {
			i := y*(g.cols+1) + x
			g.sum[i] += g.sum[i-1] + g.sum[i-g.cols-1] - g.sum[i-g.cols-2]
		}
	}
}

// count is how many cells with line in them the rectangle touches.
func (g *inkGrid) count(r Rect) float64 {
	if g.cols <= 0 || g.rows <= 0 {
		return 0
	}
	clip := func(v float64, most int) int { return int(math.Max(0, math.Min(float64(most), v))) }
	x0, y0 := clip(math.Floor((r.Min.X-g.at.X)/g.cell), g.cols), clip(math.Floor((r.Min.Y-g.at.Y)/g.cell), g.rows)
	x1, y1 := clip(math.Ceil((r.Max.X-g.at.X)/g.cell), g.cols), clip(math.Ceil((r.Max.Y-g.at.Y)/g.cell), g.rows)
	w := g.cols + 1
	return g.sum[y1*w+x1] - g.sum[y0*w+x1] - g.sum[y1*w+x0] + g.sum[y0*w+x0]
}
