//go:build linux && cgo

package window

/*
#cgo LDFLAGS: -Wl,--wrap=_glfwInputMouseClick -Wl,--wrap=_glfwInputKey -Wl,--wrap=_glfwInputChar -Wl,--wrap=_glfwInputCursorPos
#include "hands_linux.h"
*/
import "C"

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// hands gives what mouse and keyboard did since it was last asked, in the order
// it was done. The graphics library alone tells how buttons and keys are at the
// moment one asks: a press and its release within one drawn frame would be lost,
// and a click would be taken to where the pointer has gone since. So what
// passes through the library's own entry points is written down on its way.
func (a *app) hands() []event {
	a.events = a.events[:0]
	var e C.hand
	for C.leadline_hand(&e) != 0 {
		ev := event{kind: eventKind(e.kind), code: int(e.code), down: e.down != 0, mods: modifier(e.mods)}
		// The pointer's tip is the middle of its pixel.
		ev.at = r2.Vec{X: math.Floor(float64(e.x)) + 0.5, Y: math.Floor(float64(e.y)) + 0.5}
		a.events = append(a.events, ev)
	}
	return a.events
}
