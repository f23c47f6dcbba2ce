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

// A word holds the state of a column of four coefficients in a stripe. Bits 0
// to 17 say what is significant in the six rows from the one above to the one
// below, three bits a row: the coefficient to the left, the column's own, the
// one to the right. Coefficient k of the column has besides bits 18+3k (coded
// in this bit-plane), 19+3k (refined before) and 20+3k (negative).
//
// In sets of a column's coefficients, bit 3k stands for coefficient k.
const (
	columnAround = 1<<18 - 1                 // anything significant
	columnAll    = 1<<0 | 1<<3 | 1<<6 | 1<<9 // the set of all four
	rowAround    = 0x1ef                     // the eight around a coefficient, shifted down by 3k
	sigN, sigW   = 1 << 1, 1 << 3            // of these
	sigE, sigS   = 1 << 5, 1 << 7
	sigDiagonal  = 1<<0 | 1<<2 | 1<<6 | 1<<8
	// From a coefficient's bit in a set to those in the word.
	toSig, toSeen, toRefined, toNegative = 4, 18, 19, 20
	toLast                               = 9 // from the first coefficient's to the last's
)

// Contexts (T.800 tables D.1 to D.5).
const (
	ctxSign, ctxRefine, ctxRun, ctxUniform = 9, 14, 17, 18
)

var (
	zeroContexts [3][512]uint8 // by orientation: LL and LH, HL, HH
	signContexts [256]uint8    // by significance (bits 0 to 3) and signs (4 to 7) of N, S, W, E; bit 7: flip
)

