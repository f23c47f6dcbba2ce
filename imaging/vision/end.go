package vision

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// row is the depth of the shadow on one pixel of length along the shaft.
type row struct {
	s, depth, variance float64
	pixels             int
}

// rows of the shadow's depth between from and to, in units of the middle's
// unblurred depth, by least squares with a sloped background of their own, in
// noise of this size. inflation is that of the noise's correlation.
func (f *shaft) rows(samples []sample, from, to, sd, inflation float64) []row {
	n := int(to - from)
	out := make([]row, n)
	// Normal equations of profile, constant and slope.
	a := make([][6]float64, n)
	b := make([][3]float64, n)
	p := newProfile(f.width, f.blur, f.reach+4)
	for _, k := range samples {
		i := int(k.s - from)
		if i < 0 || i >= n || k.s < from {
			continue
		}
		off, _ := f.offsetAt(k.s)
		t := k.t - off
		v, _, _, _ := p.at(t)
		a[i][0] += v * v
		a[i][1] += v
		a[i][2] += v * t
		a[i][3]++
		a[i][4] += t
		a[i][5] += t * t
		b[i][0] += v * k.v
		b[i][1] += k.v
		b[i][2] += t * k.v
		out[i].pixels++
	}
	for i := range out {
		out[i].s = from + float64(i) + 0.5
		out[i].variance = math.Inf(1)
		if out[i].pixels < 8 {
			continue
		}
		m := mat.NewSymDense(3, []float64{a[i][0], a[i][1], a[i][2], a[i][1], a[i][3], a[i][4], a[i][2], a[i][4], a[i][5]})
		var inv mat.Dense
		if inv.Inverse(m) != nil {
			continue
		}
		out[i].depth = -(inv.At(0, 0)*b[i][0] + inv.At(0, 1)*b[i][1] + inv.At(0, 2)*b[i][2])
		out[i].variance = inv.At(0, 0) * sd * sd * inflation
	}
	return out
}

// coarse is where a shaft seems to end.
type coarse struct {
	s      float64
	depth  float64 // of the shaft before its end
	z      float64 // how clearly the depth drops there
	beyond float64 // depth left beyond, over that before
	// rival is the chance, against this end, that the end lies elsewhere.
	rival   float64
	rivalAt float64
}

// Slack of a row's depth against the shaft's, as parts of it: before the end the
// background under a shaft makes it vary, behind it what lies there is no shaft.
const (
	depthVaries = 0.12
	restVaries  = 0.06
	// wild is how many squared standard deviations a row can count at most.
	wild = 9.0
	// farEnd is how far off, in pixels, another place is a rival.
	farEnd = 8.0
)

// endOf finds where the depth drops to nothing beyond start, which lies on the
// shaft. Two things tell: before the end every row is about as deep as those
// before it, behind the end none is deep at all. Each place is weighed by the
// likelihood of both, with wild rows forgiven.
func endOf(rows []row, start float64) coarse {
	out := coarse{s: math.NaN()}
	// The shaft's depth at the start, to whichever side of it more shaft lies: a
	// click may be on the tip itself.
	var before40, after40 []float64
	for _, k := range rows {
		switch d := k.s - start; {
		case math.IsInf(k.variance, 1) || math.Abs(d) > 40:
		case d < 0:
			before40 = append(before40, k.depth)
		default:
			after40 = append(after40, k.depth)
		}
	}
	usual := math.Max(median(before40), median(after40))
	if len(before40)+len(after40) < 8 || usual <= 0 {
		return out
	}
	first := 0
	for first < len(rows) && rows[first].s < start-20 {
		first++
	}
	rows = rows[first:]
	n := len(rows)
	var recent []float64
	// What depth is to be expected of each row, by the last forty that had any.
	expect := make([]float64, n)
	for i, k := range rows {
		if len(recent) >= 12 {
			usual = median(append([]float64(nil), recent[max(0, len(recent)-40):]...))
		}
		expect[i] = usual
		if !math.IsInf(k.variance, 1) && k.depth > 0.4*usual {
			recent = append(recent, k.depth)
		}
	}
	before, behind := make([]float64, n+1), make([]float64, n+1)
	for i, k := range rows {
		before[i+1] = before[i]
		if !math.IsInf(k.variance, 1) {
			d := k.depth - expect[i]
			before[i+1] += math.Min(wild, d*d/(k.variance+sq(depthVaries*expect[i])))
		}
	}
	for i := n - 1; i >= 0; i-- {
		behind[i] = behind[i+1]
		if k := rows[i]; !math.IsInf(k.variance, 1) {
			behind[i] += math.Min(wild, k.depth*k.depth/(k.variance+sq(restVaries*expect[i])))
		}
	}
	at, low := -1, math.Inf(1)
	for e := 4; e <= n; e++ {
		if c := before[e] + behind[e]; c < low {
			at, low = e, c
		}
	}
	if at < 0 {
		return out
	}
	out.s = rows[at-1].s + 0.5
	weight, sum := 0.0, 0.0
	for _, k := range rows[max(0, at-30):at] {
		if !math.IsInf(k.variance, 1) {
			weight += 1 / k.variance
			sum += k.depth / k.variance
		}
	}
	if weight > 0 {
		out.depth = sum / weight
		out.z = sum / math.Sqrt(weight)
	}
	var after []float64
	for _, k := range rows[min(n, at+2):min(n, at+26)] {
		if !math.IsInf(k.variance, 1) {
			after = append(after, k.depth)
		}
	}
	if out.depth > 0 {
		out.beyond = median(after) / out.depth
	}
	near, far, farCost := 0.0, 0.0, math.Inf(1)
	for e := 4; e <= n; e++ {
		c, s := before[e]+behind[e], rows[e-1].s+0.5
		w := math.Exp(-(c - low) / 2)
		if math.Abs(s-out.s) <= farEnd {
			near += w
			continue
		}
		far += w
		if c < farCost {
			farCost, out.rivalAt = c, s
		}
	}
	out.rival = far / (near + far)
	return out
}

func sq(x float64) float64 { return x * x }
