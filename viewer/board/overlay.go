package board

import (
	"image/color"

	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

var veil = color.NRGBA{0x08, 0x09, 0x0B, 0xB0}

// Overlay is what lies over the board for now: the caution, a question, a list
// to choose from, the list of keys; nil when there is none.
func Overlay(d *desk.Desk, at Places, scenes [2]*scene.Scene) *Part {
	if t, on := d.Opening(); on && !d.Caution() {
		return opening(t, at)
	}
	switch {
	case d.Caution():
		return caution(at)
	case d.Question() != nil:
		return question(d.Question(), at)
	case d.Cases() != nil:
		return cases(d.Cases(), at)
	case d.Chooser() != nil:
		return chooser(d, at)
	case d.Help():
		return keys(at)
	}
	if page, on := d.Full(); on {
		return full(d, at, scenes, page)
	}
	return nil
}

func overlay(at Places, w, h float64, veiled bool) (*Part, *pen, scene.Rect) {
	films := scene.Rect{Min: at.Film[0].Min, Max: at.Film[1].Max}
	c := films.Centre()
	if veiled {
		c = at.Whole.Centre()
	}
	p := newPen(at.Whole, at.Unit)
	if veiled {
		p.box(at.Whole, 0, veil)
	}
	r := scene.Box(c.X-w/2, c.Y-h/2, w, h)
	p.box(r, 8, scene.Panel)
	p.frame(r, 8, 1.5, scene.Grey)
	return &Part{Name: "overlay", Place: r}, p, r
}

// CautionText is shown on first opening and acknowledged once by each person.
var CautionText = []string{
	"Leadline is for review and teaching after a case. It must never guide a needle, a lead or a decision during one.",
	"Depth is to the midline sacral cortex, not to bowel, vessel or nerve.",
	"Side and level are only as good as what they rest on: look at their basis before you use them.",
	"Position has not been shown to predict benefit.",
	"Follow your unit's rules; what is done rests with the licensed practitioner.",
}

func caution(at Places) *Part {
	u := at.Unit
	w := min(560*u, at.Whole.W()-40*u)
	h := 84 * u
	for _, t := range CautionText {
		h += float64(len(scene.Wrap(t, 14*u, false, w-56*u)))*14*scene.LineHeight*u + 8*u
	}
	part, p, r := overlay(at, w, h, true)
	x, y := r.Min.X+28*u, r.Min.Y+36*u
	p.warning(x, y)
	p.text(x+22*u, y, "Before you begin", 18, true, scene.White)
	y += 28 * u
	for _, t := range CautionText {
		y = p.wrap(x, y, w-56*u, t, 14, scene.White, 4) + 8*u
	}
	kw := p.key(x, y+2*u, "Enter", scene.White)
	p.text(x+kw+10*u, y+6*u, "I have read this", 14, true, scene.White)
	part.Hits = []Hit{{scene.Box(x, y-14*u, w-56*u, 32*u), "Enter"}}
	part.Drawing = p.drawing()
	return part
}

func question(q *desk.Question, at Places) *Part {
	if len(q.Fields) > 0 {
		return fields(q, at)
	}
	u := at.Unit
	w := 430 * u
	detail := scene.Wrap(q.Detail, 12.5*u, false, w-40*u)
	h := (58+30*float64(len(q.Choices)))*u + float64(len(detail))*17*u
	if q.Entry {
		h += 62 * u
	} else {
		h += 18 * u
	}
	part, p, r := overlay(at, w, h, false)
	x, y := r.Min.X+20*u, r.Min.Y+32*u
	p.text(x, y, q.Title, 17, true, scene.White)
	y = p.wrap(x, y+22*u, w-40*u, q.Detail, 12.5, scene.Grey, 6) + 8*u
	for _, c := range q.Choices {
		shown := c.Key
		if arrow := map[string]string{"Up": "↑", "Down": "↓", "Left": "←", "Right": "→", "Escape": "Esc"}[shown]; arrow != "" {
			shown = arrow
		} else if len(shown) == 1 {
			shown = string([]rune{upper(rune(shown[0]))})
		}
		kw := p.key(x, y, shown, scene.White)
		p.fit(x+max(kw, 34*u)+8*u, y+5*u, w-90*u, c.Text, 13.5, false, scene.White)
		part.Hits = append(part.Hits, Hit{scene.Box(x, y-14*u, w-40*u, 28*u), c.Key})
		y += 30 * u
	}
	if q.Entry {
		field := scene.Box(x, y-10*u, w-40*u, 30*u)
		p.box(field, 4, scene.Ground)
		p.frame(field, 4, 1, scene.Grey)
		p.text(x+8*u, y+10*u, q.Text+"│", 14, false, scene.White)
		y += 42 * u
		words, ink := "Enter keeps it, Esc leaves all as it was", scene.Grey
		if q.Fault != "" {
			words, ink = q.Fault, Warn
		}
		p.fit(x, y, w-40*u, words, 12, false, ink)
	} else {
		p.text(x, y+6*u, "Esc leaves all as it was", 12, false, scene.Grey)
	}
	part.Drawing = p.drawing()
	return part
}

func upper(r rune) rune {
	if r >= 'a' && r <= 'z' {
		return r - 'a' + 'A'
	}
	return r
}
