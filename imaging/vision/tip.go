package vision

import (
	"math"
)

// A tip is where the farthest metal lies along the axis, whatever its shape: of
// a bevel the end of its edge, of a cone its apex, of a blunt end the end face.
// It is given as the point of the axis level with that metal.

// tip of a shaft with its uncertainty.
type tip struct {
	s, variance float64 // along the line, px and px^2
	kind        pointKind
	chance      float64 // of that kind
	length      float64 // of the ground part, pixels, of the likeliest shape
	depth       float64 // of the shadow at the end, grey values
	sd          float64 // of the noise about the tip, grey values a pixel
	inflation   float64 // of the variance by the noise's correlation
	excess      float64 // misfit at the end, over what the noise explains
	misfit      float64 // the same as a part of the shadow's depth
}

// Parts of a tip's surroundings that are fitted, pixels before and behind it.
const (
	tipBefore = 40.0
	tipBehind = 26.0
	tipReach  = 7.0 // beyond the shaft's blurred edge, to either side
	// tipShift is how far the tip may lie from where it was seen at first, and
	// shapeShift how far one shape's best place from another's: pixels, and widths
	// besides, as a long point fades out gradually.
	tipShift, tipShiftWidths     = 7.0, 1.6
	shapeShift, shapeShiftWidths = 2.0, 1.2
	// depthSlack is how far the shadow's depth at the tip may differ from the
	// shaft's further in, as a part of it and a standard deviation.
	depthSlack = 0.10
)

// span of shapes of one kind that are thought of: ground lengths in pixels and
// turns of a bevel, all alike likely.
type span struct {
	kind           pointKind
	length, turn   [2]float64
	lengths, turns int // how many of each stand for the span
	share          float64
}

// whole span of a kind for a rod of this width: a point is ground over 0.3 to 4
// times the width (common practice, no source).
func wholeSpan(kind pointKind, width, share float64) span {
	w := math.Max(width, 1.5)
	out := span{kind: kind, length: [2]float64{0.3 * w, 4 * w}, turn: [2]float64{-1, 1}, lengths: 4, turns: 4, share: share}
	switch kind {
	case blunt:
		out.length, out.lengths, out.turns = [2]float64{}, 1, 1
	case cone:
		out.turn, out.turns = [2]float64{}, 1
	}
	return out
}

// cell i of n between the ends of r.
func cell(r [2]float64, i, n int) (low, mid, high float64) {
	d := (r[1] - r[0]) / float64(n)
	return r[0] + d*float64(i), r[0] + d*(float64(i)+0.5), r[0] + d*float64(i+1)
}

// shape is one end that was tried.
type shape struct {
	end            *ending
	span, i, j     int
	prior          float64
	s, cost, depth float64 // where it fits best
	bend           float64 // of the cost there, its second derivative by s
}

// shapes that stand for a span.
func (p span) shapes(number int, full *profile) []*shape {
	var out []*shape
	for i := range p.lengths {
		for j := range p.turns {
			_, l, _ := cell(p.length, i, p.lengths)
			_, t, _ := cell(p.turn, j, p.turns)
			out = append(out, &shape{end: newEnding(point{p.kind, l, t}, full), span: number, i: i, j: j,
				prior: p.share / float64(p.lengths*p.turns), s: math.NaN(), cost: math.Inf(1)})
		}
	}
	return out
}

// narrowed is the part of a span about the shapes that fit to within limit; ok
// is false where that is most of it.
func (p span) narrowed(number int, all []*shape, limit float64) (span, bool) {
	low, high := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, h := range all {
		if h.span != number || h.cost > limit {
			continue
		}
		a, _, b := cell(p.length, h.i, p.lengths)
		half := (b - a) / 2
		low[0], high[0] = math.Min(low[0], a-half), math.Max(high[0], b+half)
		a, _, b = cell(p.turn, h.j, p.turns)
		half = (b - a) / 2
		low[1], high[1] = math.Min(low[1], a-half), math.Max(high[1], b+half)
	}
	if math.IsInf(low[0], 1) {
		return p, false
	}
	out := p
	part := 1.0
	for k, r := range []*[2]float64{&out.length, &out.turn} {
		old := *r
		*r = [2]float64{math.Max(old[0], low[k]), math.Min(old[1], high[k])}
		if old[1] > old[0] {
			part *= (r[1] - r[0]) / (old[1] - old[0])
		}
	}
	out.share *= part
	return out, part < 0.75
}

// patch is the surroundings of a tip, without their background.
type patch struct {
	samples []sample
	used    []bool
	off     []float64 // t of each sample from the axis
	whole   []block   // a single block: the background
	inner   []int     // of its members, by number: those the shaft may darken
	y       []float64 // values without background
	sum     float64   // of their squares
	side    float64   // how far from the axis the shaft's shadow reaches
	depth   float64   // expected
	slack   float64   // its standard deviation
}

