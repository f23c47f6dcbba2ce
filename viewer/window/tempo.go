package window

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/hajimehoshi/ebiten/v2"
	"golang.org/x/sys/unix"
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/measure/mark"
	"leadline/viewer/board"
	"leadline/viewer/desk"
)

// Figures are what drawing costs, medians over a run.
type Figures struct {
	// Plain is the time from one frame to the next of a window that shows just
	// the two films' pictures at the size and place they have on the desk.
	Plain time.Duration
	// Drag is the same while a point of the ventral margin, or of the mark with
	// the most points, is dragged with everything on the desk shown.
	Drag time.Duration
	// PlainCPU and DragCPU are the processor time of the whole program for a
	// frame, software rendering and measuring in the background included: they
	// depend less on what else the machine is doing.
	PlainCPU, DragCPU time.Duration
	// Update and Draw are the Go side of a frame of Drag.
	Update, Draw time.Duration
	Frames       int
}

func (f Figures) String() string {
	ms := func(d time.Duration) string { return fmt.Sprintf("%.2f ms", float64(d.Microseconds())/1000) }
	return fmt.Sprintf("two films alone %s a frame (processor %s), dragging a point %s a frame (processor %s): %.2f times as much (processor %.2f); Go side: update %s, draw %s (%d frames)",
		ms(f.Plain), ms(f.PlainCPU), ms(f.Drag), ms(f.DragCPU), float64(f.Drag)/float64(f.Plain), float64(f.DragCPU)/float64(f.PlainCPU),
		ms(f.Update), ms(f.Draw), f.Frames)
}

// Measure opens the desk in a window, drags a point about, shows the films
// alone, in turns, and gives what a frame cost. Nothing is saved by it that was
// not there: the point is put back.
func Measure(d *desk.Desk, opt Options) (Figures, error) {
	a, err := newApp(d, opt)
	if err != nil {
		return Figures{}, err
	}
	t := &tempo{app: a}
	a.opt.Tempo = func(update, draw time.Duration) {
		if t.settled() {
			t.update, t.draw = append(t.update, update), append(t.draw, draw)
		}
	}
	ebiten.SetWindowSize(1280, 800)
	ebiten.SetScreenClearedEveryFrame(false)
	ebiten.SetFPSMode(ebiten.FPSModeVsyncOffMaximum)
	ebiten.SetTPS(ebiten.SyncWithFPS)
	if err := ebiten.RunGame(t); err != nil && !errors.Is(err, errMeasured) {
		return Figures{}, fmt.Errorf("the window cannot be shown: %w", err)
	}
	return Figures{Plain: median(t.times[0]), Drag: median(t.times[1]), PlainCPU: median(t.cpu[0]), DragCPU: median(t.cpu[1]),
		Update: median(t.update), Draw: median(t.draw), Frames: len(t.times[1])}, nil
}

var errMeasured = errors.New("measured")

// tempo takes turns between the two films alone and a drag.
type tempo struct {
	app          *app
	n            int // frames of this turn
	turn         int
	last         time.Time
	used         time.Duration // of the processor, when the turn had settled
	cpu          [2][]time.Duration
	times        [2][]time.Duration
	update, draw []time.Duration
	from         r2.Vec
}

// A turn is so many frames, the first of which do not count; so many turns.
const (
	turnFrames = 50
	turnSettle = 10
	turns      = 6
)

func (t *tempo) dragging() bool { return t.turn%2 == 1 }
func (t *tempo) settled() bool  { return t.n > turnSettle }

func (t *tempo) Layout(w, h int) (int, int)              { return t.app.Layout(w, h) }
func (t *tempo) LayoutF(w, h float64) (float64, float64) { return t.app.LayoutF(w, h) }

func (t *tempo) Update() error {
	switch t.n {
	case turnSettle:
		t.used = processorTime()
	case turnFrames:
		t.cpu[t.turn%2] = append(t.cpu[t.turn%2], (processorTime()-t.used)/(turnFrames-turnSettle))
		t.n = 0
		t.turn++
		t.app.stale, t.app.dirty = true, true
		if t.dragging() {
			t.grab()
		} else {
			t.app.d.PutBack()
		}
	}
	if t.turn >= turns {
		t.app.d.PutBack()
		return errMeasured
	}
	if t.dragging() {
		t.app.d.Move(r2.Add(t.from, r2.Vec{X: float64(t.n%9) - 4, Y: float64(t.n%7) - 3}))
		t.app.dirty = true
	}
	if t.turn == 0 && t.n == 0 {
		t.app.dirty = true // the films are loaded by drawing them
	}
	return t.app.Update()
}

// grab takes hold of a point in the middle of a long mark.
func (t *tempo) grab() {
	var best mark.Mark
	for _, m := range t.app.d.Book().Marks {
		if m.Structure == mark.VentralMargin && best.Structure != m.Structure || best.Structure != mark.VentralMargin && len(m.Points) > len(best.Points) {
			best = m
		}
	}
	if len(best.Points) == 0 {
		return
	}
	v := len(best.Points) / 2
	t.from = best.Points[v]
	t.app.d.Select(desk.Selection{Mark: best.UID, Vertex: v})
	t.app.d.Grab(t.from)
}

func (t *tempo) Draw(screen *ebiten.Image) {
	now := time.Now()
	if t.settled() {
		t.times[t.turn%2] = append(t.times[t.turn%2], now.Sub(t.last))
	}
	t.last = now
	t.n++
	if t.dragging() || t.turn == 0 && t.n == 1 {
		t.app.Draw(screen)
		return
	}
	screen.Clear()
	for _, id := range panes {
		if f := t.app.films[id]; f != nil && f.err == nil {
			f.draw(screen, board.View(t.app.d, id, t.app.places.Film[id], t.app.unit), false)
		}
	}
}

// processorTime is what the program has used so far, of all its threads.
func processorTime() time.Duration {
	var u unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func median(d []time.Duration) time.Duration {
	if len(d) == 0 {
		return 0
	}
	d = slices.Clone(d)
	slices.Sort(d)
	return d[len(d)/2]
}
