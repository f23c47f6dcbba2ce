package board

import (
	"fmt"
	"strings"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

// item of the full list: what it draws below y in a column, giving its last
// baseline.
type item struct {
	title bool // stays with the item after it
	draw  func(p *pen, x0, x1, y float64) float64
}

func heading(words string) item {
	return item{true, func(p *pen, x0, x1, y float64) float64 {
		p.fit(x0, y+26*p.u, x1-x0, words, 14, true, scene.White)
		return y + 28*p.u
	}}
}

// saying is a line of what something rests on; it is a caution where it is not
// sure.
func saying(words string, sure bool) item {
	if !sure {
		return item{draw: func(p *pen, x0, x1, y float64) float64 { return warning(p, words, x0, x1, y) }}
	}
	return item{draw: func(p *pen, x0, x1, y float64) float64 {
		return p.wrap(x0, y+18*p.u, x1-x0, words, rowSize, scene.Grey, 12) - rowSize*scene.LineHeight*p.u
	}}
}

// items are all cautions, what side, level and films rest on, and all numbers
// of the device shown with what is missing and why.
func items(d *desk.Desk, scenes [2]*scene.Scene) []item {
	all := Cautions(d, scenes)
	out := []item{heading(fmt.Sprintf("Cautions, %d", len(all)))}
	for _, c := range all {
		out = append(out, saying(c, false))
	}
	if len(all) == 0 {
		out = append(out, saying("none besides those at the foot", true))
	}
	measured, missing := rows(d)
	if d.Device() != "" {
		out = append(out, heading("Numbers of "+d.Device()+", 95 %"))
	}
	for _, row := range append(measured, missing...) {
		out = append(out, item{draw: func(p *pen, x0, x1, y float64) float64 { return number(p, row, x0, x1, y, true) }})
	}
	if dev, ok := d.DeviceReading(); ok {
		out = append(out, heading(dev.Object+": "+scene.SideLevel(dev)),
			saying(scene.SideBasis(dev), dev.SideConfirmed && dev.SideConflict == "" && !mark.Contradicted(dev.SideSource)),
			saying(scene.LevelBasis(dev), dev.LevelConfirmed && dev.LevelConflict == ""))
	}
	for _, id := range []desk.PaneID{desk.FrontalPane, desk.LateralPane} {
		if d.Pane(id).Ref.Instance != "" {
			out = append(out, film(d.Reading(d.Pane(id).Ref))...)
		}
	}
	return out
}

// film says how a film was read.
func film(f placement.FilmReading) []item {
	view := string(f.View)
	if f.View == imaging.NoView {
		view = "not known"
	}
	out := []item{heading(f.Film.File), saying("view: "+view+", "+f.ViewSource, f.View != imaging.NoView)}
	known := func(name string, edge imaging.Edge, source, conflict string, sure bool) {
		switch {
		case conflict != "":
			out = append(out, saying(name+": "+conflict, false))
		case edge == imaging.NoEdge:
			out = append(out, saying(name+": "+strings.TrimPrefix(source, "not known: "), false))
		default:
			// As stored: the film may be shown turned.
			out = append(out, saying(fmt.Sprintf("%s: %s edge of the stored image, %s", name, edge, source), sure))
		}
	}
	known("cranial", f.Cranial, f.CranialSource, f.CranialConflict, true)
	if f.View == imaging.Frontal {
		known("patient's left", f.PatientLeft, f.LeftSource, f.LeftConflict, f.LeftConfirmed && !mark.Contradicted(f.LeftSource))
	}
	return out
}

// full lists all of it in two columns, over as many pages as it takes.
func full(d *desk.Desk, at Places, scenes [2]*scene.Scene, page int) *Part {
	u := at.Unit
	w, h := min(1130*u, at.Whole.W()-30*u), min(760*u, at.Whole.H()-30*u)
	part, p, r := overlay(at, w, h, true)
	column := (w - 80*u) / 2
	top, bottom := r.Min.Y+44*u, r.Max.Y-16*u
	place := make([]spot, 0, 32)
	list := items(d, scenes)
	n, x, y := 0, 0, top
	for i, it := range list {
		scratch := newPen(r, u)
		end := it.draw(scratch, 0, column, y)
		if it.title && i+1 < len(list) {
			end = list[i+1].draw(scratch, 0, column, end)
		}
		if end > bottom && y > top {
			if y, x = top, x+1; x == 2 {
				x, n = 0, n+1
			}
		}
		place = append(place, spot{n, x, y})
		y = it.draw(scratch, 0, column, y)
	}
	page = min(page, n)
	for i, it := range list {
		if s := place[i]; s.page == page {
			left := r.Min.X + 26*u + float64(s.column)*(column+28*u)
			it.draw(p, left, left+column, s.y)
		}
	}
	p.text(r.Min.X+26*u, r.Min.Y+36*u, "In full", 19, true, scene.White)
	words := "Esc closes this list"
	if n > 0 {
		words = fmt.Sprintf("page %d of %d: PageDown and PageUp turn; Esc closes", page+1, n+1)
	}
	p.right(r.Max.X-26*u, r.Min.Y+36*u, words, 12.5, false, scene.Grey)
	part.Drawing = p.drawing()
	return part
}

// spot is where an item stands: its page, column and the line above it.
type spot struct {
	page, column int
	y            float64
}
