package desk

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/imaging/assist"
	"leadline/measure/mark"
)

// suggesting asks for a needle near a place aside.
type suggesting struct {
	cancel context.CancelFunc
	asked  int // counts the questions: an answer to another is dropped
	result chan suggested
	shown  *Suggestion
}

type suggested struct {
	asked  int
	at     Suggestion
	answer assist.Answer
	err    error
}

// Suggestion of a needle that is nobody's mark yet.
type Suggestion struct {
	Pane       PaneID
	Frame      mark.FrameRef
	Points     []r2.Vec // SR coordinates, from skin to tip
	SD         float64  // pixels, per coordinate, at the tip
	Confidence float64
}

// Suggestion that waits to be accepted or refused, or nil.
func (d *Desk) Suggestion() *Suggestion {
	s := d.suggesting.shown
	if s == nil || d.panes[s.Pane].Ref != s.Frame {
		return nil
	}
	return s
}

// Suggest asks for the needle near the crosshair of the focused film; where both
// its ends lie in the field the one nearer the crosshair is taken as the tip.
// Side and level are never suggested.
func (d *Desk) Suggest() {
	p := d.focus
	ref, near := d.panes[p].Ref, d.panes[p].Cursor
	switch {
	case d.cfg.Assist == nil || d.cfg.Frame == nil:
		d.refuse(errors.New("no suggestions here"))
		return
	case !d.ready(KindOf(mark.Needle), p):
		return
	case !d.seen(p):
		d.refuse(fmt.Errorf("frame %s is still being read", ref.Span()))
		return
	}
	d.endDraft()
	d.stopPlaying(p)
	s := &d.suggesting
	d.dropSuggestion()
	if s.result == nil {
		s.result = make(chan suggested)
	}
	ctx, cancel := context.WithCancel(context.Background())
	s.cancel = cancel
	ask, frame, wake, result, n := d.cfg.Assist, d.cfg.Frame, d.cfg.Wake, s.result, s.asked
	go func() {
		got := suggested{asked: n, at: Suggestion{Pane: p, Frame: ref}}
		f, err := frame(ctx, ref, func(int) {})
		if err == nil {
			got.answer, err = ask(ctx, f, near)
		}
		got.err = err
		wake()
		select {
		case result <- got:
		case <-ctx.Done():
		}
	}()
	d.say("Looking for a needle with its tip near the pointer …")
}

// dropSuggestion forgets what is shown or still being looked for and reports
// whether there was any.
func (d *Desk) dropSuggestion() bool {
	s := &d.suggesting
	had := s.cancel != nil || s.shown != nil
	if s.cancel != nil {
		s.cancel()
	}
	s.cancel, s.shown = nil, nil
	s.asked++
	return had
}

// pollSuggestion takes an answer in.
func (d *Desk) pollSuggestion() bool {
	s := &d.suggesting
	select {
	case got := <-s.result:
		if got.asked != s.asked {
			return false
		}
		s.cancel()
		s.cancel = nil
		switch {
		case got.err != nil:
			d.refuse(fmt.Errorf("no suggestion: %w", got.err))
		case len(got.answer.Suggestions) == 0:
			d.say("No needle is suggested: %s", got.answer.Refused)
		default:
			best := got.answer.Suggestions[0]
			for _, p := range best.Points {
				got.at.Points = append(got.at.Points, mark.Round(p.Vec()))
			}
			got.at.SD, got.at.Confidence = best.SD, best.Confidence
			s.shown = &got.at
			d.say("Suggested, confidence %.2f: Enter accepts, Escape refuses. %s", best.Confidence, strings.Join(best.Notes, " "))
		}
		return true
	default:
		if s.cancel != nil { // the answer may be about to be handed over
			time.AfterFunc(20*time.Millisecond, d.cfg.Wake)
		}
		return false
	}
}

// acceptSuggestion makes the suggestion this observer's mark and reports
// whether there was one.
func (d *Desk) acceptSuggestion() bool {
	s := d.Suggestion()
	if s == nil {
		return false
	}
	m := bound(d, mark.Mark{UID: mark.NewUID(), Structure: mark.Needle, Points: s.Points, Origin: mark.Suggested}, s.Pane)
	if s.SD > 0 {
		m.SD = imaging.Known(s.SD)
	}
	if o, found := d.twin(m); found {
		d.refuse(fmt.Errorf("%s is marked on this film already: nothing was changed", NameOf(o)))
		return true
	}
	m.History = []string{fmt.Sprintf("suggested by %s, accepted by %s, %s", assist.Program, d.Observer(), d.cfg.Now().UTC().Format(time.RFC3339))}
	d.dropSuggestion()
	d.remember("accepting " + NameOf(m))
	d.now.book = withMark(d.now.book, m)
	d.device = m.Object
	d.now.selection = Selection{Mark: m.UID, Vertex: whole}
	d.changed()
	d.say("%s accepted: its points can be moved.", NameOf(m))
	return true
}
