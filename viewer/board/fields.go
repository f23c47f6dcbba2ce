package board

import (
	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

// fields of a question that asks for several lines, one below the other.
func fields(q *desk.Question, at Places) *Part {
	u := at.Unit
	w := min(560*u, at.Whole.W()-40*u)
	const line = 27.0
	detail := scene.Wrap(q.Detail, 12.5*u, false, w-40*u)
	h := (92+line*float64(len(q.Fields)))*u + float64(min(len(detail), 3))*17*u + 34*u
	part, p, r := overlay(at, w, h, true)
	x, y := r.Min.X+20*u, r.Min.Y+32*u
	p.text(x, y, q.Title, 17, true, scene.White)
	y = p.wrap(x, y+22*u, w-40*u, q.Detail, 12.5, scene.Grey, 3) + 10*u
	const label = 112.0
	for i, f := range q.Fields {
		place := scene.Box(x+label*u, y-14*u, w-(40+label)*u, (line-4)*u)
		p.box(place, 4, scene.Ground)
		ink, edge, text := scene.Grey, cardLine, f.Text
		if i == q.At {
			ink, edge, text = scene.White, scene.Grey, f.Text+"│"
		}
		p.frame(place, 4, 1, edge)
		p.text(x, y+3*u, f.Label, 13, i == q.At, ink)
		room := place.W() - 16*u
		shown := []rune(text)
		for len(shown) > 1 && scene.Advance(string(shown), 13.5*u, false) > room {
			shown = shown[1:] // the end is typed at
		}
		used := p.text(place.Min.X+8*u, y+3*u, string(shown), 13.5, false, scene.White)
		if left := room - used - 14*u; left > 60*u && scene.Advance(f.Hint, 11.5*u, false) <= left {
			p.right(place.Max.X-8*u, y+3*u, f.Hint, 11.5, false, scene.Grey)
		}
		y += line * u
	}
	hint := q.Fields[q.At].Hint
	if q.Fault != "" {
		p.wrap(x, y+6*u, w-40*u, q.Fault, 12, Warn, 2)
	} else {
		p.wrap(x, y+6*u, w-40*u, q.Fields[q.At].Label+": "+hint, 12, scene.Grey, 2)
	}
	p.text(x, r.Max.Y-14*u, "Enter keeps it, Tab goes on, Esc leaves all as it was", 12, false, scene.Grey)
	part.Drawing = p.drawing()
	return part
}
