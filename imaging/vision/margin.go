package vision

import (
	"container/heap"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

// edge is a margin followed between clicks.
type edge struct {
	line     path      // along the edge, about 1 px apart
	sd       []float64 // at each point across the edge, px, rival edges included
	strength []float64 // contrast of the edge over its noise
	rivals   []rival
}

// rival is a piece of another edge beside the one followed.
type rival struct {
	line     []r2.Vec
	distance float64 // mean, px
	ratio    float64 // of its contrast to that of the edge followed
}

// chance that the rival was meant: odds as the squares of the contrasts, an
// assumption.
func (r rival) chance() float64 { return r.ratio * r.ratio / (1 + r.ratio*r.ratio) }

// Limits of a margin.
const (
	marginReach   = 45.0 // px the edge may lie off the straight line between clicks, at least
	rivalReach    = 14.0 // px within which another edge is a rival
	rivalStrength = 0.5  // of the edge's contrast, at least
	rivalApart    = 3.5  // px, at least
	rivalLength   = 12   // px: shorter pieces are grain
	edgeBlur      = 1.5  // px, of the filter that finds the edge
	clickScatter  = 3.0  // px, standard deviation of a click about the edge meant (an assumption)
	stripStep     = 0.5  // px between samples across a strip
)

// findMargin follows an edge through the clicks, in their order: between two
// clicks by the least-cost path over the pixels (Dijkstra, Numer Math
// 1959;1:269-271), cheap where the gradient across it is steep and has the sign
// it has at the clicks; then, on the strip along that path, by the best smooth
// line, to a fraction of a pixel.
//
// Errors wrap imaging.ErrBadInput for fewer than two clicks and errNotSeen where
// no edge stands out.
func findMargin(p Picture, points []r2.Vec) (edge, error) {
	if len(points) < 2 {
		return edge{}, fmt.Errorf("%w: a margin is followed between at least two clicks along it; %d given", imaging.ErrBadInput, len(points))
	}
	low, high := points[0], points[0]
	for _, q := range points {
		low = r2.Vec{X: min(low.X, q.X), Y: min(low.Y, q.Y)}
		high = r2.Vec{X: max(high.X, q.X), Y: max(high.Y, q.Y)}
	}
	const more = marginReach + 20
	part := p.cut(int(low.X-more), int(low.Y-more), int(high.X+more), int(high.Y+more))
	g := part.halved().gradient(1.1)
	sign := edgeSign(g, points)
	points = snapped(g, sign, points)
	var line []r2.Vec
	for i := 1; i < len(points); i++ {
		piece, err := cheapest(g, sign, points[i-1], points[i])
		if err != nil {
			return edge{}, err
		}
		if i > 1 {
			piece = piece[1:]
		}
		line = append(line, piece...)
	}
	// The path on the grid has corners: round them before looking across it.
	e := edge{line: evenly(line, 1).smoothed(4)}
	if len(e.line.points) < 2*rivalLength {
		return edge{}, fmt.Errorf("%w: the clicks are less than %d pixels apart; set them farther along the margin", errNotSeen, 2*rivalLength)
	}
	for _, reach := range []float64{9, 5} {
		e.settle(part, sign, reach)
	}
	e.line = e.line.smoothed(4)
	e.judge(part, sign)
	strong := 0
	for _, s := range e.strength {
		if s > 3 {
			strong++
		}
	}
	if strong < len(e.strength)/2 {
		return edge{}, fmt.Errorf("%w: no edge stands out from the noise between the clicks on more than half of the way; set points by hand", errNotSeen)
	}
	return e, nil
}

// edgeSign is +1 where the picture is brighter to the right of the way through
// the clicks, -1 where to its left, by the gradients about the clicks.
func edgeSign(g gradient, points []r2.Vec) float64 {
	vote := 0.0
	for i, p := range points {
		n := wayAcross(points, i)
		for d := -6.0; d <= 6; d++ {
			at := r2.Add(p, r2.Scale(d, n))
			v := (g.x.at(at)*n.X + g.y.at(at)*n.Y) * math.Exp(-d*d/(2*clickScatter*clickScatter))
			vote += v * math.Abs(v)
		}
	}
	if vote < 0 {
		return -1
	}
	return 1
}

// wayAcross is the unit normal to the way through the points at one of them.
func wayAcross(points []r2.Vec, i int) r2.Vec {
	d := r2.Sub(points[min(len(points)-1, i+1)], points[max(0, i-1)])
	if r2.Norm(d) == 0 {
		return r2.Vec{X: 1}
	}
	return rightOf(r2.Unit(d))
}

// snapped moves each click across the way to the steepest edge near it, so that
// the path need not run out to the click and back: distance counts against an
// edge by a Gaussian of the clicks' scatter.
func snapped(g gradient, sign float64, points []r2.Vec) []r2.Vec {
	out := make([]r2.Vec, len(points))
	for i, p := range points {
		n := wayAcross(points, i)
		best, at := 0.0, p
		for d := -8.0; d <= 8; d += 0.5 {
			q := r2.Add(p, r2.Scale(d, n))
			v := sign * (g.x.at(q)*n.X + g.y.at(q)*n.Y) * math.Exp(-d*d/(2*clickScatter*clickScatter))
			if v > best {
				best, at = v, q
			}
		}
		out[i] = at
	}
	return out
}

// place is a sample waiting its turn.
type place struct {
	cost float64
	at   int
}

type queue []place

func (q queue) Len() int           { return len(q) }
func (q queue) Less(i, j int) bool { return q[i].cost < q[j].cost }
func (q queue) Swap(i, j int)      { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(x any)        { *q = append(*q, x.(place)) }
func (q *queue) Pop() any {
	old := *q
	x := old[len(old)-1]
	*q = old[:len(old)-1]
	return x
}

// cheapest path from a to b over the samples of the gradient.
func cheapest(g gradient, sign float64, a, b r2.Vec) ([]r2.Vec, error) {
	w, h := g.x.width, g.x.height
	chord := r2.Norm(r2.Sub(b, a))
	if chord < 4 {
		return []r2.Vec{a, b}, nil
	}
	d := r2.Unit(r2.Sub(b, a))
	n := rightOf(d)
	reach := max(marginReach, 0.35*chord)
	inside := func(q r2.Vec) bool {
		e := r2.Sub(q, a)
		s, t := r2.Dot(e, d), r2.Dot(e, n)
		return s > -12 && s < chord+12 && math.Abs(t) < reach
	}
	// The scale of the cost: twice the root mean square of the gradient.
	sum, count := 0.0, 0.0
	for j := 0; j < h; j += 2 {
		for i := 0; i < w; i += 2 {
			if inside(g.x.centre(i, j)) {
				x, y := float64(g.x.v[j*w+i]), float64(g.y.v[j*w+i])
				sum, count = sum+x*x+y*y, count+1
			}
		}
	}
	usual := 2 * math.Sqrt(sum/max(count, 1))
	if usual == 0 {
		return nil, fmt.Errorf("%w: the picture is flat between the clicks", errNotSeen)
	}
	i0, j0 := g.x.index(a)
	i1, j1 := g.x.index(b)
	start, end := j0*w+i0, j1*w+i1
	best, from := map[int]float64{start: 0}, map[int]int{}
	q := queue{{0, start}}
	for len(q) > 0 {
		at := heap.Pop(&q).(place)
		if at.at == end {
			break
		}
		if at.cost > best[at.at] {
			continue
		}
		i, j := at.at%w, at.at/w
		for dj := -1; dj <= 1; dj++ {
			for di := -1; di <= 1; di++ {
				u, v := i+di, j+dj
				to := v*w + u
				if di == 0 && dj == 0 || u < 0 || v < 0 || u >= w || v >= h || !inside(g.x.centre(u, v)) && to != end {
					continue
				}
				step := math.Hypot(float64(di), float64(dj))
				// The gradient across the step, to its right positive.
				c := (-float64(g.x.v[to])*float64(dj) + float64(g.y.v[to])*float64(di)) / step * sign / usual
				cost := at.cost + step*(0.03+math.Exp(-2.5*max(0, c)))
				if old, known := best[to]; !known || cost < old {
					best[to], from[to] = cost, at.at
					heap.Push(&q, place{cost, to})
				}
			}
		}
	}
	if _, ok := from[end]; !ok {
		return nil, fmt.Errorf("%w: no way between the clicks; set them closer together", errNotSeen)
	}
	var out []r2.Vec
	for at := end; at != start; at = from[at] {
		out = append(out, g.x.centre(at%w, at/w))
	}
	out = append(out, g.x.centre(i0, j0))
	slices.Reverse(out)
	return out, nil
}
