package window

import (
	"math"
	"strings"
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
	pressed [3]bool // left, middle, right
	start   r2.Vec  // where the button went down
	begun   bool    // moved far enough from there to mean a drag
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

// input reads mouse and keyboard and reports whether anything happened that
// may change what is shown.
func (a *app) input() bool {
	// The order matters: keys held decide what a click means.
	event := a.readKeys()
	return a.readMouse() || event
}

func (a *app) readMouse() bool {
	p := &a.pointer
	x, y := ebiten.CursorPosition()
	// The pointer's tip is the middle of its pixel.
	at := r2.Vec{X: float64(x) + 0.5, Y: float64(y) + 0.5}
	p.moved = at != p.at
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
	event := p.moved && (p.job != idle || a.loupe)
	if p.moved && p.inside && p.job == idle {
		a.d.SetCursor(p.pane, a.views[p.pane].ToImage(at))
		if a.keys.led {
			a.keys.led, event = false, true
		}
	}
	for i, b := range []ebiten.MouseButton{ebiten.MouseButtonLeft, ebiten.MouseButtonMiddle, ebiten.MouseButtonRight} {
		down := ebiten.IsMouseButtonPressed(b)
		if down == p.pressed[i] {
			continue
		}
		p.pressed[i] = down
		event = true
		if down {
			a.press(i)
		} else {
			a.release()
		}
	}
	if p.moved && p.job != idle {
		a.dragTo(at)
	}
	if _, wy := ebiten.Wheel(); wy != 0 && p.inside && a.over == nil {
		a.zoom(p.pane, at, math.Pow(1.15, math.Max(-4, math.Min(4, wy))))
		event = true
	}
	return event
}

// press of a button: 0 left, 1 middle, 2 right.
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
		if button == 0 {
			for _, part := range a.parts {
				if a.hit(part.Hits) {
					return
				}
			}
		}
		return
	}
	switch {
	case button == 1 || button == 0 && a.keys.space():
		p.job = panning
		a.keys.spaceUsed = true
	case button == 2:
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
		if !ok || button == 1 {
			continue
		}
		p.pane, p.job, p.from = id, scrubbing, n
		a.d.SetFocus(id)
		if button == 2 || ebiten.IsKeyPressed(ebiten.KeyShift) {
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
	if ebiten.IsKeyPressed(ebiten.KeyControl) {
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

// keyboard keeps which keys are down, and since when.
type keyboard struct {
	down      map[ebiten.Key]time.Time // when each repeats next
	spaceUsed bool
	led       bool // the crosshair was last moved by key
	chars     []rune
}

func newKeyboard() keyboard { return keyboard{down: map[ebiten.Key]time.Time{}} }

func (k *keyboard) space() bool { return ebiten.IsKeyPressed(ebiten.KeySpace) }

// named keys, and whether they repeat while held.
var named = map[ebiten.Key]struct {
	name   string
	repeat bool
}{
	ebiten.KeyEnter: {"Enter", false}, ebiten.KeyNumpadEnter: {"Enter", false}, ebiten.KeyEscape: {"Escape", false},
	ebiten.KeyDelete: {"Delete", false}, ebiten.KeyInsert: {"Insert", false}, ebiten.KeyBackspace: {"Backspace", true},
	ebiten.KeyTab: {"Tab", false}, ebiten.KeyHome: {"Home", true}, ebiten.KeyEnd: {"End", true},
	ebiten.KeyPageUp: {"PageUp", true}, ebiten.KeyPageDown: {"PageDown", true},
	ebiten.KeyArrowUp: {"Up", true}, ebiten.KeyArrowDown: {"Down", true},
	ebiten.KeyArrowLeft: {"Left", true}, ebiten.KeyArrowRight: {"Right", true},
}

const (
	repeatAfter = 400 * time.Millisecond
	repeatEvery = 40 * time.Millisecond
)

func (a *app) readKeys() bool {
	k, event := &a.keys, false
	ctrl := ebiten.IsKeyPressed(ebiten.KeyControl) || ebiten.IsKeyPressed(ebiten.KeyMeta)
	alt := ebiten.IsKeyPressed(ebiten.KeyAlt)
	mods := ""
	if ctrl {
		mods = "Ctrl+"
	}
	if ebiten.IsKeyPressed(ebiten.KeyShift) {
		mods += "Shift+"
	}
	for key, n := range named {
		if k.struck(key, n.repeat) {
			a.key(mods + n.name)
			event = true
		}
	}
	for key := ebiten.KeyA; key <= ebiten.KeyZ; key++ {
		if k.struck(key, true) && ctrl {
			// By what is printed on the key, wherever it lies.
			name := ebiten.KeyName(key)
			if len(name) != 1 {
				name = strings.ToLower(key.String())
			}
			a.key(mods + name)
			event = true
		}
	}
	// Space sets a point when let go, unless it was held to pan.
	if k.space() {
		if _, held := k.down[ebiten.KeySpace]; !held {
			k.down[ebiten.KeySpace] = time.Time{}
			k.spaceUsed = false
		}
	} else if _, was := k.down[ebiten.KeySpace]; was {
		delete(k.down, ebiten.KeySpace)
		if !k.spaceUsed {
			a.key("Space")
			event = true
		}
	}
	// What is printed comes by the layout of the keyboard, and none is lost.
	k.chars = ebiten.AppendInputChars(k.chars[:0])
	for _, r := range k.chars {
		if r > ' ' && r != 0x7f && !ctrl && !alt {
			a.key(string(r))
			event = true
		}
	}
	return event
}

// struck reports that a key has gone down, or repeats.
func (k *keyboard) struck(key ebiten.Key, repeat bool) bool {
	if !ebiten.IsKeyPressed(key) {
		delete(k.down, key)
		return false
	}
	now := time.Now()
	next, held := k.down[key]
	switch {
	case !held:
		k.down[key] = now.Add(repeatAfter)
		return true
	case repeat && now.After(next):
		k.down[key] = now.Add(repeatEvery)
		return true
	}
	return false
}

// key hands a key to the desk, or does what is the window's to do.
func (a *app) key(name string) {
	if strings.Contains(name, "Up") || strings.Contains(name, "Down") || strings.Contains(name, "Left") || strings.Contains(name, "Right") {
		a.keys.led = a.d.Draft() != nil
	}
	if a.d.Press(name) {
		return
	}
	id := a.d.Focus()
	f := a.shown(id)
	if f == nil {
		return
	}
	at := a.places.Film[id].Centre()
	if a.pointer.inside && a.pointer.pane == id {
		at = a.pointer.at
	}
	w := a.d.Pane(id).Window
	w.Explanation = ""
	step := a.places.Film[id].W() / 12
	switch name {
	case "+", "=":
		a.zoom(id, at, 1.25)
	case "-":
		a.zoom(id, at, 1/1.25)
	case "[":
		w.Width /= 1.1
		a.d.SetWindow(id, w)
	case "]":
		w.Width *= 1.1
		a.d.SetWindow(id, w)
	case "{":
		w.Center -= w.Width / 20
		a.d.SetWindow(id, w)
	case "}":
		w.Center += w.Width / 20
		a.d.SetWindow(id, w)
	case "\\":
		a.d.NextWindow(id, f.windows)
	case "z", "Z":
		a.loupe = !a.loupe
	case "Ctrl+Up":
		a.look(id, a.views[id].Pan(r2.Vec{Y: step}))
	case "Ctrl+Down":
		a.look(id, a.views[id].Pan(r2.Vec{Y: -step}))
	case "Ctrl+Left":
		a.look(id, a.views[id].Pan(r2.Vec{X: step}))
	case "Ctrl+Right":
		a.look(id, a.views[id].Pan(r2.Vec{X: -step}))
	}
}
