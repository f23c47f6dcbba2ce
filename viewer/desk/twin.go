package desk

import (
	"fmt"

	"leadline/measure/mark"
)

// twin finds the mark of the book that says the same as m, on the same film:
// of either only one may stand, else which one is meant cannot be known.
func (d *Desk) twin(m mark.Mark) (mark.Mark, bool) {
	notches := 0
	var last mark.Mark
	for _, o := range d.now.book.Marks {
		if o.UID == m.UID || o.Structure != m.Structure || o.Frame != m.Frame {
			continue
		}
		if m.Structure == mark.SciaticNotch {
			notches += len(o.Points)
			last = o
			continue
		}
		if alike(o, m) {
			return o, true
		}
	}
	return last, notches > 1
}

// alike reports whether two marks of one structure and film say the same.
func alike(a, b mark.Mark) bool {
	switch a.Structure {
	case mark.KnownLength:
		return false
	case mark.MedialLine:
		return a.Side == b.Side
	case mark.Foramen:
		return a.Level == b.Level && a.Side == b.Side && a.Opening() == b.Opening()
	case mark.FusionLine:
		return a.Detail == b.Detail && a.Level == b.Level
	case mark.Needle, mark.Wire, mark.Lead:
		return a.Object == b.Object
	case mark.Contact:
		return a.Object == b.Object && a.Index == b.Index
	}
	return true
}

// sided reports whether a structure lies on both sides of the patient, so that
// two marks without a side need not be the same.
func sided(s mark.Structure) bool { return s == mark.MedialLine || s == mark.Foramen }

// beginOnce begins a mark, or asks what to do where its like stands already.
func (d *Desk) beginOnce(m mark.Mark, p PaneID) {
	old, found := d.twin(m)
	if !found {
		d.begin(m, p, nil)
		return
	}
	k := KindOf(m.Structure)
	q := &Question{Title: NameOf(old) + " is marked on this film", Detail: "There can be one. What now?",
		Choices: []Choice{{"e", "select it, to change its points"}, {"r", "replace it by a new one"}}}
	other := p.Other()
	elsewhere := k.Shows(d.Reading(d.panes[other].Ref).View) && d.panes[other].Ref.Instance != ""
	if elsewhere {
		n := bound(d, m, other)
		_, there := d.twin(n)
		elsewhere = !there
	}
	if elsewhere {
		q.Choices = append(q.Choices, Choice{"o", "mark it on the " + other.String() + " film"})
	}
	if sided(m.Structure) && m.Side == mark.NoSide {
		q.Choices = append(q.Choices, Choice{"n", "mark another: that of the other side"})
	}
	q.answer = func(key string) {
		switch key {
		case "e":
			d.focus = p
			d.Select(Selection{old.UID, whole})
			d.say("%s: drag its points, or Ctrl+click to add one.", NameOf(old))
		case "r":
			d.begin(m, p, &old)
			d.say("%s, anew: %s. The former one stays till then.", NameOf(m), k.How)
		case "o":
			d.stopPlaying(other)
			d.begin(bound(d, m, other), other, nil)
		case "n":
			d.begin(m, p, nil)
		}
	}
	d.question = q
}

// bound gives a new mark what depends on the film it is drawn on: the frame,
// the device, the number of a contact, which of the two notches.
func bound(d *Desk, m mark.Mark, p PaneID) mark.Mark {
	m.Frame = d.panes[p].Ref
	if KindOf(m.Structure).NeedsObject {
		m.Object = d.objectFor(m.Structure, m.Frame)
	}
	switch m.Structure {
	case mark.Contact:
		m.Index = d.nextContact(m.Object, m.Frame)
	case mark.SciaticNotch:
		// The two notches of a lateral film often cannot be told apart.
		m.Detail = "first"
		for _, o := range d.Marks(m.Frame) {
			if o.Structure == m.Structure && o.Detail == "first" {
				m.Detail = "second"
			}
		}
	}
	return m
}

// aim moves a draft without points to the film of another pane, where it may
// belong to another device. It reports whether the draft is there now.
func (d *Desk) aim(p PaneID) bool {
	dr := d.now.draft
	if !d.ready(dr.Kind, p) {
		return false
	}
	d.stopPlaying(p)
	m := bound(d, dr.Mark, p)
	if _, found := d.twin(m); found {
		d.now.draft = nil
		d.beginOnce(m, p)
		return false
	}
	d.begin(m, p, nil)
	return true
}

// fellow is the film on which a device that is marked on another still has to
// be marked: the device shown before all others, the focused film before the
// other one.
func (d *Desk) fellow(k Kind) (PaneID, bool) {
	for _, object := range append([]string{d.device}, d.Devices()...) {
		if !d.marked(k.Structure, object, mark.FrameRef{}) {
			continue
		}
		for _, p := range []PaneID{d.focus, d.focus.Other()} {
			ref := d.panes[p].Ref
			if ref.Instance != "" && k.Shows(d.Reading(ref).View) && !d.marked(k.Structure, object, ref) {
				d.device = object
				return p, true
			}
		}
	}
	return d.focus, false
}

// marked reports whether a device is marked on a frame; on any, where the
// frame is zero.
func (d *Desk) marked(s mark.Structure, object string, ref mark.FrameRef) bool {
	for _, m := range d.now.book.Marks {
		if m.Structure == s && m.Object == object && (ref.Instance == "" || m.Frame == ref) {
			return true
		}
	}
	return false
}

// invite says what is being marked, on which film, and what a click on the
// other film would begin.
func (d *Desk) invite(dr *Draft) {
	words := fmt.Sprintf("%s: %s.", NameOf(dr.Mark), dr.Kind.How)
	if dr.Kind.Structure != mark.Contact && dr.Kind.NeedsObject {
		words = fmt.Sprintf("%s on the %s film: %s.", NameOf(dr.Mark), dr.Pane, dr.Kind.How)
		other := dr.Pane.Other()
		if ref := d.panes[other].Ref; ref.Instance != "" && dr.Kind.Shows(d.Reading(ref).View) {
			if n := bound(d, dr.Mark, other); n.Object != dr.Mark.Object {
				words += fmt.Sprintf(" On the %s film a click begins %s.", other, n.Object)
			}
		}
	}
	d.say("%s", words)
}
