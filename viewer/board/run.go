package board

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

// Design units of the run bar: its height, and where the button and the line of
// frames stand in it.
const (
	runHigh   = 44.0
	runButton = 30.0
	runLine   = 24.0 // height of the part with the ticks
	runPad    = 8.0
)

// runBar is where the frames of a run stand in the bar under a pane.
type runBar struct {
	button, line scene.Rect
	u            float64
	frames       int
}

func barOf(r desk.Run, at Places, id desk.PaneID) runBar {
	u, place := at.Unit, at.Run[id]
	return runBar{
		button: scene.Box(place.Min.X, place.Min.Y, runButton*u, runLine*u),
		line:   scene.Rect{Min: vec(place.Min.X+(runButton+runPad)*u, place.Min.Y), Max: vec(place.Max.X-runPad*u, place.Min.Y+runLine*u)},
		u:      u, frames: r.Frames,
	}
}

// x of a frame's middle.
func (b runBar) x(n int) float64 { return b.edge(n) + b.step()/2 }

// edge is where a frame begins.
func (b runBar) edge(n int) float64 { return b.line.Min.X + float64(n-1)*b.step() }

func (b runBar) step() float64 { return b.line.W() / float64(b.frames) }

// RunLine is where a pane's frames stand on its bar, each as wide as the others.
func RunLine(d *desk.Desk, at Places, id desk.PaneID) scene.Rect {
	r, ok := d.Run(id)
	if !ok {
		return scene.Rect{}
	}
	return barOf(r, at, id).line
}

// RunFrame is the frame of a pane's run that a place on its bar means; ok is
// false beside the line of frames. A drag that began on it goes on beside it:
// then held is set, and the nearest frame is meant.
func RunFrame(d *desk.Desk, at Places, id desk.PaneID, x, y float64, held bool) (n int, ok bool) {
	r, run := d.Run(id)
	if !run {
		return 0, false
	}
	b := barOf(r, at, id)
	if !held && !b.line.Inset(-runPad/2*b.u).Has(vec(x, y)) {
		return 0, false
	}
	n = int(math.Floor((x-b.line.Min.X)/b.step())) + 1
	return min(max(n, 1), r.Frames), true
}

// runPart is the bar under a pane: a tick a frame, the chosen span, where the
// run stands, and its rate with where it is known from.
func runPart(d *desk.Desk, at Places, id desk.PaneID) Part {
	u, place := at.Unit, at.Run[id]
	p := newPen(place, u)
	part := Part{Name: "run " + id.String(), Place: place, Ground: scene.Ground}
	r, ok := d.Run(id)
	if !ok {
		return part
	}
	b := barOf(r, at, id)
	p.box(b.button, 4, card)
	p.frame(b.button, 4, 1, cardLine)
	c := b.button.Centre()
	if r.Playing {
		p.line(3.2, scene.White, vec(c.X-4*u, c.Y-6*u), vec(c.X-4*u, c.Y+6*u))
		p.line(3.2, scene.White, vec(c.X+4*u, c.Y-6*u), vec(c.X+4*u, c.Y+6*u))
	} else {
		p.layer.Fills = append(p.layer.Fills, scene.Fill{Points: triangle(c.X, c.Y, u), Color: scene.White})
	}
	part.Hits = []Hit{{b.button, "/"}}

	p.box(b.line, 4, scene.Panel)
	if r.First > 0 {
		last := r.Last
		if last == 0 {
			last = r.First
		}
		span := scene.Rect{Min: vec(b.edge(r.First), b.line.Min.Y), Max: vec(b.edge(last+1), b.line.Max.Y)}
		p.box(span, 0, active)
		for _, x := range []float64{span.Min.X, span.Max.X} {
			p.line(2, scene.Mist, vec(x, span.Min.Y), vec(x, span.Max.Y))
		}
	}
	b.ticks(p)
	if r.Mean {
		p.line(4, scene.White, vec(b.edge(r.First), b.line.Centre().Y), vec(b.edge(max(r.Last, r.First)+1), b.line.Centre().Y))
	} else {
		x := b.x(r.At)
		p.line(math.Max(2.6, math.Min(b.step()/u*0.5, 7)), scene.White, vec(x, b.line.Min.Y+3*u), vec(x, b.line.Max.Y-3*u))
	}

	y := place.Max.Y - 5*u
	w := p.right(place.Max.X-runPad*u, y, rate(r), 11.5, false, scene.Grey)
	words := fmt.Sprintf("Frame %d of %d", r.At, r.Frames)
	if r.Mean {
		words = "Mean of frames " + spanWords(d.Pane(id).Ref.First, d.Pane(id).Ref.Last)
	}
	x := place.Min.X
	x += p.text(x, y, words, 12, true, scene.White) + 12*u
	room := place.Max.X - runPad*u - w - 12*u - x
	if hint := spanHint(r); scene.Advance(hint, 11.5*u, false) <= room {
		p.text(x, y, hint, 11.5, false, scene.Grey)
	}
	if r.First > 0 && r.Last > r.First {
		part.Hits = append(part.Hits, Hit{scene.Box(place.Min.X, y-13*u, place.W()-w-2*runPad*u, 18*u), "M"})
	}
	part.Drawing = p.drawing()
	return part
}

