package board

import (
	"math"

	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

// keys lists every key, in as large letters as leave room for all.
func keys(at Places) *Part {
	u := at.Unit
	w, h := min(1180*u, at.Whole.W()-30*u), min(680*u, at.Whole.H()-30*u)
	part, p, r := overlay(at, w, h, true)
	p.text(r.Min.X+26*u, r.Min.Y+34*u, "Keys", 19, true, scene.White)
	p.right(r.Max.X-26*u, r.Min.Y+34*u, "any key closes this list", 12.5, false, scene.Grey)
	room := scene.Rect{Min: vec(r.Min.X+26*u, r.Min.Y+62*u), Max: vec(r.Max.X-12*u, r.Max.Y-10*u)}
	list := keyList{room: room, u: u}
	for _, list.size = range []float64{12.5, 12, 11.5, 11, 10.5, 10, 9.5, 9} {
		for _, list.columns = range []int{3, 4, 5} {
			if list.set(newPen(r, u)) {
				list.set(p)
				part.Drawing = p.drawing()
				return part
			}
		}
	}
	list.set(p)
	part.Drawing = p.drawing()
	return part
}

// keyList sets the groups of keys in columns of a room, in letters of a size.
type keyList struct {
	room    scene.Rect
	u, size float64
	columns int
}

// set reports whether all found room. A group stays in one column.
func (l keyList) set(p *pen) bool {
	u := l.u
	column := l.room.W() / float64(l.columns)
	x, y := l.room.Min.X, l.room.Min.Y
	for i, g := range desk.Bindings() {
		scratch := newPen(l.room, u)
		end := l.group(scratch, g.Title, g.Lines, x, y, column)
		if i > 0 && end > l.room.Max.Y {
			x, y = x+column, l.room.Min.Y
			end = l.group(newPen(l.room, u), g.Title, g.Lines, x, y, column)
		}
		if end > l.room.Max.Y || x+column > l.room.Max.X+1 {
			return false
		}
		y = l.group(p, g.Title, g.Lines, x, y, column) + 10*u
	}
	return true
}

// group sets a title and its keys below y and gives where the next may begin.
func (l keyList) group(p *pen, title string, lines []desk.Binding, x, y, column float64) float64 {
	u := l.u
	y += l.size * u
	p.text(x, y, title, l.size+2, true, scene.White)
	y += 1.75 * l.size * u
	wide := 0.0
	for _, b := range lines {
		wide = math.Max(wide, scene.Advance(b.Keys, l.size*u, true)+10*u)
	}
	for _, b := range lines {
		p.text(x, y, b.Keys, l.size, true, scene.White)
		y = p.wrap(x+wide, y, column-wide-12*u, b.Text, l.size, scene.Grey, 3) + (1.62-scene.LineHeight)*l.size*u
	}
	return y - l.size*u
}
