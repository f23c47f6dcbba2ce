package board

import (
	"fmt"
	"image"
	"math"

	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

// Thumb is a small picture of a frame and where it is shown.
type Thumb struct {
	Image *image.RGBA
	Place scene.Rect
}

// chooserRows of pictures are shown at once.
const chooserRows = 3

// chooser shows the case's frames small, with view and time.
func chooser(d *desk.Desk, at Places) *Part {
	u, c := at.Unit, d.Chooser()
	rows := min((len(c.List)+desk.ChooserColumns-1)/desk.ChooserColumns, chooserRows)
	pad, gap, words := 22*u, 12*u, 36*u
	head := 52 * u
	side := math.Min(210*u, (at.Whole.W()-40*u-2*pad)/desk.ChooserColumns-gap)
	side = math.Min(side, (at.Whole.H()-40*u-head-pad)/float64(rows)-words-gap)
	w := desk.ChooserColumns*(side+gap) - gap + 2*pad
	h := head + float64(rows)*(side+words+gap) - gap + pad
	part, p, r := overlay(at, w, h, true)
	p.text(r.Min.X+pad, r.Min.Y+34*u, "Images of the case", 19, true, scene.White)
	// The row of the choice is always among those shown.
	top := max(c.At/desk.ChooserColumns-rows+1, 0)
	hint := "arrows and Enter choose, Esc closes"
	if all := (len(c.List) + desk.ChooserColumns - 1) / desk.ChooserColumns; all > rows {
		hint = fmt.Sprintf("row %d of %d; %s", c.At/desk.ChooserColumns+1, all, hint)
	}
	p.right(r.Max.X-pad, r.Min.Y+34*u, hint, 12.5, false, scene.Grey)
	for i, f := range c.List {
		row := i/desk.ChooserColumns - top
		if row < 0 || row >= rows {
			continue
		}
		place := scene.Box(r.Min.X+pad+float64(i%desk.ChooserColumns)*(side+gap), r.Min.Y+head+float64(row)*(side+words+gap), side, side+words)
		picture := scene.Box(place.Min.X, place.Min.Y, side, side)
		p.box(place.Inset(-4*u), 4, card)
		if i == c.At {
			p.box(place.Inset(-4*u), 4, active)
			p.frame(place.Inset(-4*u), 4, 2, scene.White)
		}
		p.box(picture, 0, scene.Dark)
		if t := d.Thumb(f.Ref); t != nil {
			part.Thumbs = append(part.Thumbs, Thumb{t, within(picture, t.Bounds())})
		}
		title := f.Title
		if f.Shown {
			title += " · shown"
		}
		p.fit(place.Min.X+4*u, picture.Max.Y+14*u, side-8*u, title, 11.5, true, scene.White)
		line := f.Line
		if f.Marks > 0 {
			line += fmt.Sprintf(", %d marks", f.Marks)
		}
		p.fit(place.Min.X+4*u, picture.Max.Y+29*u, side-8*u, line, 11, false, scene.Grey)
		part.Hits = append(part.Hits, Hit{place, fmt.Sprintf("#%d", i)})
	}
	part.Drawing = p.drawing()
	return part
}

// within fits a picture into a place without changing its shape.
func within(place scene.Rect, b image.Rectangle) scene.Rect {
	w, h := float64(b.Dx()), float64(b.Dy())
	f := math.Min(place.W()/w, place.H()/h)
	c := place.Centre()
	return scene.Box(c.X-w*f/2, c.Y-h*f/2, w*f, h*f)
}
