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

// headByMarks gives the direction towards the head from landmarks whose order
// along the sacrum is known: promontory, numbered foramina and fusion lines,
// coccyx tip. It is the slope of a least-squares line of position over place in
// that order, foramen Sn and fusion line Sn/Sn+1 both counting n (the foramen
// opens between those bodies). ok is false with fewer than two places. Marks
// that contradict each other by lying in the wrong order give a zero heading.
func headByMarks(ref FrameRef, marks []Mark) (h heading, ok bool) {
	type landmark struct {
		place float64 // 0 at the promontory, growing towards the feet
		at    r2.Vec
	}
	var all []landmark
	for _, m := range marks {
		if m.Frame != ref || len(m.Points) == 0 {
			continue
		}
		var place float64
		switch m.Structure {
		case Promontory:
			place = 0
		case CoccyxTip:
			place = 7
		case Foramen:
			place = float64(m.Level.Number())
		case FusionLine:
			above, _, _ := m.Fusion()
			place = float64(above)
		default:
			continue
		}
		if place == 0 && m.Structure != Promontory {
			continue // not numbered
		}
		var c r2.Vec
		for _, p := range m.Points {
			c = r2.Add(c, r2.Scale(1/float64(len(m.Points)), p))
		}
		all = append(all, landmark{place, c})
	}
	var mean landmark
	for _, l := range all {
		mean.place += l.place / float64(len(all))
		mean.at = r2.Add(mean.at, r2.Scale(1/float64(len(all)), l.at))
	}
	var slope r2.Vec
	for _, l := range all {
		slope = r2.Add(slope, r2.Scale(l.place-mean.place, r2.Sub(l.at, mean.at)))
		ok = ok || l.place != all[0].place
	}
	if !ok {
		return heading{}, false
	}
	for _, a := range all {
		for _, b := range all {
			if a.place < b.place && r2.Dot(slope, r2.Sub(b.at, a.at)) <= 0 {
				return heading{}, true
			}
		}
	}
	return heading(r2.Scale(-1, slope)), true
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
