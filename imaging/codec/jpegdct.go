package codec

import (
	"fmt"

	"leadline/imaging"
)

// zigzag is the place in a block, row by row, of each coefficient in the order
// of the stream (T.81 figure A.6).
var zigzag = [64]uint8{
	0, 1, 8, 16, 9, 2, 3, 10,
	17, 24, 32, 25, 18, 11, 4, 5,
	12, 19, 26, 33, 40, 48, 41, 34,
	27, 20, 13, 6, 7, 14, 21, 28,
	35, 42, 49, 56, 57, 50, 43, 36,
	29, 22, 15, 23, 30, 37, 44, 51,
	58, 59, 52, 45, 38, 31, 39, 46,
	53, 60, 61, 54, 47, 55, 62, 63,
}

// sequential decodes a scan of a sequential DCT process (T.81 annex F).
func (s *jpegStream) sequential(dst []uint16, dcSpec, acSpec *huffmanSpec, q *[64]int32, l Layout) error {
	dc, err := newHuffman(dcSpec, func(v byte) (int, int, bool) { return int(v), 0, v < 16 })
	if err != nil {
		return err
	}
	ac, err := newHuffman(acSpec, func(v byte) (int, int, bool) { return int(v & 15), int(v >> 4), true })
	if err != nil {
		return err
	}
	b := &bitReader{src: s.src, at: s.at}
	most := 1<<s.precision - 1
	level := 1 << (s.precision - 1) // A.3.1
	// A scan of one component takes its blocks in rows, whatever its sampling
	// factors (A.2.2).
	previous, n := 0, 0
	var coefficients [64]int
	for y := 0; y < l.Rows; y += 8 {
		for x := 0; x < l.Columns; x, n = x+8, n+1 {
			if s.restart > 0 && n > 0 && n%s.restart == 0 {
				if err := b.next(n/s.restart - 1); err != nil {
					return err
				}
				previous = 0
			}
			coefficients = [64]int{}
			last, ok := b.block(&coefficients, dc, ac, q, &previous)
			if !ok {
				return fmt.Errorf("%w: the JPEG stream: row %d of %d: it ends, or holds what is no code", imaging.ErrDamaged, y+1, l.Rows)
			}
			w := min(8, l.Columns-x)
			if last == 0 { // the mean alone
				mean := uint16(min(max((coefficients[0]+4)>>3+level, 0), most))
				for v := range min(8, l.Rows-y) {
					out := dst[(y+v)*l.Columns+x:][:w]
					for u := range out {
						out[u] = mean
					}
				}
				continue
			}
			inverse(&coefficients)
			for v := range min(8, l.Rows-y) {
				out := dst[(y+v)*l.Columns+x:]
				if w == 8 {
					whole, in := (*[8]uint16)(out), (*[8]int)(coefficients[8*v:])
					for u := range whole {
						whole[u] = uint16(min(max(in[u]+level, 0), most))
					}
					continue
				}
				for u := range w {
					out[u] = uint16(min(max(coefficients[8*v+u]+level, 0), most))
				}
			}
		}
	}
	return nil
}

// block decodes the coefficients of a block, dequantized and in rows (F.2.2).
// last is the index in the stream of the last that is not 0.
func (b *bitReader) block(c *[64]int, dc, ac *huffman, q *[64]int32, previous *int) (last int, ok bool) {
	table := dc
	for k := 0; k < 64; k++ {
		if b.left < 32 {
			b.refill()
		}
		e := table.lookup[b.word>>(64-lookupBits)]
		if e == 0 {
			if e = table.long(uint32(b.word >> 48)); e == 0 {
				return 0, false
			}
		}
		drop := e & 31
		b.word <<= drop
		b.left -= int(drop)
		value := int(int16(e >> 16))
		if extra := int(e >> 5 & 15); extra > 0 {
			value = int(int16(extend(uint32(b.word>>(64-extra)), extra)))
			b.word <<= extra
			b.left -= extra
		}
		if k == 0 {
			*previous += value
			c[0] = *previous * int(q[0])
			table = ac
			continue
		}
		run := int(e >> 9 & 15)
		if value == 0 {
			if run < 15 {
				break // end of block
			}
			k += 15
			continue
		}
		if k += run; k > 63 {
			return 0, false
		}
		c[zigzag[k]] = value * int(q[k])
		last = k
	}
	return last, !b.over()
}

// The inverse DCT (T.81 A.3.3) is done by columns, then by rows, in whole
// numbers with so many bits behind the point that the result is off the exact
// one by far less than its rounding. Each of the two steps is larger than the
// formula by the square root of 8, so that the mean passes without error.
const (
	cosineBits  = 20 // of the constants
	betweenBits = 11 // kept between columns and rows
)

// cos(k pi/16) times the square root of 2, for k from 1 to 7 except 4, where
// that is 1, with cosineBits behind the point.
const (
	cosine1 = 1454417
	cosine2 = 1370031
	cosine3 = 1232995
	cosine5 = 823861
	cosine6 = 567485
	cosine7 = 289301
)

func inverse(c *[64]int) {
	for x := range 8 {
		s := c[x:]
		if s[8]|s[16]|s[24]|s[32]|s[40]|s[48]|s[56] == 0 {
			v := s[0] << betweenBits
			for y := 0; y < 64; y += 8 {
				s[y] = v
			}
			continue
		}
		e0, e1, e2, e3, o0, o1, o2, o3 := halves(s[0], s[8], s[16], s[24], s[32], s[40], s[48], s[56])
		const shift, half = cosineBits - betweenBits, 1 << (cosineBits - betweenBits - 1)
		s[0], s[56] = (e0+o0+half)>>shift, (e0-o0+half)>>shift
		s[8], s[48] = (e1+o1+half)>>shift, (e1-o1+half)>>shift
		s[16], s[40] = (e2+o2+half)>>shift, (e2-o2+half)>>shift
		s[24], s[32] = (e3+o3+half)>>shift, (e3-o3+half)>>shift
	}
	for y := 0; y < 64; y += 8 {
		s := c[y : y+8 : y+8]
		e0, e1, e2, e3, o0, o1, o2, o3 := halves(s[0], s[1], s[2], s[3], s[4], s[5], s[6], s[7])
		const shift, half = cosineBits + betweenBits + 3, 1 << (cosineBits + betweenBits + 2)
		s[0], s[7] = (e0+o0+half)>>shift, (e0-o0+half)>>shift
		s[1], s[6] = (e1+o1+half)>>shift, (e1-o1+half)>>shift
		s[2], s[5] = (e2+o2+half)>>shift, (e2-o2+half)>>shift
		s[3], s[4] = (e3+o3+half)>>shift, (e3-o3+half)>>shift
	}
}

// halves gives the even and the odd part of the inverse DCT of eight numbers:
// output n is e[n]+o[n], output 7-n is e[n]-o[n].
func halves(s0, s1, s2, s3, s4, s5, s6, s7 int) (e0, e1, e2, e3, o0, o1, o2, o3 int) {
	p, m := (s0+s4)<<cosineBits, (s0-s4)<<cosineBits
	a, b := s2*cosine2+s6*cosine6, s2*cosine6-s6*cosine2
	e0, e3, e1, e2 = p+a, p-a, m+b, m-b
	o0 = s1*cosine1 + s3*cosine3 + s5*cosine5 + s7*cosine7
	o1 = s1*cosine3 - s3*cosine7 - s5*cosine1 - s7*cosine5
	o2 = s1*cosine5 - s3*cosine1 + s5*cosine7 + s7*cosine3
	o3 = s1*cosine7 - s3*cosine5 + s5*cosine3 - s7*cosine1
	return
}
