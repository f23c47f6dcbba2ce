package desk

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/viewer/scene"
)

// whole is the vertex of a selection that means the mark as a whole.
const whole = -1

// Selection is a mark, and one of its points or -1 for the mark as a whole.
type Selection struct {
	Mark   string // UID, empty: nothing selected
	Vertex int
}

// Selection now.
func (d *Desk) Selection() Selection { return d.now.selection }

// Selected gives the selected mark.
func (d *Desk) Selected() (mark.Mark, bool) {
	if d.now.selection.Mark == "" {
		return mark.Mark{}, false
	}
	return d.Mark(d.now.selection.Mark)
}

// Select a mark or one of its points, and show the numbers of its device.
func (d *Desk) Select(s Selection) {
	d.now.selection = s
	if m, ok := d.Mark(s.Mark); ok {
		if m.Object != "" {
			d.device = m.Object
		}
		d.say("%s", NameOf(m))
		if s.Vertex >= 0 {
			d.say("%s, point %d of %d.", NameOf(m), s.Vertex+1, len(m.Points))
		}
	}
}

// Pick finds what lies within reach of a place on the screen: a point of the
// selected mark first, then the nearest point of any, then the nearest line.
// to takes SR points of the pane's frame to the screen.
func (d *Desk) Pick(p PaneID, at r2.Vec, to func(r2.Vec) r2.Vec, reach float64) (Selection, bool) {
	best, found, least := Selection{Vertex: whole}, false, math.Inf(1)
	marks := d.Marks(d.panes[p].Ref)
	for _, m := range marks {
		for i, q := range m.Points {
			dist := r2.Norm(r2.Sub(to(q), at))
			if m.UID == d.now.selection.Mark {
				dist *= 0.5
			}
			if dist <= reach && dist < least {
				best, found, least = Selection{m.UID, i}, true, dist
			}
		}
	}
	if found {
		return best, true
	}
	for _, m := range marks {
		for i := range segments(m) {
			a, b := m.Points[i], m.Points[(i+1)%len(m.Points)]
			if dist := segmentDistance(at, to(a), to(b)); dist <= reach && dist < least {
				best, found, least = Selection{m.UID, whole}, true, dist
			}
		}
	}
	return best, found
}

// segments counts a mark's lines.
func segments(m mark.Mark) int {
	n := len(m.Points)
	if m.Structure == mark.Foramen && !m.Open() && n > 2 {
		return n
	}
	return max(n-1, 0)
}

func segmentDistance(p, a, b r2.Vec) float64 {
	ab := r2.Sub(b, a)
	t := 0.0
	if l := r2.Norm2(ab); l > 0 {
		t = min(max(r2.Dot(r2.Sub(p, a), ab)/l, 0), 1)
	}
	return r2.Norm(r2.Sub(p, r2.Add(a, r2.Scale(t, ab))))
}

// drag is a point or mark held by the pointer.
type drag struct {
	before state
	mark   mark.Mark // as it was
	vertex int
	from   r2.Vec
	moved  bool
}

// Grab takes hold of the selection at an SR point.
func (d *Desk) Grab(at r2.Vec) {
	m, ok := d.Selected()
	if !ok || d.now.draft != nil {
		return
	}
	d.drag = &drag{before: d.now, mark: m, vertex: d.now.selection.Vertex, from: at}
}

// Dragging reports whether something is held.
func (d *Desk) Dragging() bool { return d.drag != nil }

// Move carries what is held to an SR point.
func (d *Desk) Move(at r2.Vec) {
	g := d.drag
	if g == nil {
		return
	}
	m, err := d.shifted(g.mark, g.vertex, r2.Sub(at, g.from))
	if err != nil {
		return // held at the image's edge
	}
	if !g.moved {
		g.moved = true
		d.remember("moving " + NameOf(m))
	}
	d.now.book = withMark(d.now.book, m)
	d.changed()
}

// Drop lets go.
func (d *Desk) Drop() { d.drag = nil }

