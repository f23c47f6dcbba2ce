package codec

import "math/bits"

// Code-blocks are decoded by bit-planes (T.800 annex D) from arithmetic codes
// (annex C).

// Styles of code-blocks (T.800 table A.19).
const (
	blockBypass    = 0x01 // some passes are not arithmetically coded
	blockReset     = 0x02 // contexts start afresh with each pass
	blockTerminate = 0x04 // codes end with each pass
	blockCausal    = 0x08 // nothing below a stripe is looked at
	blockSymbols   = 0x20 // a known symbol ends each bit-plane
)

// State of a coefficient: which neighbours are significant, the signs of four
// of them, and its own.
const (
	sigN, sigS, sigW, sigE     = 1 << 0, 1 << 1, 1 << 2, 1 << 3
	sigNW, sigNE, sigSW, sigSE = 1 << 4, 1 << 5, 1 << 6, 1 << 7
	negN, negS, negW, negE     = 1 << 8, 1 << 9, 1 << 10, 1 << 11
	isSig, isSeen, isRefined   = 1 << 12, 1 << 13, 1 << 14
	sigAny                     = 0xff
	sigBelow                   = sigS | sigSW | sigSE | negS
)

// Contexts (T.800 tables D.1 to D.5).
const (
	ctxSign, ctxRefine, ctxRun, ctxUniform = 9, 14, 17, 18
)

var (
	zeroContexts [3][256]uint8 // by orientation: LL and LH, HL, HH
	signContexts [256]uint8    // by signs of and significances to N, S, W, E; bit 7: flip
)

func init() {
	for f := range 256 {
		bit := func(m int) int { return min(f&m, 1) }
		h, v := bit(sigW)+bit(sigE), bit(sigN)+bit(sigS)
		d := bit(sigNW) + bit(sigNE) + bit(sigSW) + bit(sigSE)
		zeroContexts[0][f], zeroContexts[1][f] = zeroContext(h, v, d), zeroContext(v, h, d)
		c := min(h+v, 2)
		switch d {
		case 0:
		case 1:
			c += 3
		case 2:
			c = 6 + min(c, 1)
		default:
			c = 8
		}
		zeroContexts[2][f] = uint8(c)

		one := func(sig, neg int) int {
			if f&sig == 0 {
				return 0
			}
			return 1 - 2*min(f&(neg>>4), 1)
		}
		h = max(-1, min(1, one(sigW, negW)+one(sigE, negE)))
		v = max(-1, min(1, one(sigN, negN)+one(sigS, negS)))
		flip := uint8(0)
		if h < 0 || h == 0 && v < 0 {
			h, v, flip = -h, -v, 0x80
		}
		if h == 0 {
			signContexts[f] = uint8(ctxSign+v) | flip
		} else {
			signContexts[f] = uint8(ctxSign+3+v) | flip
		}
	}
}

// zeroContext is table D.1 for LL and LH.
func zeroContext(h, v, d int) uint8 {
	switch {
	case h == 2:
		return 8
	case h == 1 && v > 0:
		return 7
	case h == 1 && d > 0:
		return 6
	case h == 1:
		return 5
	case v > 0:
		return uint8(2 + v)
	}
	return uint8(min(d, 2))
}

// blockCoder decodes code-blocks one after another.
type blockCoder struct {
	w, h, stride int
	states       []uint16 // with an edge of one on all sides
	values       []uint32 // magnitudes times two
	negative     []bool
	zero         *[256]uint8
	causal       bool
	mq           arithmetic
	raw          rawBits
	bypass       bool // the pass is read from raw
}

// decode decodes the passes of a code-block of w by h; false where there are
// more than its bit-planes have.
func (c *blockCoder) decode(b *codeBlock, w, h, orientation int, style byte) bool {
	c.w, c.h, c.stride = w, h, w+2
	n := c.stride * (h + 2)
	if cap(c.states) < n {
		c.states = make([]uint16, n)
		c.values = make([]uint32, n)
		c.negative = make([]bool, n)
	}
	c.states, c.values, c.negative = c.states[:n], c.values[:n], c.negative[:n]
	clear(c.states)
	clear(c.values)
	clear(c.negative)
	c.zero = &zeroContexts[orientation]
	c.causal = style&blockCausal != 0
	c.mq.reset()
	plane, kind, pass := b.planes-1, 2, 0
	for _, s := range b.segments {
		c.bypass = style&blockBypass != 0 && pass >= 10 && kind != 2
		if c.bypass {
			c.raw = rawBits{src: s.data}
		} else {
			c.mq.start(s.data)
		}
		for range s.passes {
			if plane < 0 {
				return false
			}
			switch kind {
			case 0:
				c.significance(uint(plane))
			case 1:
				c.refinement(uint(plane))
			case 2:
				c.cleanup(uint(plane))
				if style&blockSymbols != 0 {
					for range 4 {
						c.mq.bit(ctxUniform)
					}
				}
			}
			if style&blockReset != 0 {
				c.mq.reset()
			}
			pass++
			if kind++; kind == 3 {
				kind = 0
				plane--
			}
		}
	}
	return true
}

