package desk

import (
	"fmt"
	"time"

	"leadline/imaging"
	"leadline/measure/mark"
)

// Run is how a run of frames stands in a pane.
type Run struct {
	Frames int
	At     int // frame shown; where a mean is shown, the frame shown before it
	// First and Last are the chosen span, 0 where none is: what is played, and
	// what the mean is of.
	First, Last int
	Mean        bool // the mean of a span is shown
	Playing     bool
	Rate        float64 // frames a second here, as played
	Pace        float64 // by how much faster than the header says
	Source      string  // where the rate is known from
}

// strip is what is remembered of a run while it is not shown.
type strip struct {
	at          int // frame last shown
	first, last int // chosen span
	pace        int // index of paces
	mean        bool
}

// player moves a pane's run on.
type player struct {
	on   bool
	head int       // frame that is due now
	due  time.Time // when the next one is
}

// paces by which a run can be played, and the one at first.
var paces = []float64{0.125, 0.25, 0.5, 1, 2, 4}

const paceAsGiven = 3

// behindMost is how late a run may be before it goes on from where it is: a
// machine that slept does not race through what it missed.
const behindMost = time.Second

// strip of an instance.
func (d *Desk) strip(instance string) *strip {
	s := d.strips[instance]
	if s == nil {
		s = &strip{at: 1, pace: paceAsGiven}
		d.strips[instance] = s
	}
	return s
}

// frames of what a pane shows; 1 for what is no run.
func (d *Desk) frames(p PaneID) int {
	if h := d.header(d.panes[p].Ref.Instance); h != nil {
		return max(h.Frames, 1)
	}
	return 1
}

// Run of a pane; ok is false where it shows no run.
func (d *Desk) Run(p PaneID) (r Run, ok bool) {
	ref := d.panes[p].Ref
	h := d.header(ref.Instance)
	if h == nil || h.Frames < 2 {
		return r, false
	}
	s := d.strip(ref.Instance)
	r = Run{Frames: h.Frames, At: s.at, First: s.first, Last: s.last, Mean: ref.Last > ref.First, Playing: d.players[p].on, Pace: paces[s.pace]}
	each, source := h.Interval(s.at)
	r.Rate, r.Source = r.Pace/each.Seconds(), source
	return r, true
}

// HasRun reports whether the case has a run at all.
func (d *Desk) HasRun() bool {
	for _, h := range d.cfg.Headers {
		if h.Frames > 1 {
			return true
		}
	}
	return false
}

// RunPane is the pane whose run keys speak to: the focused one, else the other;
// ok is false where neither shows one.
func (d *Desk) RunPane() (p PaneID, ok bool) {
	for _, p := range []PaneID{d.focus, d.focus.Other()} {
		if d.frames(p) > 1 {
			return p, true
		}
	}
	return d.focus, false
}

// leave lets go of what is selected and being marked on a pane's frame before
// another is shown there.
func (d *Desk) leave(p PaneID) {
	if dr := d.now.draft; dr != nil && dr.Pane == p {
		d.endDraft()
	}
	if m, ok := d.Selected(); ok && m.Frame == d.panes[p].Ref || d.drag != nil && ok {
		d.Drop()
		d.now.selection = Selection{Vertex: whole}
	}
}

// turn shows another frame of the run.
func (d *Desk) turn(p PaneID, n int) {
	ref := d.panes[p].Ref
	d.strip(ref.Instance).at = n
	d.show(p, mark.One(ref.Instance, n))
}

// GoTo shows frame n of the pane's run and stops playing.
func (d *Desk) GoTo(p PaneID, n int) {
	most := d.frames(p)
	if most < 2 {
		d.say("This image has one frame.")
		return
	}
	n = min(max(n, 1), most)
	d.players[p].on = false
	if d.panes[p].Ref == mark.One(d.panes[p].Ref.Instance, n) {
		return
	}
	d.leave(p)
	d.turn(p, n)
	d.measure()
	d.say("Frame %d of %d.", n, most)
}

