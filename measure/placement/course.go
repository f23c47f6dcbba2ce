package placement

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging/carm"
	"leadline/measure/curve"
	"leadline/measure/quantity"
)

// way is a device's course in the patient: its points from skin to tip.
type way struct {
	points []r3.Vec
	leads  bool
	told   []float64 // of a lead: where along its picture its distance to the side is told
}

// fixed is a place along a lead's picture where its distance to the side is
// told.
type fixed struct{ along, side float64 }

// LeadBend in millimetres is the least radius in which a lead is taken to bend
// where nothing tells (common practice, no source).
const LeadBend = 30.0

// unseen is the standard uncertainty, in mm, of a lead's distance to the side at
// its entry, where the frontal film does not tell it: between two places that
// are told it may bow by the square of their distance over eight radii.
func (sp *space) unseen(f *found) float64 {
	e := r2.Vec{X: f.v[entryX], Y: f.v[entryY]}
	g := sp.plane()
	w, why := sp.course(g)
	if why != "" || !finite(e) || sp.lateral.device.curve == nil {
		return 0
	}
	c := sp.lateral.device.curve
	a, b := c.Range()
	// The entry's own place along the picture, by the vertices about it.
	best, at := math.Inf(1), 0.0
	for i := 1; i < len(w.points); i++ {
		p, q := g.of(w.points[i-1]), g.of(w.points[i])
		d := r2.Sub(q, p)
		u := math.Max(0, math.Min(1, r2.Dot(r2.Sub(e, p), d)/r2.Norm2(d)))
		if r := r2.Norm(r2.Sub(e, r2.Add(p, r2.Scale(u, d)))); r < best {
			t0, _ := c.Nearest(sp.lateral.plane.at(sp.lateral.device.px[i-1]), a, b)
			t1, _ := c.Nearest(sp.lateral.plane.at(sp.lateral.device.px[i]), a, b)
			best, at = r, c.Length(a, t0+u*(t1-t0))
		}
	}
	before, after := math.Inf(-1), math.Inf(1)
	for _, k := range w.told {
		if k <= at {
			before = math.Max(before, k)
		}
		if k >= at {
			after = math.Min(after, k)
		}
	}
	gap := after - before
	if math.IsInf(gap, 0) {
		gap = 2 * math.Min(at-before, after-at) // past the last place that is told
	}
	if gap <= 0 || math.IsInf(gap, 0) {
		return 0
	}
	return quantity.Rectangular(gap * gap / (8 * LeadBend))
}

// course finds it, or why it cannot be found.
func (sp *space) course(g sagittal) (way, string) {
	if sp.lateral.device.lead {
		return sp.leadCourse(g)
	}
	a, why := newAxis(sp.lateral.device.drawn, sp.lateral.plane)
	if why != "" {
		return way{}, sp.lateral.device.name + ": " + why
	}
	b, why := newAxis(sp.frontal.device.drawn, sp.frontal.plane)
	if why != "" {
		return way{}, sp.frontal.device.name + ": " + why
	}
	normal := func(c carm.Camera, p plane, a axis) (source, n, hub r3.Vec) {
		source, hub = c.Ray(p.pixel(a.At(a.hub)))
		_, tip := c.Ray(p.pixel(a.At(a.tip)))
		return source, r3.Unit(r3.Cross(hub, tip)), hub
	}
	s, n, hub := normal(sp.side, sp.lateral.plane, a)
	t, m, _ := normal(sp.front, sp.frontal.plane, b)
	d := r3.Cross(n, m)
	if !(r3.Norm(d) > leastLean) {
		return way{}, "the shaft lies in one plane with both beams: which way it leans cannot be told"
	}
	d = r3.Unit(d)
	// The point of both planes nearest to the tip.
	k := r3.Dot(n, m)
	x, y := r3.Dot(n, r3.Sub(s, sp.tip)), r3.Dot(m, r3.Sub(t, sp.tip))
	tip := r3.Add(sp.tip, r3.Add(r3.Scale((x-k*y)/(1-k*k), n), r3.Scale((y-k*x)/(1-k*k), m)))
	// The lateral film's hub on it: there the ray s + u hub lies over the line,
	// both in the plane of n.
	across := r3.Cross(d, n)
	u := r3.Dot(across, r3.Sub(tip, s)) / r3.Dot(across, hub)
	return way{points: []r3.Vec{r3.Add(s, r3.Scale(u, hub)), tip}}, ""
}

