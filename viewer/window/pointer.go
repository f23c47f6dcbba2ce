package window

import (
	"math"
	"time"

	"github.com/hajimehoshi/ebiten/v2"
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/viewer/board"
	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

// pointer is the mouse.
type pointer struct {
	at      r2.Vec
	moved   bool // since the last update
	inside  bool // of a film
	pane    desk.PaneID
	pressed [3]bool // left, right, middle: the order of their codes
	mods    modifier
	start   r2.Vec // where the button went down
	begun   bool   // moved far enough from there to mean a drag
	job     job
	window  imaging.Window // when a window drag began
	from    int            // frame a drag on a run bar began at
	last    time.Time      // of the last click, for double clicks
	lastAt  r2.Vec
}

// job is what the held button does.
type job int

const (
	idle job = iota
	moving
	panning
	windowing
	scrubbing // along a run bar
	spanning  // choosing a span on it
)

// slack is how far the mouse may stray, in design units, before a click is a
// drag; reach how near to a mark it must be.
const (
	slack       = 2.5
	reach       = 9.0
	doubleClick = 350 * time.Millisecond
)

// cursor is where the pointer is now: its tip is the middle of its pixel.
func cursor() r2.Vec {
	x, y := ebiten.CursorPosition()
	return r2.Vec{X: float64(x) + 0.5, Y: float64(y) + 0.5}
}

// point says where the pointer is.
func (a *app) point(at r2.Vec) {
	p := &a.pointer
	p.moved = p.moved || at != p.at
	p.at = at
	p.inside = false
	for _, id := range panes {
		if a.places.Film[id].Has(at) && a.shown(id) != nil {
			p.inside = true
			if p.job == idle {
				p.pane = id
			}
		}
	}
}

// button takes a press or release, where the pointer was at that moment.
func (a *app) button(e event) {
	p := &a.pointer
	if e.code < 0 || e.code >= len(p.pressed) || p.pressed[e.code] == e.down {
		return
	}
	p.pressed[e.code], p.mods = e.down, e.mods
	a.point(e.at)
	if e.down {
		a.press(e.code)
		return
	}
	if p.job != idle {
		a.dragTo(e.at)
	}
	a.release()
}

// follow takes in where the pointer has come to and what the wheel did, and
// reports whether that changes what is shown.
func (a *app) follow() bool {
	p := &a.pointer
	p.moved = false
	a.point(cursor())
	event := p.moved && (p.job != idle || a.loupe)
	if p.moved && p.inside && p.job == idle {
		a.d.SetCursor(p.pane, a.views[p.pane].ToImage(p.at))
		if a.keys.led {
			a.keys.led, event = false, true
		}
	}
	if p.moved && p.job != idle {
		a.dragTo(p.at)
	}
	if _, wy := ebiten.Wheel(); wy != 0 && p.inside && a.over == nil {
		a.zoom(p.pane, p.at, math.Pow(1.15, math.Max(-4, math.Min(4, wy))))
		event = true
	}
	return event
}

// press of a button.
func (a *app) press(button int) {
	p := &a.pointer
	if p.job != idle {
		return
	}
	p.start, p.begun = p.at, false
	if a.over != nil {
		a.hit(a.over.Hits)
		return
	}
	if !p.inside {
		if a.pressRun(button) {
			return
		}
		if button == leftButton {
			for _, part := range a.parts {
				if a.hit(part.Hits) {
					return
				}
			}
		}
		return
	}
	switch {
	case button == middleButton || button == leftButton && a.keys.down[spaceKey]:
		p.job = panning
		a.keys.spaceUsed = true
	case button == rightButton:
		p.job = windowing
		p.window = a.d.Pane(p.pane).Window
	default:
		a.click()
	}
}

// pressRun takes hold of a run bar: of the frame shown, or with Shift or the
// right button of a span.
func (a *app) pressRun(button int) bool {
	p := &a.pointer
	for _, id := range panes {
		n, ok := board.RunFrame(a.d, a.places, id, p.at.X, p.at.Y, false)
		if !ok || button == middleButton {
			continue
		}
		p.pane, p.job, p.from = id, scrubbing, n
		a.d.SetFocus(id)
		if button == rightButton || p.mods&shiftHeld != 0 {
			p.job = spanning
		}
		a.dragRun()
		return true
	}
	return false
}

// dragRun follows the pointer along a run bar.
func (a *app) dragRun() {
	p := &a.pointer
	n, ok := board.RunFrame(a.d, a.places, p.pane, p.at.X, p.at.Y, true)
	switch {
	case !ok:
	case p.job == scrubbing:
		a.d.GoTo(p.pane, n)
	default:
		a.d.ChooseSpan(p.pane, p.from, n)
	}
}

func (a *app) hit(hits []board.Hit) bool {
	for _, h := range hits {
		if h.Place.Has(a.pointer.at) {
			a.key(h.Key)
			return true
		}
	}
	return false
}

// click on a film.
func (a *app) click() {
	p := &a.pointer
	view := a.views[p.pane]
	at := view.ToImage(p.at)
	now := time.Now()
	twice := now.Sub(p.last) < doubleClick && r2.Norm(r2.Sub(p.at, p.lastAt)) < 4*a.unit
	p.last, p.lastAt = now, p.at
	if a.d.Draft() != nil {
		if twice {
			a.d.Finish()
			return
		}
		a.d.AddPoint(p.pane, at)
		return
	}
	a.d.SetFocus(p.pane)
	s, found := a.d.Pick(p.pane, p.at, view.ToPane, reach*a.unit)
	if p.mods&controlHeld != 0 {
		if found && s.Mark != a.d.Selection().Mark {
			a.d.Select(desk.Selection{Mark: s.Mark, Vertex: -1})
		}
		if found {
			a.d.Insert(at)
			a.d.Grab(at)
			p.job = moving
		}
		return
	}
	if !found {
		a.d.Select(desk.Selection{Vertex: -1})
		return
	}
	a.d.Select(s)
	a.d.Grab(at)
	p.job = moving
}

func (a *app) dragTo(at r2.Vec) {
	p := &a.pointer
	if p.job == scrubbing || p.job == spanning {
		a.dragRun()
		return
	}
	if !p.begun && r2.Norm(r2.Sub(at, p.start)) < slack*a.unit {
		return
	}
	by := r2.Sub(at, p.start)
	view := a.views[p.pane]
	switch p.job {
	case moving:
		p.begun = true
		a.d.Move(view.ToImage(at))
	case panning:
		p.begun = true
		a.look(p.pane, view.Pan(by))
		a.views[p.pane] = view.Pan(by)
		p.start = at
	case windowing:
		p.begun = true
		w := p.window
		range1 := math.Max(a.films[p.pane].span(), 1)
		w.Width = math.Max(p.window.Width*math.Exp(by.X/(160*a.unit)), 1)
		w.Center += by.Y * range1 / (400 * a.unit)
		w.Explanation = ""
		a.d.SetWindow(p.pane, w)
	}
}

func (a *app) release() {
	p := &a.pointer
	if p.job == moving {
		a.d.Drop()
	}
	p.job = idle
}

// zoom about a place on the screen.
func (a *app) zoom(id desk.PaneID, at r2.Vec, factor float64) {
	v := a.views[id].ZoomAbout(at, factor)
	a.views[id] = v
	a.look(id, v)
}

// look hands a view to the desk.
func (a *app) look(id desk.PaneID, v scene.View) {
	fit := scene.NewView(a.d.Reading(a.d.Pane(id).Ref), a.places.Film[id], a.unit)
	a.d.SetLook(id, v.Zoom/fit.Zoom, v.Centre)
}