// become makes the coefficient at i significant in a bit-plane, with its sign
// (D.3.2).
func (c *blockCoder) become(i int, f uint16, plane uint) {
	var negative bool
	if c.bypass {
		negative = c.raw.bit() == 1
	} else {
		k := signContexts[f&0xf|f>>4&0xf0]
		negative = c.mq.bit(int(k&0x7f))^int(k>>7) == 1
	}
	c.values[i] = 3 << plane
	st, s := c.states, c.stride
	st[i-s-1] |= sigSE
	st[i-s+1] |= sigSW
	st[i+s-1] |= sigNE
	st[i+s+1] |= sigNW
	if negative {
		c.negative[i] = true
		st[i-s] |= sigS | negS
		st[i+s] |= sigN | negN
		st[i-1] |= sigE | negE
		st[i+1] |= sigW | negW
	} else {
		st[i-s] |= sigS
		st[i+s] |= sigN
		st[i-1] |= sigE
		st[i+1] |= sigW
	}
	st[i] |= isSig
}

// seen is the state at i as the pass may see it.
func (c *blockCoder) seen(i, y int) uint16 {
	f := c.states[i]
	if c.causal && y&3 == 3 {
		f &^= sigBelow
	}
	return f
}

// significance is the propagation pass (D.3.1).
func (c *blockCoder) significance(plane uint) {
	st, s := c.states, c.stride
	for top := 0; top < c.h; top += 4 {
		bottom := min(top+4, c.h)
		for x := range c.w {
			i := (top+1)*s + x + 1
			if bottom-top == 4 && (st[i]|st[i+s]|st[i+2*s]|st[i+3*s])&sigAny == 0 {
				continue // nothing in this column has a neighbour
			}
			for y := top; y < bottom; y, i = y+1, i+s {
				f := c.seen(i, y)
				if f&isSig != 0 || f&sigAny == 0 {
					continue
				}
				var bit int
				if c.bypass {
					bit = c.raw.bit()
				} else {
					bit = c.mq.bit(int(c.zero[f&sigAny]))
				}
				if bit == 1 {
					c.become(i, f, plane)
				}
				c.states[i] |= isSeen
			}
		}
	}
}

// refinement is the pass of D.3.3.
func (c *blockCoder) refinement(plane uint) {
	half := uint32(1) << plane
	st, s := c.states, c.stride
	for top := 0; top < c.h; top += 4 {
		bottom := min(top+4, c.h)
		for x := range c.w {
			i := (top+1)*s + x + 1
			if bottom-top == 4 && (st[i]|st[i+s]|st[i+2*s]|st[i+3*s])&isSig == 0 {
				continue
			}
			for y := top; y < bottom; y, i = y+1, i+s {
				f := c.seen(i, y)
				if f&(isSig|isSeen) != isSig {
					continue
				}
				var bit int
				if c.bypass {
					bit = c.raw.bit()
				} else {
					k := ctxRefine
					if f&isRefined != 0 {
						k += 2
					} else if f&sigAny != 0 {
						k++
					}
					bit = c.mq.bit(k)
				}
				// The value stands in the middle of what it may be.
				if bit == 1 {
					c.values[i] += half
				} else {
					c.values[i] -= half
				}
				c.states[i] |= isRefined
			}
		}
	}
}

// cleanup is the pass of D.3.4.
func (c *blockCoder) cleanup(plane uint) {
	c.bypass = false
	s := c.stride
	for top := 0; top < c.h; top += 4 {
		bottom := min(top+4, c.h)
		for x := range c.w {
			i := (top+1)*s + x + 1
			y := top
			known := false
			if bottom-top == 4 && (c.states[i]|c.states[i+s]|c.states[i+2*s]|c.seen(i+3*s, 3))&(isSig|isSeen|sigAny) == 0 {
				if c.mq.bit(ctxRun) == 0 {
					continue
				}
				n := c.mq.bit(ctxUniform) << 1
				n |= c.mq.bit(ctxUniform)
				y += n
				i += n * s
				known = true
			}
			for ; y < bottom; y, i = y+1, i+s {
				f := c.seen(i, y)
				if known || f&(isSig|isSeen) == 0 && c.mq.bit(int(c.zero[f&sigAny])) == 1 {
					c.become(i, f, plane)
				}
				known = false
				c.states[i] &^= isSeen
			}
		}
	}
}

// rawBits are bits that are not arithmetically coded (T.800 D.6).
type rawBits struct {
	src   []byte
	at    int
	now   byte
	count int
}

func (r *rawBits) bit() int {
	if r.count == 0 {
		full := r.now == 0xff
		r.now, r.count = 0xff, 8
		if r.at < len(r.src) {
			r.now = r.src[r.at]
			r.at++
		}
		if full {
			r.count = 7
		}
	}
	r.count--
	return int(r.now>>r.count) & 1
}

