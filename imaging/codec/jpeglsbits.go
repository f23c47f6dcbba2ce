package codec

import (
	"encoding/binary"
	"math/bits"
)

// lsBits reads the bits of a scan. After a byte FF the next byte brings seven
// bits, its first being 0; if that is 1, a marker begins (T.87 A.1, C.1). At a
// marker or the end of the data zero bits follow without end.
type lsBits struct {
	src  []byte
	at   int    // the next byte
	word uint64 // the next bits, the first on top
	left int    // how many
	pad  int    // how many of them lie after the data
	full bool   // the last byte was FF
}

// refill brings left to 49 at least.
func (r *lsBits) refill() {
	if !r.full && r.at+8 <= len(r.src) {
		v := binary.BigEndian.Uint64(r.src[r.at:])
		if x := ^v; (x-0x0101010101010101)&v&0x8080808080808080 == 0 { // no byte is FF
			n := (64 - r.left) &^ 7
			if n > 0 {
				r.word |= v >> (64 - n) << (64 - n) >> r.left
				r.left += n
				r.at += n >> 3
			}
			return
		}
	}
	for r.left <= 56 {
		if r.at >= len(r.src) {
			break
		}
		b := r.src[r.at]
		if r.full {
			r.word |= uint64(b) << (57 - r.left)
			r.left += 7
			r.full = false
			r.at++
			continue
		}
		if b == 0xff {
			if r.at+1 >= len(r.src) || r.src[r.at+1] >= 0x80 {
				break
			}
			r.full = true
		}
		r.word |= uint64(b) << (56 - r.left)
		r.left += 8
		r.at++
	}
	if r.left <= 56 {
		r.pad += 64 - r.left
		r.left = 64
	}
}

// read gives n bits, 0 to 32.
func (r *lsBits) read(n int) int {
	if r.left < n {
		r.refill()
	}
	v := r.word >> 1 >> (63 - n)
	r.word <<= n
	r.left -= n
	return int(v)
}

// golomb reads a code of T.87 A.5.3: as many zeros as its upper part says, a
// one, k bits; or limit zeros, a one and escape bits. It is false at what is
// no code.
func (r *lsBits) golomb(k, limit, escape int) (int, bool) {
	zeros := 0
	for {
		if r.left == 0 {
			r.refill()
		}
		n := bits.LeadingZeros64(r.word)
		if n < r.left {
			zeros += n
			r.word <<= n + 1
			r.left -= n + 1
			break
		}
		zeros += r.left
		if zeros > limit {
			return 0, false
		}
		r.word, r.left = 0, 0
	}
	if zeros > limit {
		return 0, false
	}
	if zeros == limit {
		return r.read(escape) + 1, true
	}
	return zeros<<k | r.read(k), true
}

// over says whether bits after the data were read.
func (r *lsBits) over() bool { return r.left < r.pad }

// rest is how many bits of data lie before the next marker or the end of the
// data, and where that is.
func (r *lsBits) rest() (n, at int) {
	at = r.at
	for at < len(r.src) && (r.src[at] != 0xff || at+1 < len(r.src) && r.src[at+1] < 0x80) {
		at++
	}
	return r.left - r.pad + 8*(at-r.at), at
}

// slack is how many bits may follow the last code: those that fill its byte,
// and what encoders write to empty their registers.
const slack = 64

// ended says whether the data end here.
func (r *lsBits) ended() bool {
	n, _ := r.rest()
	return n <= slack
}

// restart passes the restart marker after interval n (T.81 E.2.4); false if it
// is not there.
func (r *lsBits) restart(n int) bool {
	left, at := r.rest()
	for at+1 < len(r.src) && r.src[at+1] == 0xff { // fill bytes (T.81 B.1.1.2)
		at++
	}
	if left > slack || at+1 >= len(r.src) || r.src[at+1] != markerRST0+byte(n&7) {
		return false
	}
	*r = lsBits{src: r.src, at: at + 2}
	return true
}
