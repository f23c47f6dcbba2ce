// Package board lays the desk out on a screen: where the films, the mark
// sheet, the numbers and the chart stand, what is drawn in each, and what a
// click on each means. It draws nothing itself; what it gives are drawings.
package board

import (
	"math"

	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

// Places on the screen, in output pixels.
type Places struct {
	Whole scene.Rect
	Unit  float64 // output pixels for a design unit
	Case  scene.Rect
	Head  [2]scene.Rect // words over each film
	Film  [2]scene.Rect
	Run   [2]scene.Rect // run bar under each film; empty where the case has no run
	Sheet scene.Rect    // mark sheet and, below it, numbers
	Chart scene.Rect
	Foot  scene.Rect
}

// Design units.
const (
	margin    = 12.0
	caseHigh  = 52.0
	headHigh  = 26.0
	sheetWide = 242.0 // at least
	sheetMost = 320.0
	sheetPart = 0.16 // of the screen's width
	footHigh  = 26.0
	gap       = 10.0
	cardPad   = 10.0
)

// Lay finds the places for a screen of w by h output pixels, with room for so
// many rows of the chart; for two at least, so that the films do not move when
// the first needles are marked; and for bars under the films where the case has
// runs.
func Lay(w, h int, unit float64, rows int, runs bool) Places {
	u := unit
	chart := scene.Chart{Rows: make([]scene.ChartRow, max(rows, 2))}
	p := Places{Whole: scene.Box(0, 0, float64(w), float64(h)), Unit: u}
	r := func(x, y, w, h float64) scene.Rect {
		x0, y0 := math.Round(x), math.Round(y)
		return scene.Box(x0, y0, math.Max(1, math.Round(x+w)-x0), math.Max(1, math.Round(y+h)-y0))
	}
	W, H := float64(w), float64(h)
	p.Case = r(0, 0, W, caseHigh*u)
	p.Foot = r(0, H-footHigh*u, W, footHigh*u)
	wideSheet := math.Min(math.Max(sheetPart*W/u, sheetWide), sheetMost)
	sx := W - (margin+wideSheet)*u
	top := (caseHigh + gap/2) * u
	p.Sheet = r(sx, top, wideSheet*u, H-footHigh*u-top)
	left, wide := margin*u, sx-(margin+gap)*u
	ch := math.Min(chart.Height(wide-2*cardPad*u, u)+2*cardPad*u+20*u, 0.36*H)
	cy := H - footHigh*u - ch
	p.Chart = r(left, cy, wide, ch)
	each := (wide - gap*u) / 2
	bar := 0.0
	if runs {
		bar = (runHigh + gap/2) * u
	}
	for i := range 2 {
		x := left + float64(i)*(each+gap*u)
		p.Head[i] = r(x, top, each, headHigh*u)
		p.Film[i] = r(x, top+headHigh*u, each, cy-gap*u-bar-top-headHigh*u)
		if runs {
			p.Run[i] = r(x, cy-gap*u-runHigh*u, each, runHigh*u)
		}
	}
	return p
}

// View of a pane's film as the desk has it zoomed and panned.
func View(d *desk.Desk, id desk.PaneID, place scene.Rect, unit float64) scene.View {
	pane := d.Pane(id)
	// In a small pane words and strokes are a little smaller too.
	v := scene.NewView(d.Reading(pane.Ref), place, unit*math.Min(1, math.Max(0.8, place.W()/(620*unit))))
	if pane.Zoom > 0 {
		v.Zoom *= pane.Zoom
		v.Centre = pane.Centre
	}
	return v
}