// arithmetic is the decoder of T.800 annex C.
type arithmetic struct {
	src      []byte
	at       int
	c, a     uint32
	ct       int
	contexts [19]uint8 // state times two, plus the more probable symbol
}

// reset is table D.7.
func (m *arithmetic) reset() {
	m.contexts = [19]uint8{0: 4 << 1, ctxRun: 3 << 1, ctxUniform: 46 << 1}
}

// start is INITDEC (C.3.5).
func (m *arithmetic) start(src []byte) {
	m.src, m.at = src, 0
	m.c = uint32(m.byteAt(0)) << 16
	m.byteIn()
	m.c <<= 7
	m.ct -= 7
	m.a = 0x8000
}

func (m *arithmetic) byteAt(i int) byte {
	if i < len(m.src) {
		return m.src[i]
	}
	return 0xff
}

// byteIn is BYTEIN (C.3.4).
func (m *arithmetic) byteIn() {
	next := m.byteAt(m.at + 1)
	if m.byteAt(m.at) == 0xff {
		if next > 0x8f {
			m.c += 0xff00
			m.ct = 8
			return
		}
		m.at++
		m.c += uint32(next) << 9
		m.ct = 7
		return
	}
	m.at++
	m.c += uint32(next) << 8
	m.ct = 8
}

// bit is DECODE (C.3.2).
func (m *arithmetic) bit(context int) int {
	i := m.contexts[context]
	e := &probabilities[i&127]
	q := e.q
	m.a -= q
	symbol := int(i & 1)
	if m.c>>16 >= q {
		m.c -= q << 16
		if m.a&0x8000 != 0 {
			return symbol
		}
		if m.a < q {
			symbol ^= 1
			m.contexts[context] = e.less
		} else {
			m.contexts[context] = e.more
		}
	} else {
		if m.a < q {
			m.contexts[context] = e.more
		} else {
			symbol ^= 1
			m.contexts[context] = e.less
		}
		m.a = q
	}
	// RENORMD (C.3.3), as many bits at a time as there are.
	for n := bits.LeadingZeros16(uint16(m.a)); n > 0; {
		if m.ct == 0 {
			m.byteIn()
		}
		k := min(n, m.ct)
		m.a <<= uint(k) & 31
		m.c <<= uint(k) & 31
		m.ct -= k
		n -= k
	}
	return symbol
}

// probability is a row of table C.2, for one value of the more probable symbol.
type probability struct {
	q          uint32
	more, less uint8
}

var probabilities [128]probability

func init() {
	for i, r := range [...]struct {
		q          uint32
		more, less uint8
		change     uint8
	}{
		{0x5601, 1, 1, 1}, {0x3401, 2, 6, 0}, {0x1801, 3, 9, 0}, {0x0ac1, 4, 12, 0}, {0x0521, 5, 29, 0}, {0x0221, 38, 33, 0},
		{0x5601, 7, 6, 1}, {0x5401, 8, 14, 0}, {0x4801, 9, 14, 0}, {0x3801, 10, 14, 0}, {0x3001, 11, 17, 0}, {0x2401, 12, 18, 0},
		{0x1c01, 13, 20, 0}, {0x1601, 29, 21, 0}, {0x5601, 15, 14, 1}, {0x5401, 16, 14, 0}, {0x5101, 17, 15, 0}, {0x4801, 18, 16, 0},
		{0x3801, 19, 17, 0}, {0x3401, 20, 18, 0}, {0x3001, 21, 19, 0}, {0x2801, 22, 19, 0}, {0x2401, 23, 20, 0}, {0x2201, 24, 21, 0},
		{0x1c01, 25, 22, 0}, {0x1801, 26, 23, 0}, {0x1601, 27, 24, 0}, {0x1401, 28, 25, 0}, {0x1201, 29, 26, 0}, {0x1101, 30, 27, 0},
		{0x0ac1, 31, 28, 0}, {0x09c1, 32, 29, 0}, {0x08a1, 33, 30, 0}, {0x0521, 34, 31, 0}, {0x0441, 35, 32, 0}, {0x02a1, 36, 33, 0},
		{0x0221, 37, 34, 0}, {0x0141, 38, 35, 0}, {0x0111, 39, 36, 0}, {0x0085, 40, 37, 0}, {0x0049, 41, 38, 0}, {0x0025, 42, 39, 0},
		{0x0015, 43, 40, 0}, {0x0009, 44, 41, 0}, {0x0005, 45, 42, 0}, {0x0001, 45, 43, 0}, {0x5601, 46, 46, 0},
	} {
		for s := range uint8(2) {
			probabilities[2*i+int(s)] = probability{r.q, r.more<<1 | s, r.less<<1 | s ^ r.change}
		}
	}
}