// background of the patch: cubic along, quadratic across.
func (q *patch) background(about float64) {
	var m []int
	for i := range q.samples {
		if q.used[i] {
			m = append(m, i)
		}
	}
	var cols [][]float64
	for i := range 4 {
		for j := range 3 {
			c := make([]float64, len(m))
			for k, at := range m {
				s, t := (q.samples[at].s-about)/30, q.samples[at].t/12
				c[k] = math.Pow(s, float64(i)) * math.Pow(t, float64(j))
			}
			cols = append(cols, c)
		}
	}
	q.whole = []block{{members: m, basis: orthonormal(cols)}}
	q.inner = q.inner[:0]
	for k, at := range m {
		if math.Abs(q.off[at]) < q.side {
			q.inner = append(q.inner, k)
		}
	}
	v := make([]float64, len(q.samples))
	for i, k := range q.samples {
		v[i] = k.v
	}
	q.y = rest(q.whole, v)
	q.sum = dot(q.y, q.y)
}

// template of an end at s over the samples.
func (q *patch) template(e *ending, s float64, dst []float64) []float64 {
	for i, k := range q.samples {
		dst[i] = 0
		if q.used[i] {
			dst[i] = e.at(k.s-s, q.off[i])
		}
	}
	return dst
}

// cost of an end at s: the sum of squares that is left, and the depth that leaves
// it so, given how sure the depth is in noise of this variance.
func (q *patch) cost(e *ending, s, variance float64, room []float64) (cost, depth float64) {
	b := q.whole[0]
	own, with := 0.0, 0.0
	room = room[:len(q.inner)]
	for k, j := range q.inner {
		i := b.members[j]
		t := e.at(q.samples[i].s-s, q.off[i])
		room[k] = t
		own += t * t
		with += t * q.y[i]
	}
	for _, basis := range b.basis {
		d := 0.0
		for k, j := range q.inner {
			d += basis[j] * room[k]
		}
		own -= d * d
	}
	// Least squares of y = -depth t, with depth known to slack.
	w := variance / (q.slack * q.slack)
	depth = (w*q.depth - with) / (own + w)
	d := depth - q.depth
	return q.sum + 2*depth*with + depth*depth*own + w*d*d, depth
}

// fitTip finds the tip near about along the line, for ends of these kinds.
func (p Picture) fitTip(l line, f *shaft, about float64, kinds []pointKind) (tip, bool) {
	reach := f.width/2 + 2*f.blur + tipReach
	q := &patch{samples: p.band(l, about-tipBefore, about+tipBehind, reach)}
	if len(q.samples) < 300 {
		return tip{}, false
	}
	q.used = make([]bool, len(q.samples))
	q.off = make([]float64, len(q.samples))
	for i, k := range q.samples {
		q.used[i] = true
		off, _ := f.offsetAt(k.s)
		q.off[i] = k.t - off
	}
	q.side = f.width/2 + 4*f.blur
	q.depth = spline(f.depths, f.depth, math.Min(about, f.to))
	q.slack = depthSlack * math.Abs(q.depth)
	r := newRaster(q.samples)
	full := newProfile(f.width, f.blur, reach+6)
	room := make([]float64, len(q.samples))
	var spans []span
	var all []*shape
	for i, k := range kinds {
		spans = append(spans, wholeSpan(k, f.width, 1/float64(len(kinds))))
		all = append(all, spans[i].shapes(i, full)...)
	}
	variance := f.variance()
	// look for where each shape fits best, and which does.
	look := func(which []*shape, at, half, step float64) *shape {
		var best *shape
		for _, h := range which {
			h.cost = math.Inf(1)
			for s := at - half; s <= at+half+1e-9; s += step {
				if c, d := q.cost(h.end, s, variance, room); c < h.cost {
					h.s, h.cost, h.depth = s, c, d
				}
			}
			if best == nil || h.cost < best.cost {
				best = h
			}
		}
		return best
	}
	// sharpen finds the place of each shape by a parabola through three, twice.
	sharpen := func(which []*shape) *shape {
		var best *shape
		for _, h := range which {
			for _, step := range []float64{0.5, 0.25} {
				a, _ := q.cost(h.end, h.s-step, variance, room)
				b, _ := q.cost(h.end, h.s+step, variance, room)
				h.bend = (a - 2*h.cost + b) / (step * step)
				if h.bend <= 0 {
					continue
				}
				s := h.s + math.Max(-1, math.Min(1, (a-b)/(2*step*h.bend)))
				if c, d := q.cost(h.end, s, variance, room); c < h.cost {
					h.s, h.cost, h.depth = s, c, d
				}
			}
			if best == nil || h.cost < best.cost {
				best = h
			}
		}
		return best
	}
	// A few shapes find the place and what else lies about it; then all.
	var few []*shape
	for i := 0; i < len(all); i += max(1, len(all)/6) {
		few = append(few, all[i])
	}
	q.background(about)
	best := look(few, about, tipShift+tipShiftWidths*f.width, 1.5)
	q.setAside(r, best.end, best.s, best.depth, f)
	q.background(about)
	best = look(few, best.s, 4, 1)
	best = look(all, best.s, shapeShift+shapeShiftWidths*f.width, 1)
	residual := q.residual(best.end, best.s, best.depth, room)
	n := r.measure(q.samples, q.used, residual, 16)
	slope := q.slope(best.end, best.s)
	inflation := n.inflation(r, q.samples, q.used, slope)
	variance = n.sd * n.sd * inflation
	// The likely shapes finely, and more finely where few are left.
	likely := func() (out []*shape) {
		for _, h := range all {
			if h.cost < best.cost+12*variance {
				out = append(out, h)
			}
		}
		return out
	}
	for range 3 {
		best = sharpen(likely())
		again := false
		for i := range spans {
			narrow, ok := spans[i].narrowed(i, all, best.cost+12*variance)
			if !ok {
				continue
			}
			again = true
			spans[i] = narrow
			at := best.s
			kept := all[:0:0]
			for _, h := range all {
				if h.span != i {
					kept = append(kept, h)
				}
			}
			finer := narrow.shapes(i, full)
			look(finer, at, shapeShift+shapeShiftWidths*f.width/2, 1)
			all = append(kept, finer...)
		}
		if !again {
			break
		}
	}
	kept := likely()
	best = sharpen(kept)
	out := tip{sd: n.sd, inflation: inflation, depth: best.depth}
	// The chances of shapes and places together.
	total, mean, square, top := 0.0, 0.0, 0.0, 0.0
	byKind := map[pointKind]float64{}
	for _, h := range kept {
		scale := math.Sqrt(2 * variance / math.Max(1e-12, h.bend))
		step := math.Max(0.02, math.Min(0.8, scale/1.8))
		for k := -6; k <= 6; k++ {
			s := h.s + float64(k)*step
			c, _ := q.cost(h.end, s, variance, room)
			w := h.prior * step * math.Exp(-(c-best.cost)/(2*variance))
			total += w
			mean += w * s
			square += w * s * s
			byKind[h.end.kind] += w
		}
	}
	out.s = mean / total
	out.variance = math.Max(1e-6, square/total-out.s*out.s)
	for k, w := range byKind {
		if w/total > out.chance {
			out.kind, out.chance = k, w/total
		}
	}
	for _, h := range kept {
		if w := h.prior * math.Exp(-(h.cost-best.cost)/(2*variance)); h.end.kind == out.kind && w > top {
			top, out.length = w, h.end.length
		}
	}
	out.excess, out.misfit = q.excess(residual, best.s, f, n.sd)
	out.misfit /= math.Abs(best.depth) + 1e-9
	return out, true
}

