//go:build !linux || !cgo

package window

import "github.com/hajimehoshi/ebiten/v2"

// hands gives what mouse and keyboard did since it was last asked, as far as
// their present state shows it: what began and ended in between is not seen.
func (a *app) hands() []event {
	a.events = a.events[:0]
	var mods modifier
	for key, m := range map[ebiten.Key]modifier{ebiten.KeyShift: shiftHeld, ebiten.KeyControl: controlHeld, ebiten.KeyAlt: altHeld, ebiten.KeyMeta: metaHeld} {
		if ebiten.IsKeyPressed(key) {
			mods |= m
		}
	}
	for code := range namedKeys {
		a.polled(key, code, ebiten.IsKeyPressed(ebitenKeys[code]), mods)
	}
	for code := 'A'; code <= 'Z'; code++ {
		a.polled(key, int(code), ebiten.IsKeyPressed(ebiten.KeyA+ebiten.Key(code-'A')), mods)
	}
	for _, r := range ebiten.AppendInputChars(nil) {
		a.events = append(a.events, event{kind: letter, code: int(r), down: true, mods: mods})
	}
	for code, b := range []ebiten.MouseButton{ebiten.MouseButtonLeft, ebiten.MouseButtonRight, ebiten.MouseButtonMiddle} {
		a.polled(button, code, ebiten.IsMouseButtonPressed(b), mods)
	}
	return a.events
}

// polled adds what has changed.
func (a *app) polled(kind eventKind, code int, down bool, mods modifier) {
	was := a.keys.down[code]
	if kind == button {
		was = a.pointer.pressed[code]
	}
	if was != down {
		a.events = append(a.events, event{kind: kind, code: code, down: down, mods: mods, at: cursor()})
	}
}

// ebitenKeys by the codes of named keys.
var ebitenKeys = map[int]ebiten.Key{
	256: ebiten.KeyEscape, 257: ebiten.KeyEnter, 335: ebiten.KeyNumpadEnter, 258: ebiten.KeyTab, 259: ebiten.KeyBackspace,
	260: ebiten.KeyInsert, 261: ebiten.KeyDelete, 262: ebiten.KeyArrowRight, 263: ebiten.KeyArrowLeft, 264: ebiten.KeyArrowDown,
	265: ebiten.KeyArrowUp, 266: ebiten.KeyPageUp, 267: ebiten.KeyPageDown, 268: ebiten.KeyHome, 269: ebiten.KeyEnd, 32: ebiten.KeySpace,
}
