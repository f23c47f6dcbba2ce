package codec

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// blockOf is a code-block with the subband that it belongs to.
type blockOf struct {
	*codeBlock
	band *subband
}

// coefficients decodes all code-blocks, on as many processors as there are, to
// what the transform takes: whole numbers, or real ones that are already scaled
// for its first step.
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
	for _, bands := range c.bands {
		for i := range bands {
			bands[i].makeRoom(c.p.coding.reversible)
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
				if !coder.decode(b.codeBlock, b.area.width(), b.area.height(), b.band.orientation, c.p.coding.style) {
					broken.Store(true)
					return
				}
				if c.p.shift > 0 {
					coder.shiftDown(uint(c.p.shift))
				}
				b.band.take(coder, b.area)
			}
		}()
	}
	wait.Wait()
	if broken.Load() {
		return c.s.damaged("a code-block with more passes than it has bit-planes; copy the file again")
	}
	return nil
}

// makeRoom comes after the packets have been read, so that a stream cut short
// costs little.
func (b *subband) makeRoom(reversible bool) {
	if b.area.empty() {
		return
	}
	if n := b.area.width() * b.area.height(); reversible {
		b.whole = make([]int32, n)
	} else {
		b.real = make([]float32, n)
	}
}

// take puts a block's values into the subband.
func (b *subband) take(coder *blockCoder, area rect) {
	stride := b.area.width()
	at := (area.y0-b.area.y0)*stride + area.x0 - b.area.x0
	for y := range area.height() {
		in, k := coder.row(y)
		if b.whole != nil {
			out := b.whole[at+y*stride:][:len(in)]
			for x := range out {
				v, sign := int32(in[x][k]&^signBit)>>1, int32(in[x][k])>>31
				out[x] = v ^ sign - sign
			}
			continue
		}
		out := b.real[at+y*stride:][:len(in)]
		for x := range out {
			v, sign := int32(in[x][k]&^signBit), int32(in[x][k])>>31
			out[x] = float32(v^sign-sign) * b.scale
		}
	}
}

// frameRow is where row y of the tile stands in a frame.
func (c *tileCoder) frameRow(dst []uint16, y int) []uint16 {
	at := (c.area.y0-c.s.image.y0+y)*c.s.image.width() + c.area.x0 - c.s.image.x0
	return dst[at : at+c.area.width()]
}

// reversible decodes a tile with the 5-3 transform (T.800 F.3.8.2.1.1).
func (c *tileCoder) reversible(dst []uint16) error {
	if err := c.coefficients(); err != nil {
		return err
	}
	low := c.bands[0][0].whole
	for r := 1; r < len(c.areas); r++ {
		w := wavelet[int32]{
			area: c.areas[r], low: c.areas[r-1],
			row: wholeRow,
			steps: []func(dst, a, b []int32){
				func(dst, a, b []int32) {
					a, b = a[:len(dst)], b[:len(dst)]
					for i := range dst {
						dst[i] -= (a[i] + b[i] + 2) >> 2
					}
				},
				func(dst, a, b []int32) {
					a, b = a[:len(dst)], b[:len(dst)]
					for i := range dst {
						dst[i] += (a[i] + b[i]) >> 1
					}
				},
			},
		}
		low = w.inverse(low, c.bands[r][0].whole, c.bands[r][1].whole, c.bands[r][2].whole)
	}
	w := c.area.width()
	for y := range c.area.height() {
		c.s.levelWhole(c.frameRow(dst, y), low[y*w:])
	}
	return nil
}

// wholeRow does both steps of the 5-3 transform along a row of at least two.
func wholeRow(x []int32, odd int) {
	n := len(x)
	i := odd
	if i == 0 {
		x[0] -= (x[1]<<1 + 2) >> 2
		i = 2
	} else if n > 2 {
		x[1] -= (x[0] + x[2] + 2) >> 2
		x[0] += x[1]
		i = 3
	}
	for ; i+1 < n; i += 2 {
		v := x[i-2 : i+2]
		e := v[2] - (v[1]+v[3]+2)>>2
		v[1] += (v[0] + e) >> 1
		v[2] = e
	}
	switch {
	case i < n: // the last sample has an even place
		x[i] -= (x[i-1]<<1 + 2) >> 2
		if i > 1 {
			x[i-1] += (x[i-2] + x[i]) >> 1
		} else {
			x[0] += x[1]
		}
	default:
		x[n-1] += x[n-2]
	}
}

