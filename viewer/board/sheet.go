package board

import (
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

func vec(x, y float64) r2.Vec { return r2.Vec{X: x, Y: y} }

// sheet sets the mark sheet and, below it, the numbers of the device and the
// cautions.
func sheet(d *desk.Desk, at Places, scenes [2]*scene.Scene) Part {
	u, r := at.Unit, at.Sheet
	p := newPen(r, u)
	part := Part{Name: "sheet", Place: r, Ground: scene.Ground}
	x0, x1, y := r.Min.X, r.Max.X, r.Min.Y+18*u
	p.text(x0, y, "Mark sheet", 15, true, scene.White)
	p.right(x1, y, "for depth and angle", 12, false, scene.Grey)
	y += 9 * u
	needs := d.Sheet()
	high := 38.0
	if room := r.H() * 0.62 / u; float64(len(needs))*high > room {
		high = room / float64(len(needs))
	}
	high = max(high, 27)
	for _, n := range needs {
		place := scene.Box(x0, y, x1-x0, (high-4)*u)
		need(p, place, n)
		part.Hits = append(part.Hits, Hit{place, key(n.Key)})
		y += high * u
	}
	below := scene.Rect{Min: vec(x0, y), Max: vec(x1, r.Max.Y)}
	readout(d, p, below, Cautions(d, scenes))
	part.Hits = append(part.Hits, Hit{below, "r"})
	part.Drawing = p.drawing()
	return part
}

// key as the desk names it.
func key(shown string) string {
	if len(shown) == 1 && shown[0] >= 'A' && shown[0] <= 'Z' {
		return string(shown[0] + 'a' - 'A')
	}
	return shown
}

func need(p *pen, r scene.Rect, n desk.Need) {
	u := p.u
	ground, line := card, cardLine
	if n.Active {
		ground, line = active, scene.Grey
	}
	p.box(r, 4, ground)
	p.frame(r, 4, 1, line)
	mid := r.Centre().Y
	ink := scene.White
	if n.Standing == desk.Done {
		ink = scene.Grey
	}
	p.key(r.Min.X+7*u, mid, n.Key, ink)
	x, width := r.Min.X+37*u, r.W()-(37+28)*u
	if r.H() >= 30*u {
		p.fit(x, mid-2.5*u, width, n.Title, 12.5, false, scene.White)
		p.fit(x, mid+11*u, width, n.Detail, 10.5, false, scene.Grey)
	} else {
		w := p.fit(x, mid+4.5*u, width, n.Title, 12.5, false, scene.White)
		if width-w > 40*u {
			p.fit(x+w+8*u, mid+4.5*u, width-w-8*u, n.Detail, 10.5, false, scene.Grey)
		}
	}
	sx := r.Max.X - 16*u
	switch n.Standing {
	case desk.Done:
		p.tick(sx, mid, scene.White)
	case desk.ToDo:
		p.ring(sx, mid, false, scene.White)
	case desk.Optional:
		p.ring(sx, mid, true, scene.Grey)
	case desk.Waiting:
		p.text(sx-4*u, mid+5*u, "?", 14, true, scene.White)
	}
}
