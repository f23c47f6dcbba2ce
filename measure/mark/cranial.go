package mark

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

// heading is a direction on the image, in pixels.
type heading r2.Vec

// apart is how far, in degrees, the marks' heading may lie off the edge another
// source names and still bear it out. The sacrum is tilted against the body by
// up to some 50 degrees on a lateral film, so marks tell the edge only so well.
const apart = 60

// edge nearest the heading.
func (h heading) edge() imaging.Edge {
	switch {
	case math.Abs(h.X) > math.Abs(h.Y) && h.X > 0:
		return imaging.Right
	case math.Abs(h.X) > math.Abs(h.Y):
		return imaging.Left
	case h.Y > 0:
		return imaging.Bottom
	}
	return imaging.Top
}

// bears reports whether the heading bears out edge e.
func (h heading) bears(e imaging.Edge) bool {
	x, y := e.Direction()
	return (h.X*x+h.Y*y)/math.Hypot(h.X, h.Y) >= math.Cos(apart*math.Pi/180)-1e-12
}

// landmark is a mark whose place along the sacrum is known.
type landmark struct {
	place int    // 0 at the promontory, growing towards the feet
	at    r2.Vec // pixels
	// side it lies on, on a film that shows the sides apart; MiddleSide: in
	// the midline.
	side Side
}

// landmarks gathers those on ref: promontory, numbered fusion lines and
// foramina, coccyx tip. Foramen Sn and fusion line Sn/Sn+1 both have place n:
// the foramen opens between those bodies.
func landmarks(ref FrameRef, marks []Mark, view imaging.View) (all []landmark) {
	for _, m := range marks {
		if m.Frame != ref || len(m.Points) == 0 {
			continue
		}
		l := landmark{side: MiddleSide}
		switch m.Structure {
		case Promontory:
		case CoccyxTip:
			l.place = 7
		case FusionLine:
			l.place, _, _ = m.Fusion()
		case Foramen:
			l.place = m.Level.Number()
			if view != imaging.Lateral {
				l.side = m.Side
			}
		default:
			continue
		}
		if l.place == 0 && m.Structure != Promontory {
			continue // not numbered
		}
		for _, p := range m.Points {
			l.at = r2.Add(l.at, r2.Scale(1/float64(len(m.Points)), p))
		}
		all = append(all, l)
	}
	return all
}

// tells reports whether the step from b to a, which is nearer the head, tells
// where the head lies. Foramina lie some 23 mm off the midline, as far as one level and a
// half (figures in doi 10.1097/SPV.0b013e31827bfdb1 and Deveneau et al. 2015):
// with the midline they tell it over three places and more, with those of the
// other side, or of a side not stated, never.
func tells(a, b landmark) bool {
	switch {
	case a.side == b.side:
		return a.place < b.place && a.side != NoSide
	case a.side == MiddleSide || b.side == MiddleSide:
		return b.place-a.place >= 3
	}
	return false
}

// headByMarks gives the direction towards the head from the landmarks on ref:
// the sum, over each two that tell it, of the step from the one nearer the feet
// to the one nearer the head times the number of places between them, which is
// the direction of the least-squares line of position over place. ok is false
// where no two tell it. Landmarks that lie in the wrong order give a zero
// heading.
func headByMarks(ref FrameRef, marks []Mark, view imaging.View) (h heading, ok bool) {
	all := landmarks(ref, marks, view)
	var steps []r2.Vec
	var sum r2.Vec
	for _, a := range all {
		for _, b := range all {
			if tells(a, b) {
				step := r2.Sub(a.at, b.at)
				steps = append(steps, step)
				sum = r2.Add(sum, r2.Scale(float64(b.place-a.place), step))
			}
		}
	}
	for _, s := range steps {
		if r2.Dot(sum, s) <= 0 {
			return heading{}, true
		}
	}
	return heading(sum), len(steps) > 0
}

func (f *film) readCranial() {
	type says struct {
		name string
		edge imaging.Edge
	}
	var all []says
	for _, s := range f.sources {
		// Patient Position says how the patient lay, never where the head is
		// on the film; angles of another view than was stated are stale.
		if s.name == byPosition || s.view != imaging.NoView && s.view != f.View {
			continue
		}
		if e := s.EdgeOf('H'); e != imaging.NoEdge {
			all = append(all, says{s.name, e})
		}
	}
	muddled := f.headKnown && f.head == heading{}
	if f.headKnown && !muddled {
		e := f.head.edge()
		if len(all) > 0 && f.head.bears(all[0].edge) {
			e = all[0].edge // as near as marks can tell
		}
		if c := f.said.cranial; c.known() && f.head.bears(c.value) {
			e = c.value
		}
		all = append(all, says{byMarks, e})
	}
	var names []string
	var groups edges
	for _, s := range all {
		names = append(names, s.name)
		groups.add(s.edge, s.name)
	}
	switch {
	case f.said.cranial.known():
		f.Cranial, f.CranialSource = f.said.cranial.value, f.said.cranial.stated()
		for _, g := range groups {
			if g.edge != f.Cranial {
				f.CranialSource += fmt.Sprintf("; %s the %s edge", say(g.names...), g.edge)
			}
		}
	case muddled:
		f.CranialSource = bySeveral
		f.CranialConflict = "The landmarks on this film are not in the order of their levels: correct their levels, or state the cranial direction."
	case len(groups) > 1:
		f.CranialSource = bySeveral
		f.CranialConflict = "The head lies " + groups.String() + ": state the cranial direction."
	case len(groups) == 1:
		f.Cranial, f.CranialSource = groups[0].edge, list(names)
	default:
		f.CranialSource = byNone
	}
}