// ticks, one a frame, every tenth longer; where they would run together only
// every tenth or hundredth.
func (b runBar) ticks(p *pen) {
	every := 1
	for b.step()*float64(every) < 3.5*b.u {
		every *= 10
	}
	for n := every; n <= b.frames; n += every {
		high := 4.0
		if n%(10*every) == 0 {
			high = 8
		}
		x := math.Round(b.x(n)) + 0.5
		p.line(1, scene.Grey, vec(x, b.line.Max.Y-(high+1)*b.u), vec(x, b.line.Max.Y-b.u))
	}
}

// rate at which it is played, and where that is known from.
func rate(r desk.Run) string {
	words := fmt.Sprintf("%.3g frames/s", r.Rate)
	if r.Pace != 1 {
		words += fmt.Sprintf(", %g of taken", r.Pace)
	}
	return words + ", " + r.Source
}

func spanHint(r desk.Run) string {
	switch {
	case r.First == 0:
		return ""
	case r.Last == 0:
		return fmt.Sprintf("span from %d: Shift+End ends it", r.First)
	case r.Last == r.First:
		return "span of one frame"
	case r.Mean:
		return "Shift+M: single frame"
	}
	return spanWords(r.First, r.Last) + " chosen, Shift+M: mean"
}

func spanWords(first, last int) string { return fmt.Sprintf("%d to %d", first, last) }

// triangle points to what comes next.
func triangle(x, y, u float64) []r2.Vec {
	return []r2.Vec{vec(x-5*u, y-7*u), vec(x+7*u, y), vec(x-5*u, y+7*u)}
}

// Sign says on the picture what it is where it is no single frame, or why there
// is none yet.
func Sign(d *desk.Desk, id desk.PaneID, place scene.Rect, unit float64) scene.Drawing {
	p := newPen(place, unit)
	r, ok := d.Run(id)
	if !ok || !r.Mean {
		return scene.Drawing{}
	}
	ref := d.Pane(id).Ref
	words := "Mean of frames " + spanWords(ref.First, ref.Last)
	w := scene.Advance(words, 13*unit, true) + 20*unit
	box := scene.Box(place.Min.X+10*unit, place.Min.Y+42*unit, w, 26*unit)
	p.box(box, 5, scene.Panel)
	p.frame(box, 5, 1, scene.Mist)
	p.text(box.Min.X+10*unit, box.Max.Y-8*unit, words, 13, true, scene.White)
	return p.drawing()
}

// Coming says that a pane's picture is being read, and how far a mean has come.
func Coming(d *desk.Desk, id desk.PaneID, place scene.Rect, unit float64) scene.Drawing {
	p := newPen(place, unit)
	done, of, _ := d.Coming(id)
	ref := d.Pane(id).Ref
	c := place.Centre()
	words := "Reading frame " + ref.Span() + " …"
	if of > 1 {
		words = fmt.Sprintf("Mean of frames %s: %d of %d read. Esc gives it up.", spanWords(ref.First, ref.Last), done, of)
		line := scene.Box(c.X-120*unit, c.Y+14*unit, 240*unit, 6*unit)
		p.box(line, 3, cardLine)
		line.Max.X = line.Min.X + line.W()*float64(done)/float64(of)
		if done > 0 {
			p.box(line, 3, scene.Mist)
		}
	}
	p.text(c.X-scene.Advance(words, 13*unit, false)/2, c.Y, words, 13, false, scene.Grey)
	return p.drawing()
}