// StepFrame shows the next or previous frame of a run. Where the mean of a span
// is shown it steps from the frame that was shown before.
func (d *Desk) StepFrame(p PaneID, step int) {
	if r, ok := d.Run(p); ok && (!r.Mean || step == 0) {
		d.GoTo(p, r.At+step)
		return
	} else if ok {
		d.GoTo(p, r.At)
		return
	}
	d.say("This image has one frame.")
}

// Play plays the pane's run, over the chosen span where there is one, or stops
// it. What is being marked on the other film goes on.
func (d *Desk) Play(p PaneID) {
	r, ok := d.Run(p)
	if !ok {
		d.say("This image has one frame: nothing to play.")
		return
	}
	if r.Playing {
		d.stopPlaying(p)
		d.say("Stopped at frame %d of %d.", r.At, r.Frames)
		return
	}
	d.leave(p)
	first, last := r.ends()
	at := r.At
	if at < first || at > last {
		at = first
	}
	d.turn(p, at)
	d.players[p] = player{on: true, head: at, due: d.cfg.Now().Add(d.interval(p, at))}
	d.say("Playing %s at %.3g frames a second. / stops.", r.what(), r.Rate)
	d.cfg.Wake()
}

// ends of what is played.
func (r Run) ends() (first, last int) {
	if r.First > 0 && r.Last > r.First {
		return r.First, r.Last
	}
	return 1, r.Frames
}

func (r Run) what() string {
	if first, last := r.ends(); first != 1 || last != r.Frames {
		return fmt.Sprintf("frames %d to %d", first, last)
	}
	return fmt.Sprintf("all %d frames", r.Frames)
}

// stopPlaying stops a run where it is; what is shown then is measured.
func (d *Desk) stopPlaying(p PaneID) {
	if d.players[p].on {
		d.players[p].on = false
		d.measure()
	}
}

// interval that a frame stands for at the pace in use.
func (d *Desk) interval(p PaneID, n int) time.Duration {
	ref := d.panes[p].Ref
	h := d.header(ref.Instance)
	each, _ := h.Interval(n)
	return max(time.Duration(float64(each)/paces[d.strip(ref.Instance).pace]), time.Millisecond)
}

// SetPace plays faster (1) or slower (-1).
func (d *Desk) SetPace(p PaneID, step int) {
	r, ok := d.Run(p)
	if !ok {
		d.say("This image has one frame: nothing to play.")
		return
	}
	s := d.strip(d.panes[p].Ref.Instance)
	s.pace = min(max(s.pace+step, 0), len(paces)-1)
	r, _ = d.Run(p)
	d.say("%.3g frames a second, %g times as taken (%s).", r.Rate, r.Pace, r.Source)
}

// playOn moves the runs that play to the frame that is due, or to the newest
// before it that has been read: frames are dropped rather than shown late. It
// reports whether one moved, and when the next is due.
func (d *Desk) playOn(now time.Time) (moved bool, next time.Time) {
	for p := range d.players {
		pl, id := &d.players[p], PaneID(p)
		r, ok := d.Run(id)
		if !ok {
			pl.on = false
		}
		if !pl.on {
			continue
		}
		first, last := r.ends()
		for !now.Before(pl.due) {
			if pl.head++; pl.head > last || pl.head < first {
				pl.head = first
			}
			pl.due = pl.due.Add(d.interval(id, pl.head))
			if now.Sub(pl.due) > behindMost {
				pl.due = now.Add(d.interval(id, pl.head))
			}
		}
		for n := pl.head; n != r.At; {
			if d.has(mark.One(d.panes[id].Ref.Instance, n)) {
				d.turn(id, n)
				moved = true
				break
			}
			if n--; n < first {
				n = last
			}
			if n == pl.head {
				break
			}
		}
		if next.IsZero() || pl.due.Before(next) {
			next = pl.due
		}
	}
	return moved, next
}

// Begin and End of the chosen span at the frame shown.
func (d *Desk) beginSpan(p PaneID) {
	if r, ok := d.Run(p); ok {
		last := r.Last
		if last <= r.At {
			last = 0
		}
		d.choose(p, r.At, last)
		return
	}
	d.say("This image has one frame: no span to choose.")
}

