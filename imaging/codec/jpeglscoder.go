package codec

import "math/bits"

// lsContext is the state of one context (T.87 A.2.1): sum of error magnitudes,
// bias, prediction correction, count.
type lsContext struct{ a, b, c, n int32 }

// lsRun is the state of a context of run interruption (A.2.1, A.7.2).
type lsRun struct{ a, n, negative int }

// lsCoder decodes the lines of a scan.
type lsCoder struct {
	near, most int // NEAR, MAXVAL
	step       int // 2 NEAR + 1
	span       int // RANGE
	escape     int // qbpp
	limit      int // LIMIT
	renew      int32
	class      []int8 // of each gradient, -MAXVAL first

	contexts [512]lsContext // 365 are used; so many need no check of the index
	runs     [2]lsRun
	runIndex int
	bits     lsBits
}

// runOrder is J (A.2.1).
var runOrder = [32]uint8{0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 4, 4, 5, 5, 6, 6, 7, 7, 8, 9, 10, 11, 12, 13, 14, 15}

// reset starts all contexts afresh (A.2.1).
func (d *lsCoder) reset() {
	a := max(2, (d.span+32)/64)
	for i := range d.contexts {
		d.contexts[i] = lsContext{a: int32(a), n: 1}
	}
	d.runs = [2]lsRun{{a: a, n: 1}, {a: a, n: 1}}
	d.runIndex = 0
}

// line decodes a row from 1 to its last but one, given the row above and
// row[0], with the edges of A.2.1 in place; false where the data hold no code.
func (d *lsCoder) line(above, row []uint16) bool {
	above = above[:len(row)]
	class, most, near := d.class, d.most, d.near
	limit := d.limit - d.escape - 1
	word, left := d.bits.word, d.bits.left
	ra, rc, rb := int(row[0]), int(above[0]), int(above[1])
	q2 := int(class[rb-rc+most])
	for x := 1; x < len(row)-1; {
		rd := int(above[x+1])
		q1 := int(class[rd-rb+most])
		q := (9*q1+q2)*9 + int(class[rc-ra+most])
		q2 = q1
		if q == 0 {
			d.bits.word, d.bits.left = word, left
			n, ok := d.run(above, row, x)
			if !ok {
				return false
			}
			word, left = d.bits.word, d.bits.left
			x += n
			if x == len(row)-1 {
				break
			}
			ra, rc, rb = int(row[x-1]), int(above[x-1]), int(above[x])
			q2 = int(class[rb-rc+most])
			continue
		}
		sign := q >> 63 // -1 or 0: the contexts of opposite gradients are one (A.3.4)
		c := &d.contexts[(q^sign-sign)&511]

		// Prediction (A.4.1, A.4.2).
		lo, hi := min(ra, rb), max(ra, rb)
		px := min(max(ra+rb-rc, lo), hi)
		px = min(max(px+(int(c.c)^sign-sign), 0), most)

		// The least k with n << k >= a (A.5.1).
		a, n := uint64(c.a), uint64(c.n)
		k := bits.Len64(a) - bits.Len64(n)
		k &^= k >> 63
		k += int((n<<uint(k&63) - a) >> 63)

		// Golomb code (A.5.3).
		if left < 32 {
			d.bits.word, d.bits.left = word, left
			d.bits.refill()
			word, left = d.bits.word, d.bits.left
		}
		zeros := bits.LeadingZeros64(word)
		var m int
		if used := zeros + 1 + k; zeros < limit && used <= left {
			m = zeros<<uint(k&63) | int(word<<uint((zeros+1)&63)>>1>>uint((63-k)&63))
			word <<= uint(used & 63)
			left -= used
		} else {
			d.bits.word, d.bits.left = word, left
			var ok bool
			if m, ok = d.bits.golomb(k, limit, d.escape); !ok {
				return false
			}
			word, left = d.bits.word, d.bits.left
		}
		if m > 2*d.span {
			return false
		}
		e := m>>1 ^ -(m & 1)
		if k == 0 && near == 0 && 2*c.b <= -c.n { // A.5.2
			e = ^e
		}

		// Reconstruction (A.4.4, A.4.5).
		delta := e * d.step
		v := px + (delta ^ sign - sign)
		if v < -near {
			v += d.span * d.step
		} else if v > most+near {
			v -= d.span * d.step
		}
		ra = min(max(v, 0), most)
		row[x] = uint16(ra)
		rc, rb = rb, rd
		x++

		c.update(int32(e), int32(delta), d.renew)
	}
	d.bits.word, d.bits.left = word, left
	return true
}

// update follows T.87 A.6.
func (c *lsContext) update(e, delta, renew int32) {
	a, b, n := c.a+max(e, -e), c.b+delta, c.n
	if n == renew {
		a, b, n = a>>1, b>>1, n>>1
	}
	n++
	if b <= -n {
		b = max(b+n, 1-n)
		c.c = max(c.c-1, -128)
	} else if b > 0 {
		b = min(b-n, 0)
		c.c = min(c.c+1, 127)
	}
	c.a, c.b, c.n = a, b, n
}

// run decodes a run from x on and the sample that ends it (T.87 A.7); it says
// how many samples there were.
func (d *lsCoder) run(above, row []uint16, x int) (n int, ok bool) {
	v, rest := row[x-1], row[x:len(row)-1]
	for {
		order := int(runOrder[d.runIndex])
		if d.bits.read(1) == 0 {
			more := d.bits.read(order)
			if n+more >= len(rest) {
				return 0, false
			}
			fill(rest[n:n+more], v)
			n += more
			break
		}
		full := 1 << order
		more := min(full, len(rest)-n)
		fill(rest[n:n+more], v)
		n += more
		if more == full && d.runIndex < 31 {
			d.runIndex++
		}
		if n == len(rest) {
			return n, true
		}
	}
	if rest[n], ok = d.interruption(int(v), int(above[x+n])); !ok {
		return 0, false
	}
	if d.runIndex > 0 {
		d.runIndex--
	}
	return n + 1, true
}

func fill(dst []uint16, v uint16) {
	for i := range dst {
		dst[i] = v
	}
}

// interruption decodes the sample after a run (A.7.2).
func (d *lsCoder) interruption(ra, rb int) (uint16, bool) {
	kind, px, sign := 0, rb, 1
	if diff := ra - rb; diff <= d.near && diff >= -d.near {
		kind, px = 1, ra
	} else if diff > 0 {
		sign = -1
	}
	c := &d.runs[kind]
	sum := c.a
	if kind == 1 {
		sum += c.n >> 1
	}
	k := 0
	for c.n<<k < sum {
		k++
	}
	m, ok := d.bits.golomb(k, d.limit-int(runOrder[d.runIndex])-1-d.escape-1, d.escape)
	if !ok || m > 2*d.span {
		return 0, false
	}
	odd := (m + kind) & 1
	e := (m + kind + odd) >> 1
	if (k != 0 || 2*c.negative >= c.n) == (odd == 1) {
		e = -e
	}
	if e < 0 {
		c.negative++
	}
	c.a += (m + 1 - kind) >> 1
	if c.n == int(d.renew) {
		c.a, c.n, c.negative = c.a>>1, c.n>>1, c.negative>>1
	}
	c.n++
	v := px + sign*e*d.step
	if v < -d.near {
		v += d.span * d.step
	} else if v > d.most+d.near {
		v -= d.span * d.step
	}
	return uint16(min(max(v, 0), d.most)), true
}