// PutBack lets go and takes the move back.
func (d *Desk) PutBack() {
	g := d.drag
	d.drag = nil
	if g != nil && g.moved {
		d.undo = d.undo[:len(d.undo)-1]
		d.now = g.before
		d.changed()
		d.say("Put back.")
	}
}

// shifted gives a mark with a point, or all, moved by a vector.
func (d *Desk) shifted(m mark.Mark, vertex int, by r2.Vec) (mark.Mark, error) {
	m = m.Clone()
	for i := range m.Points {
		if vertex != whole && vertex != i {
			continue
		}
		q := mark.Round(r2.Add(m.Points[i], by))
		if !d.inside(m.Frame, q) {
			return m, fmt.Errorf("%s would leave the image", NameOf(m))
		}
		m.Points[i] = q
	}
	return d.touched(m, "moved"), nil
}

// touched records that a person changed a suggested mark.
func (d *Desk) touched(m mark.Mark, what string) mark.Mark {
	if m.Origin == mark.Suggested {
		m.Origin = mark.Changed
		m.History = append(m.History, fmt.Sprintf("%s by %s, %s", what, d.Observer(), d.cfg.Now().UTC().Format(time.RFC3339)))
	}
	return m
}

// Nudge moves the selected point, or mark, by pixels to the right and down as
// shown on the screen.
func (d *Desk) Nudge(right, down float64) {
	m, ok := d.Selected()
	if !ok {
		d.say("Nothing selected.")
		return
	}
	moved, err := d.shifted(m, d.now.selection.Vertex, d.onImage(m.Frame, right, down))
	if err != nil {
		d.refuse(err)
		return
	}
	// Nudges in a row are one step of undo.
	now, by := d.cfg.Now(), nudging{d.now.selection, len(d.undo)}
	if by != d.nudge || now.Sub(d.nudged) > time.Second {
		d.remember("moving " + NameOf(m))
		by.undo = len(d.undo)
	}
	d.nudge, d.nudged, d.redo = by, now, nil
	d.now.book = withMark(d.now.book, moved)
	d.changed()
}

// nudging is a row of nudges: what of, and at which depth of the undo stack.
type nudging struct {
	selection Selection
	undo      int
}

// onImage turns a vector on the screen into one on the stored image, whose
// cranial edge is shown on top.
func (d *Desk) onImage(ref mark.FrameRef, right, down float64) r2.Vec {
	switch scene.UpQuarter(d.Reading(ref).Cranial) {
	case 1:
		return r2.Vec{X: down, Y: -right}
	case 2:
		return r2.Vec{X: -right, Y: -down}
	case 3:
		return r2.Vec{X: -down, Y: right}
	}
	return r2.Vec{X: right, Y: down}
}

// storedEdge gives the edge of the stored image that is shown at an edge of
// the screen.
func (d *Desk) storedEdge(ref mark.FrameRef, shown imaging.Edge) imaging.Edge {
	v := scene.View{Quarter: scene.UpQuarter(d.Reading(ref).Cranial)}
	for _, e := range []imaging.Edge{imaging.Top, imaging.Right, imaging.Bottom, imaging.Left} {
		if v.EdgeShown(e) == shown {
			return e
		}
	}
	return imaging.NoEdge
}

// Insert adds a point to the selected mark: at an SR point on its nearest
// line.
func (d *Desk) Insert(at r2.Vec) {
	m, ok := d.Selected()
	if !ok || segments(m) == 0 {
		d.say("Select a line to add a point to it.")
		return
	}
	best, least := 0, math.Inf(1)
	for i := range segments(m) {
		if dist := segmentDistance(at, m.Points[i], m.Points[(i+1)%len(m.Points)]); dist < least {
			best, least = i, dist
		}
	}
	d.insertAfter(m, best, at)
}

