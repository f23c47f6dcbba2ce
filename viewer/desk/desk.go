// Package desk is the viewer with no window in it: what is open, selected and
// being marked, every action a person can take, undo and redo, measuring and
// saving behind their back. A window shows a Desk and hands it events; a test
// does the same without one.
//
// A Desk belongs to one goroutine, the one that calls its methods. Measuring
// and saving run in goroutines of their own; they call Wake when they have
// news, and Poll takes it in.
package desk

import (
	"context"
	"fmt"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/imaging/assist"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/response"
	"leadline/measure/sidecar"
	"leadline/viewer/reel"
)

// Config is what a Desk works on and with.
type Config struct {
	Name    string // of the case, as shown
	Headers []*imaging.Header
	Book    mark.Book // as read from the sidecar, or empty with its Observer
	// Responses to stimulation, as read from the sidecar.
	Responses []response.Test
	// Films gives the films of the case that a book needs.
	Films func(mark.Book) []placement.Film
	// Measure computes the placement; it is called in another goroutine.
	Measure func([]placement.Film, mark.Book) placement.Placement
	// Save keeps book and responses and what was measured from the book; it is
	// called in another goroutine, never twice at once.
	Save func(mark.Book, []response.Test, placement.Placement) error
	// Rescue writes book and responses, and whatever else was read from the
	// sidecar, somewhere else when Save cannot, and says where.
	Rescue func(mark.Book, []response.Test) (string, error)
	// Note words the case and puts it where it says; it is called in another
	// goroutine with book, responses and placement of the report set.
	Note func(sidecar.Report) (where string, err error)
	// Assist looks for a needle near an SR point of a frame; it is called in
	// another goroutine.
	Assist func(ctx context.Context, f *imaging.Frame, near r2.Vec) (assist.Answer, error)
	// Frame decodes one frame, or the mean of a span; it is called in other
	// goroutines, several at once.
	Frame reel.Read
	// Wake is called from any goroutine when Poll has something to take in.
	Wake func()
	Now  func() time.Time
	// Acknowledged says that this person has seen the caution before;
	// Acknowledge keeps that they have seen it now.
	Acknowledged bool
	Acknowledge  func() error
	// Recent lists the paths of cases opened last; Forget empties that list.
	Recent func() []string
	Forget func() error
}

// Desk is one case on the desk of one observer.
type Desk struct {
	cfg    Config
	now    state
	undo   []state
	redo   []state
	drag   *drag
	nudge  nudging // the row of nudges last made, and when
	nudged time.Time
	panes  [2]Pane
	focus  PaneID

	reel    *reel.Reel
	players [2]player
	strips  map[string]*strip // by instance

	device   string // the device numbers are shown for
	question *Question
	help     bool
	bare     bool // without the overlays of the frames
	full     bool // all numbers, cautions and readings are on show
	page     int  // of them
	caution  bool
	lastTest *response.Test // entered last, whose settings are proposed again
	notice   Notice
	quitting bool
	done     bool

	cases     *Cases
	chooser   *Chooser
	thumbs    thumbs
	wanted    *Target
	opening   *Target
	forgotten bool // how this case is looked at is not to be kept

	measuring measuring
	saving    saving
	noting    noting

	suggesting suggesting
}

// Notice is the line that answers the last action.
type Notice struct {
	Text    string
	Trouble bool
}

// New lays a case out.
func New(cfg Config) *Desk {
	if cfg.Now == nil {
		cfg.Now = time.Now
	}
	if cfg.Wake == nil {
		cfg.Wake = func() {}
	}
	d := &Desk{cfg: cfg, caution: !cfg.Acknowledged, strips: map[string]*strip{}}
	d.now.book, d.now.responses = cfg.Book, cfg.Responses
	d.now.selection = Selection{Vertex: whole}
	d.measuring.start(d.cfg)
	d.saving.start(d.cfg)
	// The first reading is waited for: what to show where depends on it.
	films := d.films()
	d.measuring.take(d.measuring.revision, cfg.Measure(films, d.now.book))
	d.layFilms()
	d.device = d.firstDevice()
	d.readFrames()
	d.askFrames()
	return d
}

// Name of the case.
func (d *Desk) Name() string { return d.cfg.Name }

// Observer whose marks are on the desk.
func (d *Desk) Observer() string { return d.cfg.Book.Observer }

// Book is what the observer holds now. It must not be changed.
func (d *Desk) Book() mark.Book { return d.now.book }

// Responses logged, which must not be changed.
func (d *Desk) Responses() []response.Test { return d.now.responses }

// Marks on a frame, in the order they were made.
func (d *Desk) Marks(ref mark.FrameRef) []mark.Mark {
	var out []mark.Mark
	for _, m := range d.now.book.Marks {
		if m.Frame == ref {
			out = append(out, m)
		}
	}
	return out
}

// Mark finds a mark of the book.
func (d *Desk) Mark(uid string) (mark.Mark, bool) {
	for _, m := range d.now.book.Marks {
		if m.UID == uid {
			return m, true
		}
	}
	return mark.Mark{}, false
}