func init() {
	for f := range 512 {
		h, v := bits.OnesCount(uint(f)&(sigW|sigE)), bits.OnesCount(uint(f)&(sigN|sigS))
		d := bits.OnesCount(uint(f) & sigDiagonal)
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
	}
	for f := range 256 {
		one := func(n int) int { return (f >> n & 1) * (1 - f>>(n+4)&1*2) }
		h, v := max(-1, min(1, one(2)+one(3))), max(-1, min(1, one(0)+one(1)))
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
	words        []uint32 // a stripe after another, with an edge of one on all sides
	// Magnitudes times two, with the sign in bit 31; the four of a column
	// together, in the order of words, of which there are as many as fours.
	// Coefficient k has place 3k modulo 4, which its bit in a set gives at once.
	values [][4]uint32
	zero   *[512]uint8
	causal bool
	mq     arithmetic
	room   int64 // between passes
	raw    rawBits
	bypass bool // the pass is read from raw
}

const signBit = 1 << 31

// decode decodes the passes of a code-block of w by h; false where there are
// more than its bit-planes have.
func (c *blockCoder) decode(b *codeBlock, w, h, orientation int, style byte) bool {
	c.w, c.h, c.stride = w, h, w+2
	n := c.stride * ((h+3)/4 + 2)
	if cap(c.words) < n {
		c.words, c.values = make([]uint32, n), make([][4]uint32, n)
	}
	c.words, c.values = c.words[:n], c.values[:n]
	clear(c.words)
	clear(c.values)
	c.zero = &zeroContexts[orientation]
	c.causal = style&blockCausal != 0
	c.mq.reset()
	plane, kind, pass := b.planes-1, 2, 0
	for _, s := range b.segments {
		c.bypass = style&blockBypass != 0 && pass >= 10 && kind != 2
		if c.bypass {
			c.raw = rawBits{src: s.data}
		} else {
			c.room = c.mq.start(s.data)
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
						_, c.room = c.mq.bit(c.room, ctxUniform)
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

// stripe gives the set of coefficients that a column has in the stripe from
// row top, and the number of its first word.
func (c *blockCoder) stripe(top int) (all uint32, first int) {
	all = columnAll
	if n := c.h - top; n < 4 {
		all &= 1<<(3*n) - 1
	}
	return all, (top/4+1)*c.stride + 1
}

// become makes the coefficient of bit at in word i, so far f, significant in a
// bit-plane, with its sign (D.3.2). There is no branch on where in its column it
// is, which could not be foreseen.
func (c *blockCoder) become(i int, f uint32, at, plane uint, room int64) (uint32, int64) {
	w, s := c.words, c.stride
	above, below, sides := w[i-s-1:][:3], w[i+s-1:][:3], w[i-1:][:3]
	first, last := uint32(1)<<(at&15)&1, uint32(1)<<(at&15)>>toLast
	var negative uint32
	if c.bypass {
		negative = c.raw.bit()
	} else {
		n := f >> (at & 15)
		column := uint64(f)>>toNegative<<3 | uint64(above[1]>>(toNegative+toLast)&1) | uint64(below[1]>>toNegative&1)<<(toLast+6)
		column >>= at & 15
		k := n>>1&1 | n>>6&2 | n>>1&4 | n>>2&8 | uint32(column)&1<<4 | uint32(column)>>1&0x20 |
			sides[0]>>((at+toNegative)&31)&1<<6 | sides[2]>>((at+toNegative)&31)&1<<7
		e := signContexts[k&0xff]
		x := &c.mq.contexts[e&31]
		negative = x.mps
		if room -= x.q; room < 0 {
			negative, room = c.mq.turn(room, x)
		}
		negative ^= uint32(e >> 7)
	}
	c.values[i][at&3] = 3<<(plane&31) | negative<<31
	sides[0] |= 1 << 5 << (at & 15)
	sides[2] |= 1 << 3 << (at & 15)
	below[0] |= last << 2
	below[1] |= last << 1
	below[2] |= last
	if !c.causal {
		above[0] |= first << 17
		above[1] |= first << 16
		above[2] |= first << 15
	}
	return f | 1<<toSig<<(at&15) | negative<<toNegative<<(at&15), room
}

// significance is the propagation pass (D.3.1).
func (c *blockCoder) significance(plane uint) {
	room, words, zero, contexts := c.room, c.words, c.zero, &c.mq.contexts
	for top := 0; top < c.h; top += 4 {
		all, first := c.stripe(top)
		for i := first; i < first+c.w; i++ {
			f := words[i]
			if f&columnAround == 0 {
				continue
			}
			// Those with a significant neighbour that are not so themselves.
			t := f & columnAround
			t |= t>>1 | t>>2
			set := (t | t>>3 | t>>6) &^ (f >> toSig) & all
			for set != 0 {
				at := uint(bits.TrailingZeros32(set)) & 15
				set &= set - 1
				var bit uint32
				if c.bypass {
					bit = c.raw.bit()
				} else {
					x := &contexts[zero[f>>at&511]&31]
					bit = x.mps
					if room -= x.q; room < 0 {
						bit, room = c.mq.turn(room, x)
					}
				}
				f |= 1 << toSeen << at
				if bit != 0 {
					f, room = c.become(i, f, at, plane, room)
					set |= 1 << 3 << at &^ (f >> toSig) & all // the next has a neighbour now
				}
			}
			words[i] = f
		}
	}
	c.room = room
}

// refinement is the pass of D.3.3.
func (c *blockCoder) refinement(plane uint) {
	room, words, contexts := c.room, c.words, &c.mq.contexts
	for top := 0; top < c.h; top += 4 {
		all, first := c.stripe(top)
		for i := first; i < first+c.w; i++ {
			f := words[i]
			set := f >> toSig &^ (f >> toSeen) & all
			if set == 0 {
				continue
			}
			words[i] = f | set<<toRefined
			values := &c.values[i]
			for set != 0 {
				at := uint(bits.TrailingZeros32(set)) & 15
				set &= set - 1
				var bit uint32
				if c.bypass {
					bit = c.raw.bit()
				} else {
					k := ctxRefine
					if f>>at&rowAround != 0 {
						k = ctxRefine + 1
					}
					if f>>toRefined>>at&1 != 0 {
						k = ctxRefine + 2
					}
					x := &contexts[k&31]
					bit = x.mps
					if room -= x.q; room < 0 {
						bit, room = c.mq.turn(room, x)
					}
				}
				// The value stands in the middle of what it may be.
				values[at&3] += (bit<<1 - 1) << (plane & 31)
			}
		}
	}
	c.room = room
}

// cleanup is the pass of D.3.4.
func (c *blockCoder) cleanup(plane uint) {
	c.bypass = false
	room, words, zero, contexts := c.room, c.words, c.zero, &c.mq.contexts
	for top := 0; top < c.h; top += 4 {
		all, first := c.stripe(top)
		for i := first; i < first+c.w; i++ {
			f := words[i]
			set := all &^ (f>>toSig | f>>toSeen)
			if f&columnAround == 0 && all == columnAll {
				x := &contexts[ctxRun]
				bit := x.mps
				if room -= x.q; room < 0 {
					bit, room = c.mq.turn(room, x)
				}
				if bit == 0 {
					continue
				}
				var high, low uint32
				high, room = c.mq.bit(room, ctxUniform)
				low, room = c.mq.bit(room, ctxUniform)
				at := 3 * uint(high<<1|low) & 15
				f, room = c.become(i, f, at, plane, room)
				set &^= 2<<at - 1
			}
			for set != 0 {
				at := uint(bits.TrailingZeros32(set)) & 15
				set &= set - 1
				x := &contexts[zero[f>>at&511]&31]
				bit := x.mps
				if room -= x.q; room < 0 {
					bit, room = c.mq.turn(room, x)
				}
				if bit != 0 {
					f, room = c.become(i, f, at, plane, room)
				}
			}
			words[i] = f &^ (columnAll << toSeen)
		}
	}
	c.room = room
}

// shiftDown brings coefficients of a region of interest, which were shifted
// above all others, back to their scale (H.1).
func (c *blockCoder) shiftDown(shift uint) {
	for i := range c.values {
		for k, v := range c.values[i] {
			if m := v &^ signBit; m>>1>>shift != 0 {
				c.values[i][k] = m>>shift | v&signBit
			}
		}
	}
}

// row gives the values of row y of the block: magnitudes times two, with the
// sign in bit 31, of which word the first is in and which of its four.
func (c *blockCoder) row(y int) (values [][4]uint32, k int) {
	first := (y/4+1)*c.stride + 1
	return c.values[first : first+c.w], 3 * y & 3
}
