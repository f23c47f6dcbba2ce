package board

import (
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

func vec(x, y float64) r2.Vec { return r2.Vec{X: x, Y: y} }

// sheet sets the mark sheet and, below it, the numbers of the device and the
// cautions.
func sheet(d *desk.Desk, at Places) Part {
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
	y = numbers(d, p, x0, x1, y+16*u, r.Max.Y)
	cautions(d, p, x0, x1, y+8*u, r.Max.Y)
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

func numbers(d *desk.Desk, p *pen, x0, x1, y, bottom float64) float64 {
	u := p.u
	p.text(x0, y, "Placement", 15, true, scene.White)
	if d.Device() != "" {
		p.text(x0+scene.Advance("Placement ", 15*u, true), y, "of "+d.Device(), 15, true, scene.Style(d.Device()).Color)
	}
	p.right(x1, y, "95 %", 12, false, scene.Grey)
	place, _ := d.Placement()
	var rows []scene.Row
	if d.Device() != "" {
		rows = scene.Numbers(place, d.Device(), imaging.NoView).Rows
	}
	if len(rows) == 0 {
		return p.wrap(x0, y+20*u, x1-x0, "Nothing is measured yet: the sheet above lists what is needed.", 12, scene.Grey, 3)
	}
	for _, missing := range []bool{false, true} {
		for _, row := range rows {
			if (row.Figure == "missing") != missing {
				continue
			}
			if y+22*u > bottom {
				return y
			}
			size, ink := 13.0, scene.White
			step := 20.0
			if row.Head {
				size, step = 18, 26
			}
			if missing {
				ink = scene.Grey
			}
			y += step * u
			w := p.right(x1, y, row.Figure, size, !missing, ink)
			p.fit(x0, y, x1-x0-w-8*u, row.Words, 12, false, scene.Grey)
		}
	}
	return y
}

// cautions about the data, as far as there is room; all stand in the report.
func cautions(d *desk.Desk, p *pen, x0, x1, y, bottom float64) {
	u := p.u
	place, _ := d.Placement()
	for _, c := range place.Cautions {
		y += 18 * u
		if c == scene.CautionDepth || c == scene.CautionReview {
			y -= 18 * u
			continue // stands in the foot
		}
		lines := len(scene.Wrap(c, 11.5*u, false, x1-x0-20*u))
		if y+float64(lines-1)*15*u+4*u > bottom {
			return
		}
		p.warning(x0, y)
		y = p.wrap(x0+20*u, y, x1-x0-20*u, c, 11.5, Warn, 3) - 15*u
	}
}