// leadCourse follows a lead's picture on the lateral film and finds how far to
// the side each of its points lies: from where the epipolar line meets the
// lead's picture on the frontal film, from contacts and tip seen on both, and
// between those by the length of the way.
func (sp *space) leadCourse(g sagittal) (way, string) {
	l, f := sp.lateral, sp.frontal
	if l.device.curve == nil {
		return way{}, needMark(l.device)
	}
	if f.device.curve == nil {
		return way{}, needMark(f.device)
	}
	var known []fixed
	a, b := l.device.curve.Range()
	where := func(px r2.Vec) float64 {
		t, _ := l.device.curve.Nearest(l.plane.at(px), a, b)
		return l.device.curve.Length(a, t)
	}
	n := len(l.device.px)
	along := make([]float64, n)
	for i, px := range l.device.px {
		along[i] = where(px)
		if i == n-1 {
			break
		}
		if side, ok := sp.across(g, px); ok {
			known = append(known, fixed{along[i], side})
		}
	}
	for _, k := range l.contacts {
		if p, ok := sp.contacts[k.index]; ok {
			known = append(known, fixed{where(k.px[0]), r3.Dot(g.normal, p)})
		}
	}
	known = append(known, fixed{along[n-1], r3.Dot(g.normal, sp.tip)})
	side := func(s float64) float64 {
		// The two nearest on either side.
		lo, hi := -1, -1
		for i, k := range known {
			if k.along <= s && (lo < 0 || k.along > known[lo].along) {
				lo = i
			}
			if k.along >= s && (hi < 0 || k.along < known[hi].along) {
				hi = i
			}
		}
		switch {
		case lo < 0:
			return known[hi].side
		case hi < 0 || known[hi].along == known[lo].along:
			return known[lo].side
		}
		u := (s - known[lo].along) / (known[hi].along - known[lo].along)
		return known[lo].side + u*(known[hi].side-known[lo].side)
	}
	out := way{leads: true}
	for _, k := range known {
		out.told = append(out.told, k.along)
	}
	for i, px := range l.device.px {
		out.points = append(out.points, g.seen(sp.side, px, side(along[i])))
	}
	return out, ""
}

// across is how far along the normal the lead's point seen at px on the lateral
// film lies, where its epipolar line meets the lead's picture on the frontal film
// once and not at a grazing angle.
func (sp *space) across(g sagittal, px r2.Vec) (float64, bool) {
	f := sp.frontal
	p, d, ok := carm.Epipolar(sp.side, px, sp.front)
	if !ok {
		return 0, false
	}
	at := f.plane.at
	level := curve.Line{Origin: at(p), Direction: r2.Unit(r2.Sub(at(r2.Add(p, d)), at(p)))}
	xs := f.device.curve.CrossLine(level)
	if len(xs) != 1 || math.Abs(r2.Cross(f.device.curve.Tangent(xs[0].T), level.Direction)) < 0.3 {
		return 0, false
	}
	o, ray := sp.side.Ray(px)
	t, other := sp.front.Ray(f.plane.pixel(xs[0].Point))
	// Both rays meet: the length u of the first solves o + u ray = t + v other.
	n := r3.Cross(ray, other)
	u := r3.Dot(r3.Cross(r3.Sub(t, o), other), n) / r3.Norm2(n)
	return r3.Dot(g.normal, r3.Add(o, r3.Scale(u, ray))), true
}
