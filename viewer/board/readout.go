package board

import (
	"fmt"
	"image/color"
	"strings"

	"leadline/imaging"
	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

// Cautions of the case, then those that the two films add; what stands in the
// foot is left out.
func Cautions(d *desk.Desk, scenes [2]*scene.Scene) []string {
	var out []string
	add := func(all []string) {
		for _, c := range all {
			said := c == scene.CautionDepth || c == scene.CautionReview
			for _, have := range out {
				said = said || strings.Contains(have, strings.TrimRight(c, "."))
			}
			if !said {
				out = append(out, c)
			}
		}
	}
	p, _ := d.Placement()
	add(p.Cautions)
	for _, sc := range scenes {
		add(sc.Cautions)
	}
	return out
}

// rows of numbers of the device shown: what is measured, then what is missing.
func rows(d *desk.Desk) (measured, missing []scene.Row) {
	if d.Device() == "" {
		return nil, nil
	}
	p, _ := d.Placement()
	for _, row := range scene.Numbers(p, d.Device(), imaging.NoView).Rows {
		if row.Figure == "missing" {
			missing = append(missing, row)
		} else {
			measured = append(measured, row)
		}
	}
	return measured, missing
}

// Sizes of words in the readout, design units.
const (
	rowSize  = 12.0
	noteSize = 11.0
	moreHigh = 20.0
)

// readout sets the numbers of the device and the cautions in the room left
// below the mark sheet. What does not fit is counted, never dropped without a
// word; cautions have half the room before any number is left out for them.
func readout(d *desk.Desk, p *pen, r scene.Rect, cautions []string) {
	u, x0, x1 := p.u, r.Min.X, r.Max.X
	y := r.Min.Y + 16*u
	title := "Placement"
	w := p.text(x0, y, title, 15, true, scene.White)
	if d.Device() != "" {
		p.text(x0+w+6*u, y, "of "+d.Device(), 15, true, scene.Style(d.Device()).Color)
	}
	p.right(x1, y, "R: in full", 12, false, scene.Grey)

	measured, missing := rows(d)
	noted := false
	high := func(with bool) float64 {
		scratch := newPen(r, u)
		h := 0.0
		for _, row := range measured {
			h = number(scratch, row, x0, x1, h, with)
		}
		if !with && len(missing) > 0 {
			return h + moreHigh*u
		}
		for _, row := range missing {
			h = number(scratch, row, x0, x1, h, with)
		}
		return h
	}
	warned := 0.0
	for _, c := range cautions {
		warned = warning(newPen(r, u), c, x0, x1, warned)
	}
	room := r.Max.Y - y - 10*u
	noted = high(true)+warned <= room
	reserved := warned
	if left := room - high(false); warned > left {
		reserved = min(warned, max(room/2, left))
	}
	if noted {
		reserved = warned
	}
	list := measured
	if noted {
		list = append(list[:len(list):len(list)], missing...)
	}
	y = numbers(p, list, missing, noted, x0, x1, y, y+room-reserved)
	some(p, cautions, x0, x1, y+8*u, r.Max.Y)
}

// numbers sets rows down to bottom; noted tells that what is missing is among
// them, each with its reason.
func numbers(p *pen, list, missing []scene.Row, noted bool, x0, x1, y, bottom float64) float64 {
	u := p.u
	if len(list) == 0 && len(missing) == 0 {
		return p.wrap(x0, y+20*u, x1-x0, "Nothing is measured yet: the sheet above lists what is needed.", rowSize, scene.Grey, 3) - 10*u
	}
	fits := func(n int, last float64) int { // how many of the rows
		scratch, at := newPen(scene.Rect{}, u), y
		for i, row := range list[:n] {
			if at = number(scratch, row, x0, x1, at, noted); at > bottom-last {
				return i
			}
		}
		return n
	}
	n := fits(len(list), 0)
	if lost := !noted && len(missing) > 0; lost || n < len(list) {
		n = fits(len(list), moreHigh*u)
	}
	for _, row := range list[:n] {
		y = number(p, row, x0, x1, y, noted)
	}
	var words []string
	if more := len(list) - n; more > 0 {
		words = append(words, fmt.Sprintf("%d more", more))
	}
	if !noted && len(missing) > 0 {
		words = append(words, fmt.Sprintf("%d missing", len(missing)))
	}
	if len(words) > 0 {
		end := ": R lists all"
		if !noted && len(missing) > 0 {
			end = ": R says what and why"
		}
		y += moreHigh * u
		more(p, x0, y, x1, strings.Join(words, ", ")+end, scene.White)
	}
	return y
}

// number sets a row below y and gives its last baseline.
func number(p *pen, row scene.Row, x0, x1, y float64, noted bool) float64 {
	u := p.u
	size, step, ink := 13.0, 20.0, scene.White
	if row.Head {
		size, step = 18, 26
	}
	absent := row.Figure == "missing"
	if absent {
		size, ink = rowSize, scene.Grey
	}
	y += step * u
	w := scene.Advance(row.Figure, size*u, !absent)
	if w > 0.62*(x1-x0) {
		// A figure in many words stands in lines of its own.
		y = p.wrap(x0, y, x1-x0, row.Words, rowSize, scene.Grey, 2)
		y = p.wrap(x0+10*u, y, x1-x0-10*u, row.Figure, 12.5, ink, 3) - 12.5*scene.LineHeight*u
	} else {
		p.right(x1, y, row.Figure, size, !absent, ink)
		y = p.wrap(x0, y, x1-x0-w-8*u, row.Words, rowSize, scene.Grey, 3) - rowSize*scene.LineHeight*u
	}
	if noted && row.Note != "" {
		y = p.wrap(x0+10*u, y+15*u, x1-x0-10*u, row.Note, noteSize, scene.Grey, 4) - noteSize*scene.LineHeight*u
	}
	return y
}

// some sets cautions down to bottom, and how many more there are.
func some(p *pen, cautions []string, x0, x1, y, bottom float64) {
	u := p.u
	fits := func(last float64) int {
		at := y
		for i, c := range cautions {
			if at = warning(newPen(scene.Rect{}, u), c, x0, x1, at); at+3*u > bottom-last {
				return i
			}
		}
		return len(cautions)
	}
	n := fits(0)
	if n < len(cautions) {
		n = fits(moreHigh * u)
	}
	for _, c := range cautions[:n] {
		y = warning(p, c, x0, x1, y)
	}
	if left := len(cautions) - n; left > 0 {
		words := fmt.Sprintf("and %d more: R lists all", left)
		switch {
		case n == 0 && left == 1:
			words = "1 caution: R shows it"
		case n == 0:
			words = fmt.Sprintf("%d cautions: R lists all", left)
		}
		y += moreHigh * u
		more(p, x0, y, x1, words, Warn)
	}
}

func more(p *pen, x0, y, x1 float64, words string, ink color.NRGBA) {
	p.fit(x0, y, x1-x0, words, rowSize, true, ink)
}

// warning sets a caution below y, whole, and gives its last baseline.
func warning(p *pen, words string, x0, x1, y float64) float64 {
	u := p.u
	y += 18 * u
	p.warning(x0, y)
	lines := scene.Wrap(words, 11.5*u, false, x1-x0-20*u)
	return p.wrap(x0+20*u, y, x1-x0-20*u, words, 11.5, Warn, len(lines)) - 11.5*scene.LineHeight*u
}