// Lifting factors of the 9-7 transform (T.800 table F.4).
const (
	liftAlpha = -1.586134342059924
	liftBeta  = -0.052980118572961
	liftGamma = 0.882911075530934
	liftDelta = 0.443506852043971
	liftK     = 1.230174104914001
)

// scaleFor sets the factor that brings a subband's values, which are twice the
// coefficients, to what steps 1 and 2 of F.3.8.2.1.2 leave of them, where there
// is a transform in that direction.
func (b *subband) scaleFor(area rect) {
	b.scale = b.step / 2
	for _, d := range []struct {
		n    int
		high bool
	}{{area.width(), b.highX}, {area.height(), b.highY}} {
		switch {
		case d.n <= 1:
		case d.high:
			b.scale *= 1 / liftK
		default:
			b.scale *= liftK
		}
	}
}

// irreversible decodes a tile with the 9-7 transform (F.3.8.2.1.2).
func (c *tileCoder) irreversible(dst []uint16) error {
	for r, bands := range c.bands {
		area := c.areas[r]
		if r == 0 {
			area = rect{0, 0, 1, 1}
			if len(c.areas) > 1 {
				area = c.areas[1]
			}
		}
		for i := range bands {
			bands[i].scaleFor(area)
		}
	}
	if err := c.coefficients(); err != nil {
		return err
	}
	lift := func(k float32) func(dst, a, b []float32) {
		return func(dst, a, b []float32) {
			a, b = a[:len(dst)], b[:len(dst)]
			for i := range dst {
				dst[i] -= k * (a[i] + b[i])
			}
		}
	}
	low := c.bands[0][0].real
	for r := 1; r < len(c.areas); r++ {
		w := wavelet[float32]{
			area: c.areas[r], low: c.areas[r-1],
			row: func(x []float32, odd int) {
				realRow(x, odd, liftDelta, liftGamma)
				realRow(x, odd, liftBeta, liftAlpha)
			},
			steps: []func(dst, a, b []float32){lift(liftDelta), lift(liftGamma), lift(liftBeta), lift(liftAlpha)},
		}
		low = w.inverse(low, c.bands[r][0].real, c.bands[r][1].real, c.bands[r][2].real)
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
	for y := range c.area.height() {
		c.s.levelReal(c.frameRow(dst, y), low[y*w:])
	}
	return nil
}

// realRow does two lifting steps along a row of at least two: of samples at
// even places, then of those at odd ones.
func realRow(x []float32, odd int, even, other float32) {
	n := len(x)
	i := odd
	if i == 0 {
		x[0] -= even * 2 * x[1]
		i = 2
	} else if n > 2 {
		x[1] -= even * (x[0] + x[2])
		x[0] -= other * 2 * x[1]
		i = 3
	}
	for ; i+1 < n; i += 2 {
		v := x[i-2 : i+2]
		e := v[2] - even*(v[1]+v[3])
		v[1] -= other * (v[0] + e)
		v[2] = e
	}
	switch {
	case i < n: // the last sample has an even place
		x[i] -= even * 2 * x[i-1]
		if i > 1 {
			x[i-1] -= other * (x[i-2] + x[i])
		} else {
			x[0] -= other * 2 * x[1]
		}
	default:
		x[n-1] -= other * 2 * x[n-2]
	}
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
	area, low rect
	row       func(x []T, odd int)  // along a row; odd: its first sample has an odd place
	steps     []func(dst, a, b []T) // the same on whole rows: at even places, at odd ones, and so on
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
	across := func(y int) {
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
		across(0)
		if oddY == 1 {
			halve(out)
		}
		return out
	}
	// A step of row y needs the step before of the rows next to it. So each
	// follows the one before by a row, and all work on rows just touched.
	for y := range high + len(w.steps) {
		if y < high {
			across(y)
		}
		if (y-1+oddY)&1 == 1 {
			continue
		}
		for s, step := range w.steps {
			if r := y - 1 - s; r >= 0 && r < high {
				a, b := edges(r, high)
				step(rows(r), rows(a), rows(b))
			}
		}
	}
	return out
}
