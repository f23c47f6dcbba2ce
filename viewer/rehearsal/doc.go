// Package rehearsal holds tests alone: they build the programs and drive the
// viewer with a real mouse and keyboard on a virtual display (Xvfb, xdotool).
// It imports nothing that needs a display, so that its tests can say what is
// missing where there is none.
package rehearsal
