package vision

import (
	"math"
	"slices"
)

// lags of the noise's correlation that are measured, pixels each way.
const lags = 3

// noise of a band: its standard deviation in grey values and how pixels (dx, dy)
// apart go together, dy from 0 to lags, dx from -lags to lags.
type noise struct {
	sd  float64
	cor [lags + 1][2*lags + 1]float64
}

// raster finds the pixels of a band by place.
type raster struct {
	x0, y0, w, h int32
	index        []int32 // of the sample, -1 where there is none
}

func newRaster(samples []sample) raster {
	if len(samples) == 0 {
		return raster{}
	}
	r := raster{x0: samples[0].x, y0: samples[0].y}
	x1, y1 := r.x0, r.y0
	for _, k := range samples {
		r.x0, x1, r.y0, y1 = min(r.x0, k.x), max(x1, k.x), min(r.y0, k.y), max(y1, k.y)
	}
	r.w, r.h = x1-r.x0+1, y1-r.y0+1
	r.index = make([]int32, int(r.w)*int(r.h))
	for i := range r.index {
		r.index[i] = -1
	}
	for i, k := range samples {
		r.index[int(k.y-r.y0)*int(r.w)+int(k.x-r.x0)] = int32(i)
	}
	return r
}

// at is the index of the sample at a place, -1 where there is none.
func (r raster) at(x, y int32) int32 {
	x, y = x-r.x0, y-r.y0
	if x < 0 || y < 0 || x >= r.w || y >= r.h {
		return -1
	}
	return r.index[int(y)*int(r.w)+int(x)]
}

// measure the noise in residuals of the samples that are used; free is how many
// parameters were fitted to them.
func (r raster) measure(samples []sample, used []bool, residual []float64, free int) noise {
	var sum [lags + 1][2*lags + 1]float64
	var count [lags + 1][2*lags + 1]int
	n, square := 0, 0.0
	for i, k := range samples {
		if !used[i] {
			continue
		}
		n++
		square += residual[i] * residual[i]
		for dy := int32(0); dy <= lags; dy++ {
			for dx := int32(-lags); dx <= lags; dx++ {
				if dy == 0 && dx <= 0 {
					continue
				}
				if j := r.at(k.x+dx, k.y+dy); j >= 0 && used[j] {
					sum[dy][dx+lags] += residual[i] * residual[j]
					count[dy][dx+lags]++
				}
			}
		}
	}
	var out noise
	if n <= free {
		return out
	}
	variance := square / float64(n)
	out.sd = math.Sqrt(square / float64(n-free))
	out.cor[0][lags] = 1
	for dy := range lags + 1 {
		for dx := range 2*lags + 1 {
			// A correlation that is no more than chance is none: all lags together
			// would otherwise add up.
			if c := count[dy][dx]; c > 20 && variance > 0 {
				if v := sum[dy][dx] / float64(c) / variance; math.Abs(v) > 3/math.Sqrt(float64(c)) {
					out.cor[dy][dx] = v
				}
			}
		}
	}
	out.cor[0][lags] = 1
	return out
}

// spread is the correlation applied to a column over the samples: R times v.
func (n noise) spread(r raster, samples []sample, used []bool, v []float64) []float64 {
	out := make([]float64, len(v))
	type step struct {
		dx, dy int32
		c      float64
	}
	var steps []step
	for dy := range lags + 1 {
		for dx := range 2*lags + 1 {
			if c := n.cor[dy][dx]; c != 0 && (dy > 0 || dx > lags) {
				steps = append(steps, step{int32(dx) - lags, int32(dy), c})
			}
		}
	}
	for i, k := range samples {
		if !used[i] {
			continue
		}
		out[i] += v[i]
		for _, s := range steps {
			if j := r.at(k.x+s.dx, k.y+s.dy); j >= 0 && used[j] {
				out[i] += s.c * v[j]
				out[j] += s.c * v[i]
			}
		}
	}
	return out
}

// inflation is how many times larger the variance of a least-squares estimate of
// the amplitude of column v is than in white noise of the same size.
func (n noise) inflation(r raster, samples []sample, used []bool, v []float64) float64 {
	own, with := 0.0, 0.0
	for i, w := range n.spread(r, samples, used, v) {
		if used[i] {
			own += v[i] * v[i]
			with += v[i] * w
		}
	}
	if own == 0 {
		return 1
	}
	return max(0.2, with/own)
}

// median of v, which it sorts.
func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}