// residual of the values against an end of this depth.
func (q *patch) residual(e *ending, s, depth float64, room []float64) []float64 {
	t := rest(q.whole, q.template(e, s, room))
	for i := range t {
		t[i] = q.y[i] + depth*t[i]
	}
	return t
}

// slope of the template by the tip's place, without background.
func (q *patch) slope(e *ending, s float64) []float64 {
	a := q.template(e, s+0.25, make([]float64, len(q.samples)))
	b := q.template(e, s-0.25, make([]float64, len(q.samples)))
	for i := range a {
		a[i] = (a[i] - b[i]) * 2
	}
	return rest(q.whole, a)
}

// setAside leaves out pixels beside the shaft that belong to something else.
func (q *patch) setAside(r raster, e *ending, s, depth float64, f *shaft) {
	res := q.residual(e, s, depth, make([]float64, len(q.samples)))
	means := make([]float64, len(res))
	sizes := make([]float64, len(res))
	for i, k := range q.samples {
		n := 0
		for dy := int32(-1); dy <= 1; dy++ {
			for dx := int32(-1); dx <= 1; dx++ {
				if j := r.at(k.x+dx, k.y+dy); j >= 0 {
					means[i] += res[j]
					n++
				}
			}
		}
		means[i] /= float64(n)
		sizes[i] = math.Abs(means[i])
	}
	limit := 4 * 1.4826 * median(sizes)
	core := f.width/2 + 1.5*f.blur + 1
	for i := range means {
		if math.Abs(q.off[i]) > core && math.Abs(means[i]) > limit {
			q.used[i] = false
		}
	}
}

// excess is the root mean square of the residual's means over three pixels'
// length of shaft about the tip, over what noise of this size leaves, and that
// mean itself in grey values.
func (q *patch) excess(residual []float64, s float64, f *shaft, sd float64) (over, mean float64) {
	core := f.width/2 + f.blur
	sum, n := map[int]float64{}, map[int]int{}
	for i, k := range q.samples {
		if q.used[i] && math.Abs(q.off[i]) < core && math.Abs(k.s-s) < 9 {
			at := int(math.Floor((k.s - s) / 3))
			sum[at] += residual[i]
			n[at]++
		}
	}
	total, means, count := 0.0, 0.0, 0
	for k, v := range sum {
		if n[k] > 4 {
			total += v * v / float64(n[k])
			means += sq(v / float64(n[k]))
			count++
		}
	}
	if count == 0 || sd == 0 {
		return 1, 0
	}
	return math.Sqrt(total/float64(count)) / sd, math.Sqrt(means / float64(count))
}
