package codec

import (
	"math"
	"runtime"
	"sync"
	"sync/atomic"
)

// blockOf is a code-block with the subband that it belongs to.
type blockOf struct {
	*codeBlock
	band *subband
}

// coefficients decodes all code-blocks, on as many processors as there are:
// twice the coefficient, in the middle of what it may be.
func (c *tileCoder) coefficients() error {
	var all []blockOf
	for _, p := range c.precincts {
		for i := range p.grids {
			for k := range p.grids[i].blocks {
				if b := &p.grids[i].blocks[k]; b.passes > 0 {
					all = append(all, blockOf{b, &c.bands[p.resolution][i]})
				}
			}
		}
	}
	var next atomic.Int64
	var broken atomic.Bool
	var wait sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), 8, len(all)) {
		wait.Add(1)
		go func() {
			defer wait.Done()
			coder := &blockCoder{}
			for {
				i := int(next.Add(1)) - 1
				if i >= len(all) || broken.Load() {
					return
				}
				b := all[i]
				w, h := b.area.width(), b.area.height()
				if !coder.decode(b.codeBlock, w, h, b.band.orientation, c.p.coding.style) {
					broken.Store(true)
					return
				}
				stride := b.band.area.width()
				at := (b.area.y0-b.band.area.y0)*stride + b.area.x0 - b.band.area.x0
				for y := range h {
					out := b.band.values[at+y*stride:][:w]
					in, k := coder.row(y)
					in = in[:len(out)]
					for x := range out {
						v, sign := int32(in[x][k]&^signBit), int32(in[x][k])>>31
						out[x] = v ^ sign - sign
					}
				}
			}
		}()
	}
	wait.Wait()
	if broken.Load() {
		return c.s.damaged("a code-block with more passes than it has bit-planes; copy the file again")
	}
	return nil
}

// place puts the samples of the tile into the frame.
func (c *tileCoder) place(dst []int32, row func(y int, out []int32)) {
	wide := c.s.image.width()
	for y := range c.area.height() {
		at := (c.area.y0-c.s.image.y0+y)*wide + c.area.x0 - c.s.image.x0
		row(y, dst[at:at+c.area.width()])
	}
}

// reversible decodes a tile with the 5-3 transform (T.800 F.3.8.2.1.1).
func (c *tileCoder) reversible(dst []int32) error {
	if err := c.coefficients(); err != nil {
		return err
	}
	for _, bands := range c.bands {
		for i := range bands {
			for k, v := range bands[i].values {
				bands[i].values[k] = v / 2
			}
		}
	}
	low := c.bands[0][0].values
	for r := 1; r < len(c.areas); r++ {
		w := wavelet[int32]{
			area: c.areas[r], low: c.areas[r-1],
			even: func(dst, a, b []int32) {
				a, b = a[:len(dst)], b[:len(dst)]
				for i := range dst {
					dst[i] -= (a[i] + b[i] + 2) >> 2
				}
			},
			odd: func(dst, a, b []int32) {
				a, b = a[:len(dst)], b[:len(dst)]
				for i := range dst {
					dst[i] += (a[i] + b[i]) >> 1
				}
			},
			row: func(x []int32, odd int) {
				n := len(x)
				for i := odd; i < n; i += 2 {
					a, b := edges(i, n)
					x[i] -= (x[a] + x[b] + 2) >> 2
				}
				for i := 1 - odd; i < n; i += 2 {
					a, b := edges(i, n)
					x[i] += (x[a] + x[b]) >> 1
				}
			},
			pairs: 1,
		}
		low = w.inverse(low, c.bands[r][0].values, c.bands[r][1].values, c.bands[r][2].values)
	}
	w := c.area.width()
	c.place(dst, func(y int, out []int32) { copy(out, low[y*w:]) })
	return nil
}

// Lifting factors of the 9-7 transform (T.800 table F.4).
const (
	liftAlpha = -1.586134342059924
	liftBeta  = -0.052980118572961
	liftGamma = 0.882911075530934
	liftDelta = 0.443506852043971
	liftK     = 1.230174104914001
)