// InsertNext adds a point half way from the selected point to the next.
func (d *Desk) InsertNext() {
	m, ok := d.Selected()
	i := max(d.now.selection.Vertex, 0)
	if !ok || i >= segments(m) {
		d.say("Select a point with another after it to add one between.")
		return
	}
	a, b := m.Points[i], m.Points[(i+1)%len(m.Points)]
	d.insertAfter(m, i, r2.Scale(0.5, r2.Add(a, b)))
}

func (d *Desk) insertAfter(m mark.Mark, i int, at r2.Vec) {
	k := KindOf(m.Structure)
	at = mark.Round(at)
	if k.Most > 0 && len(m.Points) >= k.Most {
		d.refuse(fmt.Errorf("%s has all its %s", NameOf(m), points(k.Most)))
		return
	}
	if !d.inside(m.Frame, at) {
		d.refuse(fmt.Errorf("that point is outside the image"))
		return
	}
	d.remember("adding a point to " + NameOf(m))
	m = d.touched(m.Clone(), "point added")
	m.Points = append(m.Points[:i+1], append([]r2.Vec{at}, m.Points[i+1:]...)...)
	d.now.book = withMark(d.now.book, m)
	d.now.selection = Selection{m.UID, i + 1}
	d.changed()
	d.say("Point added to %s.", NameOf(m))
}

// Delete removes the selected point or mark.
func (d *Desk) Delete() {
	m, ok := d.Selected()
	if !ok {
		d.say("Nothing selected.")
		return
	}
	v := d.now.selection.Vertex
	if v == whole || len(m.Points) == 1 {
		d.DeleteMark()
		return
	}
	if k := KindOf(m.Structure); len(m.Points)-1 < k.Least {
		d.refuse(fmt.Errorf("%s needs %s: Shift+Delete removes it whole", NameOf(m), points(k.Least)))
		return
	}
	d.remember("deleting a point of " + NameOf(m))
	m = d.touched(m.Clone(), "point deleted")
	m.Points = append(m.Points[:v], m.Points[v+1:]...)
	d.now.book = withMark(d.now.book, m)
	d.now.selection.Vertex = min(v, len(m.Points)-1)
	d.changed()
	d.say("Point deleted from %s.", NameOf(m))
}

// DeleteMark removes the selected mark whole.
func (d *Desk) DeleteMark() {
	m, ok := d.Selected()
	if !ok {
		d.say("Nothing selected.")
		return
	}
	d.remember("deleting " + NameOf(m))
	d.now.book = withoutMark(d.now.book, m.UID)
	d.now.selection = Selection{Vertex: whole}
	d.changed()
	d.checkDevice()
	d.say("%s deleted. Ctrl+Z brings it back.", NameOf(m))
}

// StepMark selects the next mark of the focused pane.
func (d *Desk) StepMark(step int) {
	marks := d.Marks(d.panes[d.focus].Ref)
	if len(marks) == 0 {
		d.say("Nothing marked on this film yet.")
		return
	}
	at := -1
	if step < 0 {
		at = 0
	}
	for i, m := range marks {
		if m.UID == d.now.selection.Mark {
			at = i
		}
	}
	d.Select(Selection{marks[(at+step+len(marks))%len(marks)].UID, whole})
}

// StepVertex selects the next point of the selected mark.
func (d *Desk) StepVertex(step int) {
	m, ok := d.Selected()
	if !ok {
		d.StepMark(step)
		return
	}
	n := len(m.Points) + 1 // the whole mark is one stop on the round
	at := (d.now.selection.Vertex + 1 + step + n) % n
	d.Select(Selection{m.UID, at - 1})
}

// change replaces the selected mark by what f makes of it.
func (d *Desk) change(what string, f func(*mark.Mark)) {
	m, ok := d.Selected()
	if !ok {
		d.say("Nothing selected.")
		return
	}
	d.remember(what + " of " + NameOf(m))
	m = m.Clone()
	f(&m)
	m = d.touched(m, what)
	d.now.book = withMark(d.now.book, m)
	if m.Object != "" {
		d.device = m.Object
	}
	d.changed()
	d.say("%s.", NameOf(m))
}
