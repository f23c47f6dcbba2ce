package placement

import (
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/curve"
	"leadline/measure/mark"
	"leadline/measure/scale"
)

// Films lists the frames a book speaks of, and the first frame of every
// instance besides, by time.
func Films(headers []*imaging.Header, book mark.Book) []Film {
	var out []Film
	seen := map[mark.FrameRef]bool{}
	add := func(ref mark.FrameRef) {
		if seen[ref] {
			return
		}
		for _, h := range headers {
			if h.SOPInstance == ref.Instance {
				seen[ref] = true
				out = append(out, Film{
					Ref: ref, File: filepath.Base(h.File), Header: h,
					Geometry: h.Geometry(ref.First),
					Time:     h.AcquisitionDate + h.AcquisitionTime,
				})
				return
			}
		}
	}
	for _, h := range headers {
		add(mark.One(h.SOPInstance, 1))
	}
	for _, m := range book.Marks {
		add(m.Frame)
	}
	for _, s := range book.Statements {
		// What is stated about several frames at once, such as a whole run, names
		// no film of its own.
		if s.Frame.Instance != "" && s.Frame.Last <= s.Frame.First {
			add(s.Frame)
		}
	}
	slices.SortStableFunc(out, func(a, b Film) int {
		if c := strings.Compare(a.Time, b.Time); c != 0 {
			return c
		}
		if c := strings.Compare(a.File, b.File); c != 0 {
			return c
		}
		return a.Ref.First - b.Ref.First
	})
	return out
}

// plane turns pixels into the film's scaled plane: millimetres where there is
// a scale, else pixels whose shape is evened out (as wide as a column).
type plane struct {
	column, row float64 // plane units a pixel, to the right and downwards
	scaled      bool    // the unit is millimetres
}

func planeOf(s scale.Scale) plane { return plane{s.Column, s.Row, s.Known} }

func (p plane) at(px r2.Vec) r2.Vec { return r2.Vec{X: px.X * p.column, Y: px.Y * p.row} }

func (p plane) pixel(v r2.Vec) r2.Vec { return r2.Vec{X: v.X / p.column, Y: v.Y / p.row} }

func (p plane) all(px []r2.Vec) []r2.Vec {
	out := make([]r2.Vec, len(px))
	for i, v := range px {
		out[i] = p.at(v)
	}
	return out
}

// unit of lengths on the plane.
func (p plane) unit() string {
	if p.scaled {
		return "mm"
	}
	return "px"
}

// drawn is a mark as a computation uses it: its pixels may be displaced to see
// what depends on them.
type drawn struct {
	uid  string
	key  string // where and what it is, the same whoever marks it: names its draws
	name string // structure, for messages
	px   []r2.Vec
	sd   float64 // pixels, per coordinate
	lead bool
	lack string // why there is no mark although it was drawn
	// shape is whether a shaft counts as straight: a displaced copy keeps what
	// was decided of the marks themselves, so that no slope is taken across the
	// limit between the two.
	shape shape
}

// shape of a shaft.
type shape int8

const (
	undecided shape = iota
	straight
	bent
)

func (d drawn) marked() bool { return len(d.px) > 0 }

// decided is d with the shape that its points have.
func (d drawn) decided(p plane) drawn {
	if a, why := newAxis(d, p); why == "" && !d.lead {
		d.shape = straight
		if a.bent {
			d.shape = bent
		}
	}
	return d
}

// moved is d with vertex i displaced by v pixels.
func (d drawn) moved(i int, v r2.Vec) drawn {
	d.px = slices.Clone(d.px)
	d.px[i] = r2.Add(d.px[i], v)
	return d
}

// shifted is d with every vertex displaced as f says.
func (d drawn) shifted(f func(i int, p r2.Vec) r2.Vec) drawn {
	px := make([]r2.Vec, len(d.px))
	for i, p := range d.px {
		px[i] = f(i, p)
	}
	d.px = px
	return d
}

