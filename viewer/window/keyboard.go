package window

import (
	"strings"

	"github.com/hajimehoshi/ebiten/v2"
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/measure/mark"
	"leadline/viewer/desk"
)

// event is something a hand did.
type event struct {
	kind eventKind
	code int // of button or key, or the letter
	down bool
	mods modifier
	at   r2.Vec // where the pointer was, of a button
}

type eventKind int

const (
	button eventKind = iota
	key
	letter
)

// modifier keys held, as the window library counts them.
type modifier int

const (
	shiftHeld modifier = 1 << iota
	controlHeld
	altHeld
	metaHeld
)

// Buttons, and keys that no letter stands for, as the window library counts
// them.
const (
	leftButton = iota
	rightButton
	middleButton
)

const spaceKey = 32

// namedKeys, and whether they repeat while held.
var namedKeys = map[int]struct {
	name   string
	repeat bool
}{
	256: {"Escape", false}, 257: {"Enter", false}, 335: {"Enter", false}, 258: {"Tab", false}, 259: {"Backspace", true},
	260: {"Insert", false}, 261: {"Delete", false}, 262: {"Right", true}, 263: {"Left", true}, 264: {"Down", true},
	265: {"Up", true}, 266: {"PageUp", true}, 267: {"PageDown", true}, 268: {"Home", true}, 269: {"End", true},
	spaceKey: {"Space", false},
}

// keyboard keeps which keys are down.
type keyboard struct {
	down      map[int]bool
	spaceUsed bool // for a drag
	led       bool // the crosshair was last moved by key
}

func newKeyboard() keyboard { return keyboard{down: map[int]bool{}} }

// input takes in what mouse and keyboard did and reports whether anything
// happened that may change what is shown.
func (a *app) input() bool {
	a.waiting = append(a.waiting, a.hands()...)
	any := false
	for len(a.waiting) > 0 {
		e := a.waiting[0]
		if e.kind == button && e.down && a.scenery() != a.seen {
			Wake() // what is clicked on is drawn first
			return true
		}
		a.waiting = a.waiting[1:]
		any = true
		switch e.kind {
		case button:
			a.button(e)
		case key:
			a.struck(e)
		case letter:
			// What is printed comes by the layout of the keyboard.
			if e.code > ' ' && e.code != 0x7f && e.mods&(controlHeld|altHeld|metaHeld) == 0 {
				a.key(string(rune(e.code)))
			}
		}
	}
	a.waiting = nil
	return a.follow() || any
}

// scenery is what gives a click its meaning.
type scenery struct {
	refs          [2]mark.FrameRef
	question      *desk.Question
	cases         *desk.Cases
	chooser       *desk.Chooser
	opening       bool
	caution, help bool
	full          bool
	page          int
}

func (a *app) scenery() scenery {
	s := scenery{question: a.d.Question(), cases: a.d.Cases(), chooser: a.d.Chooser(), caution: a.d.Caution(), help: a.d.Help()}
	s.page, s.full = a.d.Full()
	_, s.opening = a.d.Opening()
	for i, id := range panes {
		s.refs[i] = a.d.Pane(id).Ref
	}
	return s
}

// struck takes a key that went down, again while held, or up.
func (a *app) struck(e event) {
	k := &a.keys
	held := k.down[e.code]
	if e.down {
		k.down[e.code] = true
	} else {
		delete(k.down, e.code)
	}
	if e.code == spaceKey {
		// Space acts when let go, unless it was held to pan.
		switch {
		case e.down && !held:
			k.spaceUsed = false
		case !e.down && held && !k.spaceUsed:
			a.key("Space")
		}
		return
	}
	n, named := namedKeys[e.code]
	control := e.mods&(controlHeld|metaHeld) != 0
	switch {
	case !e.down || held && named && !n.repeat:
	case named:
		name := n.name
		if e.mods&shiftHeld != 0 {
			name = "Shift+" + name
		}
		if control {
			name = "Ctrl+" + name
		}
		a.key(name)
	case control && e.code >= 'A' && e.code <= 'Z':
		// By what is printed on the key, wherever it lies.
		name := ebiten.KeyName(ebiten.KeyA + ebiten.Key(e.code-'A'))
		if len(name) != 1 {
			name = string(rune(e.code + 'a' - 'A'))
		}
		if e.mods&shiftHeld != 0 {
			name = "Shift+" + name
		}
		a.key("Ctrl+" + name)
	}
}

// key hands a key to the desk, or does what is the window's to do.
func (a *app) key(name string) {
	if strings.Contains(name, "Up") || strings.Contains(name, "Down") || strings.Contains(name, "Left") || strings.Contains(name, "Right") {
		a.keys.led = a.d.Draft() != nil
	}
	if name == "q" && a.pointer.inside && a.d.Draft() == nil {
		// A suggestion is asked for at the pointer.
		a.d.SetFocus(a.pointer.pane)
		a.d.SetCursor(a.pointer.pane, a.views[a.pointer.pane].ToImage(a.pointer.at))
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
