package desk

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
)

// Draft is the structure being marked. Once it has its least number of points
// it stands in the book, so that numbers follow and nothing is lost; each
// further point extends it.
type Draft struct {
	Mark mark.Mark
	Kind Kind
	Pane PaneID

	former *mark.Mark // which this one replaces as soon as it stands
}

// Draft being marked, or nil.
func (d *Desk) Draft() *Draft { return d.now.draft }

// Begin starts marking a structure, in the pane it belongs to; a device that is
// marked in one view and not yet in the other is marked there. Which device it
// is follows from the film of the first point.
func (d *Desk) Begin(s mark.Structure) {
	k := KindOf(s)
	d.endDraft()
	pane := d.focus
	if !k.Shows(pane.View()) {
		pane = pane.Other()
	}
	if k.NeedsObject && s != mark.Contact {
		if p, ok := d.fellow(k); ok {
			pane = p
		}
	}
	if !d.ready(k, pane) {
		return
	}
	d.focus = pane
	d.stopPlaying(pane) // a mark belongs to the frame it was begun on
	m := bound(d, mark.Mark{Structure: s, Origin: mark.ByHand}, pane)
	if s == mark.Contact && m.Object == "" {
		d.refuse(fmt.Errorf("mark a lead first (L): a contact belongs to one"))
		return
	}
	d.askAbout(m, func(m mark.Mark) { d.beginOnce(m, pane) })
}

// ready reports whether the pane shows a film the structure is marked on, and
// says what is wrong where it does not.
func (d *Desk) ready(k Kind, p PaneID) bool {
	ref, other := d.panes[p].Ref, d.panes[p.Other()].Ref
	if ref.Instance == "" {
		if other.Instance != "" && d.Reading(other).View == imaging.NoView {
			d.focus = p.Other()
			d.refuse(fmt.Errorf("state the view of %s first (V): %s is marked on a %s film", d.fileOf(other), k.Name, p))
			return false
		}
		d.refuse(fmt.Errorf("%s is marked on a %s film, and this case has none", k.Name, p))
		return false
	}
	v := d.Reading(ref).View
	if v == imaging.NoView {
		d.focus = p
		d.refuse(fmt.Errorf("state the view of %s first (V): only then is anything marked on it", d.fileOf(ref)))
		return false
	}
	if !k.Shows(v) {
		d.refuse(fmt.Errorf("%s is not marked on a film of %s view", k.Name, v))
		return false
	}
	return true
}

func (d *Desk) begin(m mark.Mark, p PaneID, former *mark.Mark) {
	k := KindOf(m.Structure)
	if k.NeedsObject {
		d.device = m.Object
	}
	d.dropSuggestion() // Enter speaks to the draft
	m.UID = mark.NewUID()
	d.focus = p
	d.now.draft = &Draft{Mark: m, Kind: k, Pane: p, former: former}
	d.now.selection = Selection{Vertex: whole}
	d.invite(d.now.draft)
}

// AddPoint sets the next point of the draft at an SR point of a pane.
func (d *Desk) AddPoint(p PaneID, at r2.Vec) {
	dr := d.now.draft
	if dr == nil {
		return
	}
	if p != dr.Pane {
		if len(dr.Mark.Points) > 0 {
			d.refuse(fmt.Errorf("%s is being marked on the %s film: Enter ends it", NameOf(dr.Mark), dr.Pane))
			return
		}
		if !d.aim(p) {
			return
		}
		dr = d.now.draft
	}
	ref := d.panes[p].Ref
	if !d.seen(p) {
		d.refuse(fmt.Errorf("frame %s is still being read: no point was set", ref.Span()))
		return
	}
	at = mark.Round(at)
	if !d.inside(ref, at) {
		d.refuse(fmt.Errorf("that point is outside the image"))
		return
	}
	if n := len(dr.Mark.Points); n > 0 && dr.Mark.Points[n-1] == at {
		return // a second click on the same spot
	}
	next := *dr
	next.Pane, next.Mark.Frame = p, ref
	next.Mark.Points = append(append([]r2.Vec(nil), dr.Mark.Points...), at)
	n := len(next.Mark.Points)
	d.focus = p
	d.remember(fmt.Sprintf("point %d of %s", n, NameOf(next.Mark)))
	d.now.draft = &next
	if n >= dr.Kind.Least {
		if dr.former != nil {
			d.now.book = withoutMark(d.now.book, dr.former.UID)
		}
		d.now.book = withMark(d.now.book, next.Mark)
		d.changed()
	}
	switch {
	case dr.Kind.Most > 0 && n >= dr.Kind.Most:
		d.Finish()
	case n < dr.Kind.Wanted:
		d.say("%s: %s of at least %d.", NameOf(next.Mark), points(n), dr.Kind.Wanted)
	default:
		d.say("%s: %s. Enter ends it.", NameOf(next.Mark), points(n))
	}
}

func points(n int) string {
	if n == 1 {
		return "1 point"
	}
	return fmt.Sprintf("%d points", n)
}

// Finish ends the draft and selects what was marked.
func (d *Desk) Finish() {
	dr := d.now.draft
	if dr == nil {
		return
	}
	n := len(dr.Mark.Points)
	if n > 0 && n < dr.Kind.Least {
		d.refuse(fmt.Errorf("%s needs at least %s; it has %d", NameOf(dr.Mark), points(dr.Kind.Least), n))
		return
	}
	d.now.draft = nil
	if n == 0 {
		d.say("%s not marked.", NameOf(dr.Mark))
		return
	}
	d.now.selection = Selection{Mark: dr.Mark.UID, Vertex: whole}
	d.say("%s marked, %s.", NameOf(dr.Mark), points(n))
	if n < dr.Kind.Wanted {
		d.say("%s kept with %s; measuring wants %d: Ctrl+click adds to it.", NameOf(dr.Mark), points(n), dr.Kind.Wanted)
	}
	if dr.Kind.Structure == mark.Contact {
		// Contacts follow one another till Enter or Escape.
		next := dr.Mark
		next.Points, next.Index = nil, d.nextContact(next.Object, next.Frame)
		d.begin(next, dr.Pane, nil)
	}
}

// Cancel drops the draft; undo brings it back.
func (d *Desk) Cancel() {
	dr := d.now.draft
	if dr == nil {
		return
	}
	if len(dr.Mark.Points) > 0 {
		d.remember("cancelling " + NameOf(dr.Mark))
	}
	d.now.draft = nil
	if len(dr.Mark.Points) >= dr.Kind.Least {
		d.now.book = withoutMark(d.now.book, dr.Mark.UID)
		if dr.former != nil {
			d.now.book = withMark(d.now.book, *dr.former)
		}
		d.changed()
	}
	d.say("%s cancelled.", NameOf(dr.Mark))
}

// endDraft ends the draft before something else begins: what stands in the
// book stays, a beginning of too few points goes, and undo brings it back.
func (d *Desk) endDraft() {
	dr := d.now.draft
	if dr == nil {
		return
	}
	if n := len(dr.Mark.Points); n > 0 && n < dr.Kind.Least {
		d.Cancel()
		return
	}
	d.now.draft = nil
}

func (d *Desk) nextContact(object string, ref mark.FrameRef) int {
	n := 0
	for _, m := range d.now.book.Marks {
		if m.Structure == mark.Contact && m.Object == object && m.Frame == ref {
			n = max(n, m.Index+1)
		}
	}
	return n
}