// without is d with vertex i left out.
func (d drawn) without(i int) drawn {
	d.px = slices.Delete(slices.Clone(d.px), i, i+1)
	return d
}

// line is a mark with the curve through it.
type line struct {
	drawn
	curve *curve.Curve
	why   string // why there is no curve
}

// form says how the points of a line are joined.
type form int

const (
	openForm   form = iota // spline through points in path order
	closedForm             // periodic spline through an outline
)

// newLine lays the curve through a mark whose points are already in order.
func newLine(d drawn, p plane, f form) line {
	l := line{drawn: d}
	if !d.marked() {
		return l
	}
	var err error
	switch pts := p.all(d.px); f {
	case closedForm:
		l.curve, err = curve.Closed(pts)
	default:
		if len(pts) == curve.LeastPoints-1 {
			l.curve, err = curve.Through(pts) // only ever one left out of five: arranged refuses fewer
		} else {
			l.curve, err = curve.InOrder(pts)
		}
	}
	if err != nil {
		l.why = d.name + ": " + strings.TrimPrefix(err.Error(), curve.ErrPoints.Error()+": ")
	}
	return l
}

// arranged makes the line of a mark, its points brought into order first.
func arranged(d drawn, p plane, f form) line {
	if !d.marked() {
		return line{drawn: d, why: d.lack}
	}
	if len(d.px) < curve.LeastPoints {
		return line{drawn: d, why: d.name + " has " + count(len(d.px), "point") + ", at least " + strconv.Itoa(curve.LeastPoints) + " are needed"}
	}
	if f == openForm && !d.lead {
		d.px = curve.Arrange(d.px, curve.Order(p.all(d.px)))
	}
	return newLine(d, p, f)
}

func count(n int, noun string) string {
	s := strconv.Itoa(n) + " " + noun
	if n != 1 {
		s += "s"
	}
	return s
}

// axis is a needle's or wire's straight line, from hub to tip.
type axis struct {
	curve.Line
	hub, tip  float64 // along the line
	bent      bool
	shortTail bool // bent, and shorter than the tail that was wanted
}

const (
	// StraightWithin is how far, in millimetres, a shaft's points may lie off
	// their line for all of them to count.
	StraightWithin = 0.5
	// TailLength in millimetres is the part of a bent shaft that makes its axis.
	TailLength = 20.0
	tailSteps  = 100
)

// newAxis fits the axis. Without a scale a shaft counts as straight where its
// points lie within three standard deviations of their marking of the line; a
// bent one then has no axis.
func newAxis(d drawn, p plane) (axis, string) {
	pts := p.all(d.px)
	within := StraightWithin
	if !p.scaled {
		within = 3 * d.sd * max(p.column, p.row)
	}
	l, ok := curve.Fit(pts)
	if !ok {
		return axis{}, "its points coincide"
	}
	a := axis{Line: l}
	for _, q := range pts {
		if d := l.Off(q); d > within || d < -within {
			a.bent = true
		}
	}
	if d.shape != undecided {
		a.bent = d.shape == bent
	}
	if a.bent {
		if !p.scaled {
			return axis{}, "a bent shaft needs a scale: mark a known length"
		}
		tail, enough := curve.Tail(pts, TailLength, tailSteps)
		if a.Line, ok = curve.Fit(tail); !ok {
			return axis{}, "its points coincide"
		}
		a.shortTail = !enough
	}
	a.hub, a.tip = a.Along(pts[0]), a.Along(pts[len(pts)-1])
	for i := 1; i < len(pts); i++ {
		if r2.Dot(r2.Sub(pts[i], pts[i-1]), r2.Sub(pts[len(pts)-1], pts[0])) < 0 && r2.Norm(r2.Sub(pts[i], pts[i-1])) > within {
			return axis{}, "its points run back and forth; they run from skin to tip"
		}
	}
	return a, ""
}