func (d *Desk) endSpan(p PaneID) {
	if r, ok := d.Run(p); ok {
		first := r.First
		if first == 0 || first >= r.At {
			first = 1
		}
		d.choose(p, first, r.At)
		return
	}
	d.say("This image has one frame: no span to choose.")
}

// choose sets the span; last 0 leaves its end open.
func (d *Desk) choose(p PaneID, first, last int) {
	s := d.strip(d.panes[p].Ref.Instance)
	s.first, s.last = first, last
	switch {
	case last == 0:
		d.say("A span begins at frame %d. Shift+End ends it at the frame shown.", first)
	case last == first:
		d.say("A span of one frame, %d: choose another end.", first)
	default:
		d.say("Frames %d to %d chosen. Shift+M shows their mean, / plays them, Escape lets them go.", first, last)
	}
}

// ChooseSpan chooses frames a to b of the pane's run, in either order. Where the
// mean is shown it becomes that of the new span.
func (d *Desk) ChooseSpan(p PaneID, a, b int) {
	r, ok := d.Run(p)
	if !ok {
		return
	}
	a, b = min(max(a, 1), r.Frames), min(max(b, 1), r.Frames)
	d.choose(p, min(a, b), max(a, b))
}

// clearSpan lets the chosen span of the focused pane go.
func (d *Desk) clearSpan(p PaneID) bool {
	r, ok := d.Run(p)
	if !ok || r.First == 0 || r.Mean {
		return false
	}
	s := d.strip(d.panes[p].Ref.Instance)
	s.first, s.last = 0, 0
	d.say("No span chosen.")
	return true
}

// ShowMean shows the mean of the chosen span, or the single frame again. What
// is marked on it belongs to that span.
func (d *Desk) ShowMean(p PaneID) {
	r, ok := d.Run(p)
	ref := d.panes[p].Ref
	switch h := d.header(ref.Instance); {
	case !ok:
		d.say("This image has one frame: there is no mean.")
	case r.Mean && (ref.First == r.First && ref.Last == r.Last || r.First == 0):
		d.GoTo(p, r.At)
	case r.First == 0 || r.Last <= r.First:
		d.say("Choose a span of frames first: Shift+Home and Shift+End, or drag on the run bar with Shift.")
	case h.Turning(r.First, r.Last) > imaging.TurningMost:
		d.refuse(fmt.Errorf("the beam turns by %.0f degrees from frame %d to %d: their mean shows no one direction; choose fewer frames",
			h.Turning(r.First, r.Last), r.First, r.Last))
	default:
		d.players[p].on = false
		d.leave(p)
		d.show(p, mark.FrameRef{Instance: ref.Instance, First: r.First, Last: r.Last})
		d.measure()
		d.say("Mean of frames %d to %d. Shift+M shows frame %d again.", r.First, r.Last, r.At)
	}
}

// giveUp goes back to the single frame while a mean is still being made.
func (d *Desk) giveUp(p PaneID) bool {
	ref := d.panes[p].Ref
	if ref.Last <= ref.First || d.reel == nil {
		return false
	}
	if _, reading := d.reel.Reading(ref); !reading {
		return false
	}
	d.GoTo(p, d.strip(ref.Instance).at)
	d.say("The mean of frames %d to %d was given up.", ref.First, ref.Last)
	return true
}

// pressRun takes the keys of a run and reports whether key is one.
func (d *Desk) pressRun(key string) bool {
	p, _ := d.RunPane()
	switch key {
	case "/", "Space":
		d.Play(p)
	case "<":
		d.StepFrame(p, -1)
	case ">":
		d.StepFrame(p, 1)
	case "Ctrl+Home":
		d.GoTo(p, 1)
	case "Ctrl+End":
		d.GoTo(p, d.frames(p))
	case "(":
		d.SetPace(p, -1)
	case ")":
		d.SetPace(p, 1)
	case "Shift+Home":
		d.beginSpan(p)
	case "Shift+End":
		d.endSpan(p)
	case "M":
		d.ShowMean(p)
	default:
		return false
	}
	return true
}