// irreversible decodes a tile with the 9-7 transform (F.3.8.2.1.2).
func (c *tileCoder) irreversible(dst []int32) error {
	if err := c.coefficients(); err != nil {
		return err
	}
	scaled := func(b *subband, area rect) []float32 {
		f := b.step / 2
		// The factors of steps 1 and 2 of F.3.8.2.1.2, where there is a transform in that direction.
		for _, d := range []struct {
			n    int
			high bool
		}{{area.width(), b.highX}, {area.height(), b.highY}} {
			switch {
			case d.n <= 1:
			case d.high:
				f *= 1 / liftK
			default:
				f *= liftK
			}
		}
		out := make([]float32, len(b.values))
		for i, v := range b.values {
			out[i] = float32(v) * f
		}
		b.values = nil
		return out
	}
	lift := func(k float32) func(dst, a, b []float32) {
		return func(dst, a, b []float32) {
			a, b = a[:len(dst)], b[:len(dst)]
			for i := range dst {
				dst[i] -= k * (a[i] + b[i])
			}
		}
	}
	lifts := func(x []float32, from int, k float32) {
		n := len(x)
		i := from
		if i == 0 {
			_, b := edges(0, n)
			x[0] -= k * 2 * x[b]
			i = 2
		}
		for ; i+1 < n; i += 2 {
			x[i] -= k * (x[i-1] + x[i+1])
		}
		if i < n {
			x[i] -= k * 2 * x[i-1]
		}
	}
	var low []float32
	if len(c.areas) == 1 {
		low = scaled(&c.bands[0][0], rect{0, 0, 1, 1})
	} else {
		low = scaled(&c.bands[0][0], c.areas[1])
	}
	for r := 1; r < len(c.areas); r++ {
		area := c.areas[r]
		w := wavelet[float32]{
			area: area, low: c.areas[r-1],
			even: lift(liftDelta), odd: lift(liftGamma), evenAgain: lift(liftBeta), oddAgain: lift(liftAlpha),
			row: func(x []float32, odd int) {
				lifts(x, odd, liftDelta)
				lifts(x, 1-odd, liftGamma)
				lifts(x, odd, liftBeta)
				lifts(x, 1-odd, liftAlpha)
			},
			pairs: 2,
		}
		low = w.inverse(low, scaled(&c.bands[r][0], area), scaled(&c.bands[r][1], area), scaled(&c.bands[r][2], area))
		if r+1 < len(c.areas) {
			f := float32(1)
			if c.areas[r+1].width() > 1 {
				f *= liftK
			}
			if c.areas[r+1].height() > 1 {
				f *= liftK
			}
			for i := range low {
				low[i] *= f
			}
		}
	}
	w := c.area.width()
	c.place(dst, func(y int, out []int32) {
		for x, v := range low[y*w:][:len(out)] {
			// What is far outside any range is cut off before it is a whole number.
			out[x] = int32(math.RoundToEven(float64(min(max(v, -1<<20), 1<<20))))
		}
	})
	return nil
}

// edges are the neighbours of sample i of n, mirrored at the ends (F.3.7).
func edges(i, n int) (before, after int) {
	before, after = i-1, i+1
	if before < 0 {
		before = after
	}
	if after >= n {
		after = before
	}
	return before, after
}

// halve is what becomes of a single sample at an odd place (F.3.6).
func halve[T int32 | float32](x []T) {
	for i := range x {
		x[i] /= 2
	}
}

// wavelet is one level of a transform by lifting (T.800 F.3).
type wavelet[T int32 | float32] struct {
	area, low           rect
	even, odd           func(dst, a, b []T) // on whole rows
	evenAgain, oddAgain func(dst, a, b []T)
	row                 func(x []T, odd int) // along a row; odd: its first sample has an odd place
	pairs               int                  // of lifting steps
}

// inverse puts four subbands together (F.3.2).
func (w *wavelet[T]) inverse(ll, hl, lh, hh []T) []T {
	wide, high := w.area.width(), w.area.height()
	if wide <= 0 || high <= 0 {
		return nil
	}
	oddX, oddY := w.area.x0&1, w.area.y0&1
	lowWide := w.low.width()
	highWide := wide - lowWide
	out := make([]T, wide*high)
	rows := func(y int) []T { return out[y*wide:][:wide] }
	for y := range high {
		x, k := rows(y), y/2
		l, h := ll, hl
		if (y+oddY)&1 == 1 {
			l, h = lh, hh
		}
		for i, v := range l[k*lowWide:][:lowWide] {
			x[2*i+oddX] = v
		}
		for i, v := range h[k*highWide:][:highWide] {
			x[2*i+1-oddX] = v
		}
		if wide > 1 {
			w.row(x, oddX)
		} else if oddX == 1 {
			halve(x)
		}
	}
	if high == 1 {
		if oddY == 1 {
			halve(out)
		}
		return out
	}
	step := func(from int, f func(dst, a, b []T)) {
		for y := from; y < high; y += 2 {
			a, b := edges(y, high)
			f(rows(y), rows(a), rows(b))
		}
	}
	step(oddY, w.even)
	step(1-oddY, w.odd)
	if w.pairs == 2 {
		step(oddY, w.evenAgain)
		step(1-oddY, w.oddAgain)
	}
	return out
}
