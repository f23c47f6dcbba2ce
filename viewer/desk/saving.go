package desk

import (
	"fmt"
	"time"

	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/response"
)

// How long a change waits to be saved: quiet after the last change, but never
// longer than latest; a save that failed is tried again after retry, which
// doubles up to its longest.
const (
	saveQuiet    = 400 * time.Millisecond
	saveLatest   = 3 * time.Second
	retryFirst   = time.Second
	retryLongest = 30 * time.Second
)

// Saved is how things stand with saving.
type Saved int

// The states of saving.
const (
	Unchanged Saved = iota // nothing to save since the case was opened
	Pending
	Saving
	Kept
	Failed
)

type saving struct {
	state  Saved
	at     time.Time // of the last save that worked
	err    error
	first  time.Time // of the oldest change not yet saved
	last   time.Time // of the newest
	dirty  bool
	busy   bool
	retry  time.Duration
	retryT time.Time
	save   func(mark.Book, []response.Test, placement.Placement) error
	wake   func()
	result chan error
}

func (s *saving) start(cfg Config) {
	s.save, s.wake = cfg.Save, cfg.Wake
	s.result = make(chan error, 1)
}

func (s *saving) changed(now time.Time) {
	if s.save == nil {
		return
	}
	if !s.dirty {
		s.first = now
	}
	s.dirty, s.last = true, now
	if s.state != Failed && s.state != Saving {
		s.state = Pending
	}
}

// poll takes in a finished save and starts one that is due. A save waits for
// the placement of the book it saves.
func (s *saving) poll(now time.Time, book mark.Book, tests []response.Test, m *measuring, held bool) (changed bool, next time.Time) {
	select {
	case err := <-s.result:
		s.busy, changed = false, true
		s.finish(now, err)
	default:
	}
	if !s.dirty || s.busy {
		return changed, time.Time{}
	}
	due := s.last.Add(saveQuiet)
	if limit := s.first.Add(saveLatest); limit.Before(due) || held {
		due = limit
	}
	if s.retryT.After(due) {
		due = s.retryT
	}
	if now.Before(due) {
		return changed, due
	}
	if m.taken != m.revision {
		return changed, time.Time{} // the measurement wakes us
	}
	s.begin(book, tests, m.placement)
	return true, time.Time{}
}

func (s *saving) begin(book mark.Book, tests []response.Test, p placement.Placement) {
	s.dirty, s.busy = false, true
	if s.state != Failed {
		s.state = Saving
	}
	go func() {
		s.result <- s.save(book, tests, p)
		s.wake()
	}()
}

func (s *saving) finish(now time.Time, err error) {
	if err == nil {
		s.at, s.err, s.retry, s.retryT = now, nil, 0, time.Time{}
		s.state = Kept
		if s.dirty {
			s.state = Pending
		}
		return
	}
	if !s.dirty {
		s.first, s.last = now, now
	}
	s.dirty, s.state, s.err = true, Failed, err
	s.retry = min(max(2*s.retry, retryFirst), retryLongest)
	s.retryT = now.Add(s.retry)
}

// Saved says how things stand with saving, for the case line.
func (d *Desk) Saved() (Saved, string) {
	s := &d.saving
	switch s.state {
	case Pending, Saving:
		return s.state, "saving …"
	case Kept:
		return s.state, "saved " + s.at.Format("15:04:05")
	case Failed:
		return s.state, fmt.Sprintf("NOT SAVED: %v", s.err)
	}
	if d.cfg.Save == nil {
		return s.state, "not kept"
	}
	return s.state, "no change since opened"
}

// Quit saves what is not saved yet and then lets the window close: Done
// reports true after a later Poll. Where saving fails it asks what to do.
func (d *Desk) Quit() {
	d.Drop()
	if dr := d.now.draft; dr != nil && len(dr.Mark.Points) > 0 && len(dr.Mark.Points) < dr.Kind.Least {
		d.question = &Question{
			Title:   NameOf(dr.Mark) + " is not finished",
			Detail:  fmt.Sprintf("It has %s of at least %d, and cannot be kept so.", points(len(dr.Mark.Points)), dr.Kind.Least),
			Choices: []Choice{{"c", "close without it"}, {"Escape", "stay and finish it"}},
			answer: func(string) {
				d.Cancel()
				d.Quit()
			},
		}
		return
	}
	d.endDraft()
	d.quitting = true
	d.cases, d.chooser = nil, nil
	s := &d.saving
	if s.dirty {
		s.first, s.last, s.retryT = time.Time{}, time.Time{}, time.Time{}
	}
	d.cfg.Wake()
}

// finishQuit ends quitting where it can and reports whether something changed.
func (d *Desk) finishQuit() bool {
	s := &d.saving
	if s.busy {
		return false
	}
	if s.state == Failed && s.retryT.After(d.cfg.Now()) {
		d.quitting = false
		d.askUnsaved()
		return true
	}
	if !s.dirty {
		d.done = true
		return true
	}
	return false
}

// askUnsaved asks what to do with what cannot be saved.
func (d *Desk) askUnsaved() {
	d.question = &Question{
		Title:  "Not saved",
		Detail: fmt.Sprintf("%v", d.saving.err),
		Choices: []Choice{
			{Key: "t", Text: "try again"},
			{Key: "w", Text: "write all elsewhere, then close"},
			{Key: "Escape", Text: "stay"},
		},
		answer: func(key string) {
			switch key {
			case "t":
				d.Quit()
			case "w":
				if d.cfg.Rescue == nil {
					d.refuse(fmt.Errorf("there is no other place to write them to"))
					return
				}
				where, err := d.cfg.Rescue(d.now.book, d.now.responses)
				if err != nil {
					d.refuse(fmt.Errorf("not written elsewhere: %w", err))
					return
				}
				d.say("All written to %s.", where)
				d.done = true
			}
		},
	}
}

// Quitting reports whether the desk closes as soon as all is saved.
func (d *Desk) Quitting() bool { return d.quitting }

// Stop ends the goroutines of a desk that is done.
func (d *Desk) Stop() {
	d.dropSuggestion()
	d.measuring.stop()
	d.thumbs.stop()
	if d.reel != nil {
		d.reel.Close()
	}
}
