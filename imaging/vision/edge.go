package vision

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// slopes of the strip along the edge: how fast it rises across, to the right
// where sign is +1, averaged along the path.
func (e *edge) slopes(part *region, sign, reach float64) strip {
	s := part.straighten(e.line, reach+4, stripStep).smoothed(4)
	_, d, _ := gaussian(edgeBlur / stripStep)
	half := len(d) / 2
	out := s
	out.v = make([]float64, len(s.v))
	for i := range s.rows {
		in, to := s.row(i), out.row(i)
		for c := range to {
			for k, w := range d {
				to[c] += sign * float64(w) * in[max(0, min(len(in)-1, c+k-half))]
			}
			to[c] /= stripStep
		}
	}
	return out
}

// settle moves the path to the strongest edge within reach, as smooth as it is
// strong: by dynamic programming over the strip, at most one sample aside a row,
// then to the top of the slope by a parabola.
func (e *edge) settle(part *region, sign, reach float64) {
	s := e.slopes(part, sign, reach)
	most := int(reach / stripStep)
	a, b := s.half-most, s.half+most
	offset, weight := make([]float64, s.rows), make([]float64, s.rows)
	top := 0.0
	for i, c := range trace(s, a, b) {
		v := s.row(i)
		sub := 0.0
		if c > a && c < b {
			l, m, r := v[c-1], v[c], v[c+1]
			if den := l - 2*m + r; den < 0 && m > 0 {
				sub = max(-0.5, min(0.5, (l-r)/(2*den)))
			}
		}
		offset[i] = (float64(c-s.half) + sub) * stripStep
		weight[i] = max(1e-3, v[c])
		top += weight[i] / float64(s.rows)
	}
	for i := range weight {
		weight[i] = min(1, weight[i]/top)
	}
	e.line = e.line.shifted(fair(offset, weight, 3e5))
}

// trace is the line down the strip, within columns a to b, with the largest sum
// of slopes less what bends cost.
func trace(s strip, a, b int) []int {
	n := b - a + 1
	mean := 0.0
	for i := range s.rows {
		mean += max(0, slices.Max(s.row(i)[a:b+1])) / float64(s.rows)
	}
	bend := 0.25 * mean
	score, next := make([]float64, n), make([]float64, n)
	came := make([]int8, s.rows*n)
	for i := range s.rows {
		for k := range n {
			best, way := math.Inf(-1), 0
			for d := -1; d <= 1; d++ {
				if o := k + d; o >= 0 && o < n {
					if t := score[o] - bend*float64(d*d); t > best {
						best, way = t, d
					}
				}
			}
			next[k] = best + s.row(i)[a+k]
			came[i*n+k] = int8(way)
		}
		score, next = next, score
	}
	end := 0
	for k := range score {
		if score[k] > score[end] {
			end = k
		}
	}
	out := make([]int, s.rows)
	for i := s.rows - 1; i >= 0; i-- {
		out[i] = a + end
		end += int(came[i*n+end])
	}
	return out
}

// judge measures how sure each point is, and looks for rivals.
//
// A point's variance is that of the place where a slope is steepest, noise over
// curvature of the slope, plus (d p)² for a rival at distance d, where p is the
// chance that the rival was meant.
func (e *edge) judge(part *region, sign float64) {
	s := e.slopes(part, sign, rivalReach)
	most, apart := int(rivalReach/stripStep), int(rivalApart/stripStep)
	slope, bend := e.noise(part)
	e.sd, e.strength = make([]float64, s.rows), make([]float64, s.rows)
	own := make([]float64, s.rows)
	for i := range s.rows {
		v := s.row(i)
		own[i] = max(v[s.half-1], v[s.half], v[s.half+1])
		curve := (2*v[s.half] - v[s.half-2] - v[s.half+2]) / (4 * stripStep * stripStep)
		e.strength[i] = own[i] / slope
		sd := rivalReach
		if curve > 0 {
			sd = min(rivalReach, bend/curve)
		}
		// A tenth of a pixel: what the model of an edge does not hold.
		e.sd[i] = math.Hypot(sd, 0.1)
	}
	for _, side := range []int{-1, 1} {
		a, b := s.half-most, s.half-apart
		if side > 0 {
			a, b = s.half+apart, s.half+most
		}
		ways := trace(s, a, b)
		begin := -1
		for i := 0; i <= s.rows; i++ {
			strong := false
			if i < s.rows {
				v, c := s.row(i), ways[i]
				top := v[c] >= v[c-2] && v[c] >= v[c+2]
				strong = top && v[c] > rivalStrength*own[i] && v[c] > 4*slope
			}
			if strong && begin < 0 {
				begin = i
			}
			if strong || begin < 0 {
				continue
			}
			if i-begin >= rivalLength {
				var r rival
				for k := begin; k < i; k++ {
					d := float64(ways[k]-s.half) * stripStep
					here := rival{ratio: s.row(k)[ways[k]] / max(own[k], 1e-9)}
					e.sd[k] = math.Hypot(e.sd[k], d*here.chance())
					r.line = append(r.line, r2.Add(e.line.points[k], r2.Scale(d, rightOf(e.line.along(k)))))
					r.distance += math.Abs(d) / float64(i-begin)
					r.ratio += here.ratio / float64(i-begin)
				}
				e.rivals = append(e.rivals, r)
			}
			begin = -1
		}
	}
}

// noise of slopes and of their first derivative across, measured along two lines
// off the edge on either side, as the scatter about their running means.
func (e *edge) noise(part *region) (slope, bend float64) {
	s := e.slopes(part, 1, rivalReach)
	var slopes, bends []float64
	for _, c := range []int{2, s.width - 3} {
		// Rows 12 apart share nothing of the averaging along the path.
		for i := 12; i+12 < s.rows; i++ {
			l, m, r := s.row(i-12), s.row(i), s.row(i+12)
			t := func(v []float64) float64 { return (v[c+1] - v[c-1]) / (2 * stripStep) }
			slopes = append(slopes, math.Abs(m[c]-(l[c]+r[c])/2)/math.Sqrt(1.5))
			bends = append(bends, math.Abs(t(m)-(t(l)+t(r))/2)/math.Sqrt(1.5))
		}
	}
	if len(slopes) == 0 {
		return math.Inf(1), math.Inf(1)
	}
	return max(1e-9, 1.4826*middle(slopes)), max(1e-9, 1.4826*middle(bends))
}
