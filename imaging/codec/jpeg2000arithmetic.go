package codec

import (
	"encoding/binary"
	"math/bits"
)

// arithmetic is the decoder of T.800 annex C, with the standard's registers A
// and C brought to a common scale: the bit that is the top one of a normalized
// A is windowTop, and more of the code may stand below C's 16 bits than the
// standard's 8.
//
// While the more probable symbol comes and A needs no normalizing, A and C both
// just shrink by Qe (figure C.15). So neither is touched: a pass keeps how far
// both may shrink until one of that ends, takes Qe from it with each symbol,
// and only where it falls below 0 calls turn. a and c are without it.
type arithmetic struct {
	src      []byte
	at       int
	full     bool // the byte before at is FF
	a, c     int64
	ready    int         // bits of the code below C's 16
	contexts [32]context // the standard's 19
}

// context is where a context stands in table C.2.
type context struct {
	q    int64 // Qe
	mps  uint32
	next uint32 // the rows of probabilities that follow mps (bits 0 to 7) and the other symbol (8 to 15)
}

const (
	windowLow = 47 // the lowest of C's 16 bits
	windowTop = 1 << (windowLow + 15)
)

// reset is table D.7.
func (m *arithmetic) reset() {
	for i := range m.contexts {
		m.contexts[i] = probabilities[0]
	}
	m.contexts[0] = probabilities[4<<1]
	m.contexts[ctxRun] = probabilities[3<<1]
	m.contexts[ctxUniform] = probabilities[46<<1]
}

// start is INITDEC (C.3.5): what a pass has before it shrinks A and C.
func (m *arithmetic) start(src []byte) (room int64) {
	m.src, m.at, m.full = src, 0, false
	m.c, m.ready = 0, -15
	m.refill()
	return m.normal(windowTop)
}

// refill is BYTEIN (C.3.4) until C holds at least 31 bits more than it needs.
// What a stuffed bit carries is added before it is due, which is no different
// in any code that an encoder ends rightly.
func (m *arithmetic) refill() {
	if !m.full && m.at+4 <= len(m.src) {
		v := binary.BigEndian.Uint32(m.src[m.at:])
		if (^v-0x01010101)&v&0x80808080 == 0 { // no FF
			m.c += int64(v) << (windowLow - 32 - m.ready)
			m.at += 4
			m.ready += 32
			return
		}
	}
	for m.ready < 32 {
		n, next := 8, byte(0xff)
		if m.at < len(m.src) {
			next = m.src[m.at]
		}
		if m.full && next > 0x8f || m.at >= len(m.src) { // the code is over: ones follow
			m.c += 0xff << (windowLow - 8 - m.ready)
			m.ready += 8
			continue
		}
		if m.full {
			n = 7
		}
		m.c += int64(next) << (windowLow - n - m.ready)
		m.ready += n
		m.full = next == 0xff
		m.at++
	}
}

// normal puts away a normalized A.
func (m *arithmetic) normal(a int64) (room int64) {
	room = min(m.c, a-windowTop)
	m.a, m.c = a-room, m.c-room
	return room
}

// turn is the rest of DECODE (C.3.2) where room, less Qe, is below 0. What it
// decides cannot be foreseen, so that it is better computed than branched on.
func (m *arithmetic) turn(room int64, x *context) (symbol uint32, _ int64) {
	q := x.q
	a, c := m.a+room, m.c+room
	lower := c >> 63 // all ones where C lies in the lower interval
	flip := uint64(lower^(a-q)>>63) & 1
	symbol = x.mps ^ uint32(flip)
	*x = probabilities[x.next>>(8*flip)&127]
	a += (q - a) & lower
	c += q & lower
	n := bits.LeadingZeros64(uint64(a)) - (63 - windowLow - 15)
	m.c = c << (n & 63)
	if m.ready -= n; m.ready < 0 {
		m.refill()
	}
	return symbol, m.normal(a << (n & 63))
}

// bit is DECODE for the few symbols that no pass has at hand.
func (m *arithmetic) bit(room int64, context int) (uint32, int64) {
	x := &m.contexts[context]
	if room -= x.q; room < 0 {
		return m.turn(room, x)
	}
	return x.mps, room
}

// probabilities is table C.2; of each row two, for the more probable symbol 0
// and 1.
var probabilities [128]context

func init() {
	for i, r := range [...]struct {
		q          int64
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
			probabilities[2*i+int(s)] = context{r.q << windowLow, uint32(s), uint32(r.more<<1|s) | uint32(r.less<<1|s^r.change)<<8}
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

func (r *rawBits) bit() uint32 {
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
	return uint32(r.now>>r.count) & 1
}