// Notice is the line to show about the last action.
func (d *Desk) Notice() Notice { return d.notice }

func (d *Desk) say(format string, args ...any) {
	d.notice = Notice{Text: fmt.Sprintf(format, args...)}
}

// refuse says why an action was not taken.
func (d *Desk) refuse(err error) {
	if err != nil {
		d.notice = Notice{Text: err.Error(), Trouble: true}
	}
}

// Help reports whether the list of keys is on show.
func (d *Desk) Help() bool { return d.help }

// Full reports whether all numbers, cautions and readings are on show, and
// which page of them, from 0; a page past the last means the last.
func (d *Desk) Full() (page int, on bool) { return d.page, d.full }

// Overlays reports whether graphics that came with a frame are shown over it
// (PS3.3 C.9.2).
func (d *Desk) Overlays() bool { return !d.bare }

// Caution reports whether the caution waits to be acknowledged.
func (d *Desk) Caution() bool { return d.caution }

// Done reports whether the window may close.
func (d *Desk) Done() bool { return d.done }

// Poll takes in what measuring and saving have finished, and starts what is
// due. It reports whether anything shown has changed, and when to poll again at
// the latest (zero: when woken).
func (d *Desk) Poll() (changed bool, next time.Time) {
	now := d.cfg.Now()
	if d.measuring.poll() {
		changed = true
		d.checkDevice()
	}
	saved, next := d.saving.poll(now, d.now.book, d.now.responses, &d.measuring, d.drag != nil)
	moved, due := d.playOn(now)
	d.askFrames()
	changed = changed || saved || moved
	if next.IsZero() || !due.IsZero() && due.Before(next) {
		next = due
	}
	if d.pollSuggestion() {
		changed = true
	}
	if d.pollNote() {
		changed = true
	}
	if d.quitting && d.finishQuit() {
		changed = true
	}
	return changed, next
}

// changed follows every change of the book.
func (d *Desk) changed() {
	d.saving.changed(d.cfg.Now())
	d.measure()
}

func (d *Desk) films() []placement.Film {
	films := d.cfg.Films(d.now.book)
	have := map[mark.FrameRef]bool{}
	for _, f := range films {
		have[f.Ref] = true
	}
	for _, p := range d.panes {
		if p.Ref.Instance == "" || have[p.Ref] {
			continue
		}
		if f, ok := d.filmOf(p.Ref); ok {
			have[p.Ref] = true
			films = append(films, f)
		}
	}
	return films
}

func (d *Desk) filmOf(ref mark.FrameRef) (placement.Film, bool) {
	h := d.header(ref.Instance)
	if h == nil {
		return placement.Film{}, false
	}
	return placement.Film{Ref: ref, File: baseName(h.File), Header: h, Geometry: h.Geometry(ref.First),
		Time: h.AcquisitionDate + h.AcquisitionTime}, true
}

func (d *Desk) header(instance string) *imaging.Header {
	for _, h := range d.cfg.Headers {
		if h.SOPInstance == instance {
			return h
		}
	}
	return nil
}

func baseName(path string) string {
	for i := len(path) - 1; i >= 0; i-- {
		if path[i] == '/' {
			return path[i+1:]
		}
	}
	return path
}

// Placement is the newest one computed; current is false while the book has
// changed since.
func (d *Desk) Placement() (p placement.Placement, current bool) {
	return d.measuring.placement, d.measuring.taken == d.measuring.revision
}

// Reading says how a frame was read: view, cranial, orientation, scale.
func (d *Desk) Reading(ref mark.FrameRef) placement.FilmReading {
	for _, f := range d.measuring.placement.Films {
		if f.Film.Ref == ref {
			return f
		}
	}
	return d.unmeasured(ref)
}

// unmeasured is how a frame is read before it has been measured: while a run is
// played nothing is. Its scale is that of another frame of the run.
func (d *Desk) unmeasured(ref mark.FrameRef) placement.FilmReading {
	f, ok := d.filmOf(ref)
	if !ok {
		return placement.FilmReading{Film: f}
	}
	r := mark.Read(ref, f.Geometry, d.now.book)
	out := placement.FilmReading{Film: f, View: r.View, ViewSource: r.ViewSource,
		Cranial: r.Cranial, CranialSource: r.CranialSource, CranialConflict: r.CranialConflict,
		PatientLeft: r.PatientLeft, LeftSource: r.LeftSource, LeftConfirmed: r.LeftConfirmed, LeftConflict: r.LeftConflict}
	for _, o := range d.measuring.placement.Films {
		if o.Film.Ref.Instance == ref.Instance && f.Header.Turning(1, f.Header.Frames) <= imaging.TurningMost {
			out.Scale = o.Scale
			break
		}
	}
	return out
}

// inside reports whether a point lies on the frame.
func (d *Desk) inside(ref mark.FrameRef, p r2.Vec) bool {
	h := d.header(ref.Instance)
	return h != nil && p.X >= 0 && p.Y >= 0 && p.X <= float64(h.Columns) && p.Y <= float64(h.Rows)
}
