package desk

import (
	"fmt"
	"strings"

	"leadline/imaging"
	"leadline/measure/mark"
)

// Standing of a line of the mark sheet.
type Standing int

// The standings.
const (
	ToDo     Standing = iota // still to do
	Done                     // there
	Waiting                  // suggested: a person has to accept or change it
	Optional                 // sharpens a number or its interval
)

// Need is a line of the mark sheet: something the wanted numbers rest on.
type Need struct {
	Key      string
	Title    string
	Detail   string
	Standing Standing
	Active   bool // being marked now
}

// Sheet lists what depth and angle of the device shown still need, in order.
func (d *Desk) Sheet() []Need {
	var out []Need
	// A film counts as what its view is known to be, never as what its pane is for.
	front, side := d.viewed(FrontalPane), d.viewed(LateralPane)
	for _, p := range []PaneID{FrontalPane, LateralPane} {
		ref := d.panes[p].Ref
		if ref.Instance == "" {
			continue
		}
		r := d.Reading(ref)
		if r.View == imaging.NoView {
			out = append(out, Need{Key: "V", Title: "State the view", Detail: "of " + d.fileOf(ref) + ": not known"})
			continue
		}
		if r.Cranial == imaging.NoEdge {
			out = append(out, Need{Key: "H", Title: "Cranial direction", Detail: p.String() + " film: not known"})
		}
	}
	device := d.device
	if device == "" {
		device = "N1"
	}
	kind := map[byte]mark.Structure{'W': mark.Wire, 'L': mark.Lead}[device[0]]
	if kind == "" {
		kind = mark.Needle
	}
	if side.Instance != "" {
		out = append(out, d.need(mark.VentralMargin, side, "", ToDo), d.need(mark.DorsalMargin, side, "", ToDo))
	}
	if front.Instance != "" || side.Instance != "" {
		out = append(out, d.deviceNeed(kind, device, front, side))
	}
	if kind == mark.Lead {
		n := 0
		for _, m := range d.now.book.Marks {
			if m.Structure == mark.Contact && m.Object == device && m.Frame == side {
				n++
			}
		}
		out = append(out, need(mark.Contact, fmt.Sprintf("lateral, %d marked", n), standing(n > 0, ToDo)))
	}
	if front.Instance != "" {
		out = append(out, d.need(mark.Midline, front, "", ToDo), d.need(mark.SILine, front, "both edges", ToDo),
			d.need(mark.Foramen, front, "dorsal rim", ToDo))
	}
	if side.Instance != "" {
		out = append(out, d.notches(side), d.need(mark.FusionLine, side, "next to the foramen", Optional))
	}
	for _, ref := range []mark.FrameRef{front, side} {
		if ref.Instance == "" {
			continue
		}
		if r := d.Reading(ref); !r.Scale.Known {
			n := d.need(mark.KnownLength, ref, "no scale: pixels only", ToDo)
			out = append(out, n)
			break
		}
	}
	dev, ok := d.DeviceReading()
	if d.device != "" {
		s := Need{Key: "S", Title: "Side of " + d.device, Detail: "state it, with its basis"}
		switch {
		case ok && dev.SideConfirmed && mark.Contradicted(dev.SideSource):
			s.Standing, s.Detail = Waiting, "confirmed, but contradicted"
		case ok && dev.SideConfirmed:
			s.Standing, s.Detail = Done, dev.SideSource
		}
		l := Need{Key: "T", Title: "Level of " + d.device, Detail: "state it, with its basis"}
		if ok && dev.LevelConfirmed {
			l.Standing, l.Detail = Done, dev.LevelSource
		}
		out = append(out, s, l)
	}
	return out
}

// viewed is the frame in a pane where its view is known to be the pane's.
func (d *Desk) viewed(p PaneID) mark.FrameRef {
	if ref := d.panes[p].Ref; d.Reading(ref).View == p.View() {
		return ref
	}
	return mark.FrameRef{}
}

// notches are there when both are: one alone tells nothing of how the film is
// turned.
func (d *Desk) notches(ref mark.FrameRef) Need {
	n := d.need(mark.SciaticNotch, ref, "is it rotated?", Optional)
	have := 0
	for _, m := range d.now.book.Marks {
		if m.Structure == mark.SciaticNotch && m.Frame == ref {
			have += len(m.Points)
		}
	}
	switch {
	case have > 1:
		n.Detail = "lateral, both marked"
	case have == 1:
		n.Standing, n.Detail = Optional, "lateral, 1 of 2 marked"
	}
	return n
}

func need(s mark.Structure, detail string, st Standing) Need {
	k := KindOf(s)
	return Need{Key: strings.ToUpper(k.Key), Title: k.Name, Detail: detail, Standing: st}
}

func standing(done bool, otherwise Standing) Standing {
	if done {
		return Done
	}
	return otherwise
}

// need looks for a landmark on a frame.
func (d *Desk) need(s mark.Structure, ref mark.FrameRef, hint string, otherwise Standing) Need {
	view := string(d.Reading(ref).View)
	if view == "" {
		view = "film"
	}
	n := need(s, view, otherwise)
	if hint != "" {
		n.Detail += ", " + hint
	}
	level := mark.Level("S3")
	if dev, ok := d.DeviceReading(); ok && dev.Level != "" {
		level = dev.Level
	}
	for _, m := range d.now.book.Marks {
		if m.Structure != s || m.Frame != ref || n.Standing == Done && m.Level != level {
			continue
		}
		n.Standing = standing(len(m.Points) >= KindOf(s).Wanted, ToDo)
		if m.Origin == mark.Suggested {
			n.Standing = Waiting
		}
		if hint == "" || KindOf(s).Most == 0 {
			n.Detail = view + ", " + points(len(m.Points))
		}
		if m.Level != "" {
			n.Title = KindOf(s).Name + " " + string(m.Level)
		}
	}
	if dr := d.now.draft; dr != nil && dr.Mark.Structure == s {
		n.Active = true
	}
	return n
}

// deviceNeed looks for a device in both views.
func (d *Desk) deviceNeed(kind mark.Structure, device string, front, side mark.FrameRef) Need {
	n := need(kind, "", ToDo)
	n.Title += " " + device
	var inFront, inSide bool
	for _, m := range d.now.book.Marks {
		if m.Structure == kind && m.Object == device {
			inFront = inFront || m.Frame == front
			inSide = inSide || m.Frame == side
		}
	}
	switch {
	case front.Instance == "":
		n.Detail, n.Standing = "lateral only", standing(inSide, ToDo)
	case side.Instance == "":
		n.Detail, n.Standing = "frontal only", standing(inFront, ToDo)
	case inFront && inSide:
		n.Detail, n.Standing = "both views", Done
	case inFront:
		n.Detail = "frontal; lateral to do"
	case inSide:
		n.Detail = "lateral; frontal to do"
	default:
		n.Detail = "both views"
	}
	if dr := d.now.draft; dr != nil && dr.Mark.Structure == kind {
		n.Active = true
	}
	return n
}
