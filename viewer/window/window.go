// Package window shows a desk on the screen and hands it what mouse and
// keyboard do. It is the only package that knows the graphics library; what is
// drawn where it takes from board and scene.
//
// Nothing is drawn while nothing changes: the program sleeps till an event, a
// measurement or a save wakes it.
package window

import (
	"errors"
	"fmt"
	"image/color"
	"math"
	"reflect"
	"sync/atomic"
	"time"

	"github.com/hajimehoshi/ebiten/v2"

	"leadline/imaging"
	"leadline/viewer/board"
	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

// Options of a window.
type Options struct {
	// Width and Height at first, in device-independent pixels; zero: 1280 x 800.
	Width, Height int
	// Automation names a file that is written anew, as JSON, whenever what is
	// shown has changed: where the films and buttons are and what the desk
	// says. It serves tests and other automation; empty: none.
	Automation string
	// Open opens a case in place of the one shown; it is called in another
	// goroutine.
	Open func(desk.Target) (*desk.Opened, error)
	// Tempo, if not nil, is told how long each update and draw took on the Go
	// side.
	Tempo func(update, draw time.Duration)
}

// Wake has the window look for news; it may be called from any goroutine.
func Wake() {
	called.Store(time.Now().UnixNano())
	ebiten.ScheduleFrame()
}

// called is when Wake was last called, in nanoseconds of Unix time.
var called atomic.Int64

// Run shows the case till its desk is done, and those opened after it in its
// place; it closes them all.
func Run(o *desk.Opened, opt Options) (err error) {
	a, err := newApp(o.Desk, opt)
	if err != nil {
		return errors.Join(err, o.Close())
	}
	a.cases.current = o
	defer func() { err = errors.Join(err, a.cases.close()) }()
	if opt.Width == 0 || opt.Height == 0 {
		opt.Width, opt.Height = 1280, 800
	}
	ebiten.SetWindowSize(opt.Width, opt.Height)
	ebiten.SetWindowSizeLimits(960, 600, -1, -1)
	ebiten.SetWindowResizingMode(ebiten.WindowResizingModeEnabled)
	ebiten.SetWindowTitle(title(o.Desk))
	ebiten.SetWindowClosingHandled(true)
	ebiten.SetScreenClearedEveryFrame(false)
	ebiten.SetFPSMode(ebiten.FPSModeVsyncOffMinimum)
	if err := ebiten.RunGame(a); err != nil {
		return fmt.Errorf("the window cannot be shown: %w", err)
	}
	return nil
}

func title(d *desk.Desk) string {
	if d.Name() == "" {
		return "Leadline: no case open"
	}
	return "Leadline: " + d.Name()
}

// app is the window's state between two frames.
type app struct {
	d      *desk.Desk
	opt    Options
	ink    *ink
	shader *ebiten.Shader

	w, h   int
	unit   float64
	places board.Places
	rows   int // of the chart, for which there is room
	films  [2]*film
	coming [2]bool // the pane's frame is still being read
	views  [2]scene.View
	kept   [2]kept
	parts  []board.Part
	over   *board.Part

	stale   bool                        // the whole board is to be drawn
	dirty   bool                        // something is to be drawn
	timer   *time.Timer                 // wakes the desk when it asked for it
	again   [len(lookLater)]*time.Timer // look for events once more after a frame was drawn
	pointer pointer
	keys    keyboard
	events  []event // reused
	waiting []event // not taken in yet
	seen    scenery // as last drawn
	cases   caseHolder
	thumbs  thumbStore
	loupe   bool
	frames  int
	state   automation
	update  time.Duration
}

func newApp(d *desk.Desk, opt Options) (*app, error) {
	shader, err := ebiten.NewShader(filmShader)
	if err != nil {
		return nil, fmt.Errorf("the film shader does not compile: %w", err)
	}
	return &app{d: d, opt: opt, ink: newInk(), shader: shader, stale: true, dirty: true, keys: newKeyboard()}, nil
}

// Layout is not used: LayoutF is.
func (a *app) Layout(int, int) (int, int) { return a.w, a.h }

// LayoutF gives the screen in the monitor's own pixels.
func (a *app) LayoutF(w, h float64) (float64, float64) {
	unit := 1.0
	if m := ebiten.Monitor(); m != nil {
		unit = m.DeviceScaleFactor()
	}
	pw, ph := int(math.Ceil(w*unit)), int(math.Ceil(h*unit))
	if pw != a.w || ph != a.h || unit != a.unit {
		a.w, a.h, a.unit = pw, ph, unit
		a.stale, a.dirty = true, true
	}
	return float64(pw), float64(ph)
}

// Update takes in events and news.
func (a *app) Update() error {
	start := time.Now()
	defer func() { a.update = time.Since(start) }()
	if ebiten.IsWindowBeingClosed() {
		a.d.Quit()
		a.dirty = true
	}
	event := a.input()
	if a.opt.Automation != "" && a.frames > 0 {
		a.state.write(a) // letting go of a key draws nothing
	}
	changed, next := a.d.Poll()
	changed = a.turnCases() || changed
	if a.d.Done() {
		return ebiten.Termination
	}
	if event || changed {
		a.dirty = true
	} else if !a.pointer.moved && start.UnixNano()-called.Load() > int64(4*lookAgain) {
		// Woken by neither event nor news: the window may have been uncovered.
		a.stale, a.dirty = true, true
	}
	a.wakeAt(next)
	return nil
}

// lookAgain is how long after a drawn frame events are looked for once more,
// and on a machine so busy that swapping takes longer, again and again.
const lookAgain = 50 * time.Millisecond

var lookLater = [...]time.Duration{lookAgain, 4 * lookAgain, 16 * lookAgain}

// wakeAt asks for a frame at a time; zero: none.
func (a *app) wakeAt(t time.Time) {
	if a.timer != nil {
		a.timer.Stop()
		a.timer = nil
	}
	if t.IsZero() {
		return
	}
	a.timer = time.AfterFunc(max(time.Until(t), time.Millisecond), Wake)
}

// Draw lays down what has changed.
func (a *app) Draw(screen *ebiten.Image) {
	if !a.dirty || a.w == 0 {
		return
	}
	start := time.Now()
	a.dirty = false
	a.frames++
	if a.opt.Automation != "" {
		defer a.state.write(a)
	}
	a.takeFilms()
	a.seen = a.scenery()
	scenes := [2]*scene.Scene{board.Scene(a.d, desk.FrontalPane), board.Scene(a.d, desk.LateralPane)}
	chart := board.Chart(a.d, scenes[desk.LateralPane])
	// Nothing on the screen moves while a hand is marking.
	if a.d.Draft() == nil && !a.d.Dragging() || a.rows == 0 {
		a.rows = len(chart.Rows)
	}
	a.places = board.Lay(a.w, a.h, a.unit, a.rows, a.d.HasRun())
	over := board.Overlay(a.d, a.places, scenes)
	if (over == nil) != (a.over == nil) || over != nil && over.Place != a.over.Place {
		a.stale = true // what lay under it shows again
	}
	if a.stale {
		screen.Fill(scene.Ground)
	}
	a.drawFilms(screen, scenes)
	parts := board.Parts(a.d, a.places, scenes, chart)
	for i, p := range parts {
		if !a.stale && i < len(a.parts) && a.parts[i].Place == p.Place && reflect.DeepEqual(a.parts[i].Drawing, p.Drawing) {
			continue
		}
		fill(screen, p.Place, p.Ground)
		a.ink.draw(screen, p.Drawing)
	}
	if over != nil {
		a.ink.draw(screen, over.Drawing)
		a.thumbs.draw(screen, over.Thumbs)
	}
	a.parts, a.over, a.stale = parts, over, over != nil
	// While buffers are swapped in another thread, an event can be taken off
	// the wire without waking the one that waits for it.
	for i, after := range lookLater {
		if a.again[i] == nil {
			a.again[i] = time.AfterFunc(after, Wake)
		}
		a.again[i].Reset(after)
	}
	a.ink.words.age()
	if a.opt.Tempo != nil {
		a.opt.Tempo(a.update, time.Since(start))
	}
}

func fill(dst *ebiten.Image, r scene.Rect, c color.NRGBA) {
	dst.SubImage(pixels(r)).(*ebiten.Image).Fill(c)
}

// awaitFrame is how long drawing waits for a frame: most are read by then, and
// nothing flickers.
const awaitFrame = 40 * time.Millisecond

// takeFilms takes in what the panes show anew, as far as it has been read. What
// is shown till then is never an other frame than the marks belong to.
func (a *app) takeFilms() {
	for _, id := range panes {
		ref := a.d.Pane(id).Ref
		f := a.films[id]
		a.coming[id] = false
		if f != nil && f.ref == ref {
			continue
		}
		if ref.Instance == "" {
			a.drop(id)
			continue
		}
		frame, err, ok := a.d.Picture(id, awaitFrame)
		if !ok {
			a.coming[id] = true
			continue
		}
		if f == nil || !f.turn(ref, frame, err) {
			a.drop(id)
			f = newFilm(ref, frame, err, a.shader)
			a.films[id] = f
		}
		if f.err == nil && a.d.Pane(id).Window.Width == 0 {
			a.d.SetWindow(id, f.first())
		}
	}
}

// drop lets go of a pane's film.
func (a *app) drop(id desk.PaneID) {
	if f := a.films[id]; f != nil {
		f.free()
		a.films[id] = nil
	}
}

// shown gives a pane's film where it can be seen and marked.
func (a *app) shown(id desk.PaneID) *film {
	if f := a.films[id]; f != nil && f.err == nil && !a.coming[id] {
		return f
	}
	return nil
}

var panes = []desk.PaneID{desk.FrontalPane, desk.LateralPane}

// drawFilms draws both panes.
func (a *app) drawFilms(screen *ebiten.Image, scenes [2]*scene.Scene) {
	level, joined := board.Level(a.d)
	// The strip between the films carries the level line's name.
	between := scene.Rect{Min: a.places.Film[0].Min, Max: a.places.Film[1].Max}
	between.Min.X, between.Max.X = a.places.Film[0].Max.X, a.places.Film[1].Min.X
	fill(screen, between, scene.Ground)
	for _, id := range panes {
		place := a.places.Film[id]
		view := board.View(a.d, id, place, a.unit)
		a.views[id] = view
		f := a.films[id]
		switch {
		case a.coming[id]:
			fill(screen, place, color.NRGBA{A: 0xFF})
			a.ink.draw(screen, board.Coming(a.d, id, place, a.unit))
			a.kept[id].film = nil
			continue
		case f == nil:
			fill(screen, place, color.NRGBA{A: 0xFF})
			a.ink.draw(screen, board.Empty(id, place, a.unit, a.unread(id), nil))
			continue
		case f.err != nil:
			fill(screen, place, color.NRGBA{A: 0xFF})
			a.ink.draw(screen, board.Empty(id, place, a.unit, false, f.err))
			continue
		}
		a.kept[id].draw(screen, a.ink, f, a.d.Pane(id).Window, a.d.Overlays(), scenes[id], view)
		if joined {
			a.ink.draw(screen, level.Draw(id, view, a.kept[id].drawn))
		}
		a.ink.draw(screen, board.Sign(a.d, id, place, a.unit))
		a.ink.draw(screen, board.Suggested(a.d, id, view))
		a.ink.draw(screen, board.Crosshair(a.d, id, view, a.keys.led))
		if a.loupe && a.pointer.pane == id && a.pointer.inside {
			a.drawLoupe(screen, f, scenes[id], view)
		}
	}
	if joined && a.films[0] != nil && a.films[1] != nil {
		a.ink.draw(screen, level.Name(a.views, a.unit))
	}
}

// draw lays the picture into the view.
func (f *film) draw(dst *ebiten.Image, v scene.View, overlays bool) {
	part := dst.SubImage(pixels(v.Pane)).(*ebiten.Image)
	var op ebiten.DrawImageOptions
	m11, m12, tx, m21, m22, ty := v.Affine()
	op.GeoM.SetElement(0, 0, m11)
	op.GeoM.SetElement(0, 1, m12)
	op.GeoM.SetElement(0, 2, tx)
	op.GeoM.SetElement(1, 0, m21)
	op.GeoM.SetElement(1, 1, m22)
	op.GeoM.SetElement(1, 2, ty)
	op.Filter = ebiten.FilterLinear
	part.DrawImage(f.picture, &op)
	if overlays && f.overlay != nil {
		part.DrawImage(f.overlay, &op)
	}
}

// loupeSize and loupePower: side in design units, and how much larger.
const (
	loupeSize  = 190.0
	loupePower = 4.0
)

// drawLoupe shows the place under the pointer enlarged, in the corner of the
// pane that is farther from it.
func (a *app) drawLoupe(screen *ebiten.Image, f *film, sc *scene.Scene, v scene.View) {
	side := math.Min(loupeSize*a.unit, v.Pane.W()/2.5)
	r := scene.Box(v.Pane.Max.X-side-10*a.unit, v.Pane.Min.Y+40*a.unit, side, side)
	if a.pointer.at.X > v.Pane.Centre().X {
		r = scene.Box(v.Pane.Min.X+10*a.unit, v.Pane.Min.Y+40*a.unit, side, side)
	}
	lens := v
	lens.Pane = r
	lens.Centre = v.ToImage(a.pointer.at)
	lens.Zoom *= loupePower
	fill(screen, r, color.NRGBA{A: 0xFF})
	f.draw(screen, lens, a.d.Overlays())
	bare := *sc
	bare.Labels, bare.Edges, bare.Bar = nil, nil, scene.Bar{}
	a.ink.draw(screen, bare.Draw(lens))
	a.ink.draw(screen, board.LoupeFrame(r, a.unit))
}

// unread reports whether the film beside an empty pane has no known view: then
// nobody can say that the case has no film for the pane.
func (a *app) unread(id desk.PaneID) bool {
	other := a.d.Pane(id.Other()).Ref
	return other.Instance != "" && a.d.Reading(other).View == imaging.NoView
}
