package vision

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// line is a smooth curve on a picture as a fine polyline, from one end to the
// other, with the arc length at each point. SR coordinates, pixels.
type line struct {
	p   []r2.Vec
	arc []float64
}

func newLine(p []r2.Vec) line {
	l := line{p, make([]float64, len(p))}
	for i := 1; i < len(p); i++ {
		l.arc[i] = l.arc[i-1] + r2.Norm(r2.Sub(p[i], p[i-1]))
	}
	return l
}

func (l line) length() float64 { return l.arc[len(l.arc)-1] }

// piece that holds arc length s; the end pieces reach beyond the ends.
func (l line) piece(s float64) int {
	low, high := 0, len(l.p)-2
	for low < high {
		mid := (low + high + 1) / 2
		if l.arc[mid] <= s {
			low = mid
		} else {
			high = mid - 1
		}
	}
	return low
}

// at is the point at arc length s and the unit direction there; beyond the ends
// it goes on straight.
func (l line) at(s float64) (p, along r2.Vec) {
	i := l.piece(s)
	along = r2.Unit(r2.Sub(l.p[i+1], l.p[i]))
	return r2.Add(l.p[i], r2.Scale(s-l.arc[i], along)), along
}

// across is the direction of +t where along is that of +s.
func across(along r2.Vec) r2.Vec { return r2.Vec{X: -along.Y, Y: along.X} }

// nearest is the arc length of the line's point nearest to q.
func (l line) nearest(q r2.Vec) float64 {
	best, at := math.Inf(1), 0.0
	for i := 1; i < len(l.p); i++ {
		e := r2.Sub(l.p[i], l.p[i-1])
		f := math.Max(0, math.Min(1, r2.Dot(r2.Sub(q, l.p[i-1]), e)/r2.Norm2(e)))
		if d := r2.Norm(r2.Sub(q, r2.Add(l.p[i-1], r2.Scale(f, e)))); d < best {
			best, at = d, l.arc[i-1]+f*(l.arc[i]-l.arc[i-1])
		}
	}
	return at
}

// extended by straight pieces of this length at both ends; the arc length stays
// counted from the former start.
func (l line) extended(by float64) line {
	n := len(l.p)
	first, last := r2.Unit(r2.Sub(l.p[0], l.p[1])), r2.Unit(r2.Sub(l.p[n-1], l.p[n-2]))
	p := append([]r2.Vec{r2.Add(l.p[0], r2.Scale(by, first))}, l.p...)
	out := newLine(append(p, r2.Add(l.p[n-1], r2.Scale(by, last))))
	for i := range out.arc {
		out.arc[i] -= by
	}
	return out
}

// reversed runs the other way.
func (l line) reversed() line {
	p := make([]r2.Vec, len(l.p))
	for i, q := range l.p {
		p[len(p)-1-i] = q
	}
	return newLine(p)
}

// sample is a pixel of a band: where it lies along and across the line, and its
// value.
type sample struct {
	x, y    int32
	s, t, v float64
}

// band of the picture's pixels whose centres lie within reach pixels of the
// line, with arc length between from and to, in the order of s to a pixel.
func (p Picture) band(l line, from, to, reach float64) []sample {
	lo, hi := r2.Vec{X: math.Inf(1), Y: math.Inf(1)}, r2.Vec{X: math.Inf(-1), Y: math.Inf(-1)}
	for i := l.piece(from); i <= l.piece(to); i++ {
		a, _ := l.at(math.Max(from, l.arc[i]))
		if i == l.piece(from) {
			a, _ = l.at(from)
		}
		b, _ := l.at(math.Min(to, l.arc[i+1]))
		if i == l.piece(to) {
			b, _ = l.at(to)
		}
		for _, q := range []r2.Vec{a, b} {
			lo = r2.Vec{X: math.Min(lo.X, q.X), Y: math.Min(lo.Y, q.Y)}
			hi = r2.Vec{X: math.Max(hi.X, q.X), Y: math.Max(hi.Y, q.Y)}
		}
	}
	x0, x1 := max(0, int(lo.X-reach)), min(p.Columns-1, int(hi.X+reach))
	y0, y1 := max(0, int(lo.Y-reach)), min(p.Rows-1, int(hi.Y+reach))
	if x1 < x0 || y1 < y0 {
		return nil
	}
	// Each pixel belongs to the piece it lies nearest to.
	w := x1 - x0 + 1
	nearest := make([]sample, w*(y1-y0+1))
	for i := range nearest {
		nearest[i].t = math.Inf(1)
	}
	first, last := l.piece(from), l.piece(to)
	for i := first; i <= last; i++ {
		a, b := l.p[i], l.p[i+1]
		length := l.arc[i+1] - l.arc[i]
		if length == 0 {
			continue
		}
		along := r2.Scale(1/length, r2.Sub(b, a))
		n := across(along)
		f0, f1 := 0.0, length
		if i == first {
			f0 = from - l.arc[i]
		}
		if i == last {
			f1 = to - l.arc[i]
		}
		// Pieces of a bent line overlap on its inner side and leave wedges on
		// its outer side: half a pixel more closes them.
		const more = 0.5
		p0, p1 := r2.Add(a, r2.Scale(f0, along)), r2.Add(a, r2.Scale(f1, along))
		for y := max(y0, int(math.Min(p0.Y, p1.Y)-reach-1)); y <= min(y1, int(math.Max(p0.Y, p1.Y)+reach+1)); y++ {
			// The part of the row that lies near the piece.
			left, right := math.Min(p0.X, p1.X)-reach-1, math.Max(p0.X, p1.X)+reach+1
			if math.Abs(n.X) > 1e-3 {
				c := a.X + (a.Y-float64(y)-0.5)*n.Y/n.X
				d := (reach + 1) / math.Abs(n.X)
				left, right = math.Max(left, c-d), math.Min(right, c+d)
			}
			for x := max(x0, int(left)); x <= min(x1, int(right)); x++ {
				q := r2.Sub(r2.Vec{X: float64(x) + 0.5, Y: float64(y) + 0.5}, a)
				f, t := r2.Dot(q, along), r2.Dot(q, n)
				if f < f0-more && i > first || f < f0 && i == first || f > f1+more && i < last || f > f1 && i == last || math.Abs(t) > reach {
					continue
				}
				if k := &nearest[(y-y0)*w+x-x0]; math.Abs(t) < math.Abs(k.t) {
					*k = sample{int32(x), int32(y), l.arc[i] + f, t, p.At(x, y)}
				}
			}
		}
	}
	// In the order of s, pixel by pixel of length.
	count := make([]int, int(to-from)+3)
	for _, k := range nearest {
		if !math.IsInf(k.t, 1) {
			count[int(k.s-from)+1]++
		}
	}
	for i := 1; i < len(count); i++ {
		count[i] += count[i-1]
	}
	out := make([]sample, count[len(count)-1])
	for _, k := range nearest {
		if !math.IsInf(k.t, 1) {
			at := &count[int(k.s-from)]
			out[*at] = k
			*at++
		}
	}
	return out
}
