package desk

import (
	"leadline/measure/mark"
	"leadline/measure/response"
)

// state is what undo brings back. A book is never changed in place: each
// change makes a new list of marks and new points for the mark it changes, so
// that the states share all else; nor is a list of responses.
type state struct {
	book      mark.Book
	responses []response.Test
	draft     *Draft
	selection Selection
	pane      PaneID
	what      string // what made it, for the notice
}

// remember keeps the present state before a change and drops what was undone.
func (d *Desk) remember(what string) {
	s := d.now
	s.what, s.pane = what, d.focus
	d.undo = append(d.undo, s)
	d.redo = nil
}

// Undo takes the last change back, on whichever pane it was made.
func (d *Desk) Undo() {
	if d.drag != nil {
		d.Drop()
	}
	if len(d.undo) == 0 {
		d.say("Nothing to undo.")
		return
	}
	last := d.undo[len(d.undo)-1]
	d.undo = d.undo[:len(d.undo)-1]
	here := d.now
	here.what, here.pane = last.what, last.pane
	d.redo = append(d.redo, here)
	d.restore(last)
	d.say("Undone: %s.", last.what)
}

// Redo makes the last undone change again.
func (d *Desk) Redo() {
	if len(d.redo) == 0 {
		d.say("Nothing to redo.")
		return
	}
	next := d.redo[len(d.redo)-1]
	d.redo = d.redo[:len(d.redo)-1]
	here := d.now
	here.what, here.pane = next.what, next.pane
	d.undo = append(d.undo, here)
	d.restore(next)
	d.say("Done again: %s.", next.what)
}

func (d *Desk) restore(s state) {
	d.now = s
	d.focus = s.pane
	d.question = nil
	d.changed()
	d.checkDevice()
}

// withMark gives the book with one mark replaced or, where its UID is new,
// added.
func withMark(b mark.Book, m mark.Mark) mark.Book {
	marks := make([]mark.Mark, len(b.Marks), len(b.Marks)+1)
	copy(marks, b.Marks)
	b.Marks = marks
	for i := range marks {
		if marks[i].UID == m.UID {
			marks[i] = m
			return b
		}
	}
	b.Marks = append(marks, m)
	return b
}

// withoutMark gives the book without a mark.
func withoutMark(b mark.Book, uid string) mark.Book {
	marks := make([]mark.Mark, 0, len(b.Marks))
	for _, m := range b.Marks {
		if m.UID != uid {
			marks = append(marks, m)
		}
	}
	b.Marks = marks
	return b
}

// withStatement gives the book with a statement added.
func withStatement(b mark.Book, s mark.Statement) mark.Book {
	n := len(b.Statements)
	b.Statements = append(b.Statements[:n:n], s)
	return b
}
