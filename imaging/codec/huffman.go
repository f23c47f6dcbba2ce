package codec

import (
	"encoding/binary"
	"fmt"

	"leadline/imaging"
)

// huffmanSpec is a table of codes as a JPEG stream gives it (T.81 annex C):
// how many codes there are of each length from 1 to 16, and their values.
type huffmanSpec struct {
	counts [16]int
	values []byte
}

// lookupBits of a stream are looked up at once.
const lookupBits = 12

// huffman decodes a category and the bits that go with it (T.81 F.1.2, H.1.2.2).
//
// An entry of lookup is made of the number of bits to drop (bits 0 to 4; 0:
// the code is longer than lookupBits, or there is none), how many additional
// bits still follow (bits 5 to 8), the run of zeros before an AC coefficient
// (bits 9 to 12), and the value (bits 16 to 31, signed) where the additional
// bits lay within the lookup as well.
type huffman struct {
	lookup [1 << lookupBits]uint32
	// Codes of 1 to 16 bits by length (F.2.2.3), each as the first 16 bits of
	// the stream: those below limit[n] have at most n bits.
	limit  [17]uint32
	offset [17]int // of values, from the code's own number
	short  [256]uint32
	values []byte
}

func entry(drop, extra, run int, value uint16) uint32 {
	return uint32(drop) | uint32(extra)<<5 | uint32(run)<<9 | uint32(value)<<16
}

// newHuffman builds the table. meaning gives for a code's value the number of
// additional bits and the run, or ok false where there can be none such.
func newHuffman(s *huffmanSpec, meaning func(v byte) (extra, run int, ok bool)) (*huffman, error) {
	h := &huffman{values: s.values}
	code, k := uint32(0), 0
	for n := 1; n <= 16; n++ {
		h.offset[n] = k - int(code)
		for range s.counts[n-1] {
			if code >= 1<<n {
				return nil, fmt.Errorf("%w: the JPEG stream: a Huffman table of more codes than there can be", imaging.ErrDamaged)
			}
			extra, run, ok := meaning(s.values[k])
			if !ok {
				return nil, fmt.Errorf("%w: the JPEG stream: a Huffman table with value %d", imaging.ErrDamaged, s.values[k])
			}
			h.fill(code, n, extra, run)
			h.short[s.values[k]] = entry(0, extra&15, run, halfRange(extra))
			code++
			k++
		}
		h.limit[n] = code << (16 - n)
		code <<= 1
	}
	return h, nil
}

// halfRange is the value of category 16, which has no additional bits: 32768
// (T.81 table H.2). Of the others it is 0.
func halfRange(extra int) uint16 {
	if extra == noBits16 {
		return 1 << 15
	}
	return 0
}

// noBits16 stands for category 16; entries carry it as no additional bits.
const noBits16 = 16

func (h *huffman) fill(code uint32, n, extra, run int) {
	if n > lookupBits {
		return
	}
	value, bits := halfRange(extra), extra&15
	first := code << (lookupBits - n)
	for i := range uint32(1) << (lookupBits - n) {
		e := entry(n, bits, run, value)
		if left := lookupBits - n; bits > 0 && bits <= left {
			e = entry(n+bits, 0, run, extend(i>>(left-bits), bits))
		}
		h.lookup[first+i] = e
	}
}

// extend gives the value of n additional bits v (T.81 F.2.2.1), 1 to 15.
func extend(v uint32, n int) uint16 {
	if v>>(n-1) == 0 {
		return uint16(v + 1 - 1<<n)
	}
	return uint16(v)
}

// long gives the entry of a code of more than lookupBits bits; 0: no code.
func (h *huffman) long(bits16 uint32) uint32 {
	for n := lookupBits + 1; n <= 16; n++ {
		if bits16 < h.limit[n] {
			i := int(bits16>>(16-n)) + h.offset[n]
			if i < 0 || i >= len(h.values) {
				return 0
			}
			return h.short[h.values[i]] | uint32(n)
		}
	}
	return 0
}

// bitReader reads entropy-coded data (T.81 B.1.1.5): the first of bits left is
// the top one of word.
type bitReader struct {
	src  []byte
	at   int
	word uint64
	left int // may count bits beyond the end of the data, which are 0
	// beyond are how many of those were put in.
	beyond int
}

// refill brings left to at least 57.
func (b *bitReader) refill() {
	if b.at+8 <= len(b.src) {
		v := binary.BigEndian.Uint64(b.src[b.at:])
		// No byte is FF: whole bytes go in at once. What goes in of a byte
		// beyond left goes in again, the same, with the next.
		if (^v-0x0101010101010101)&v&0x8080808080808080 == 0 {
			b.word |= v >> b.left
			n := (64 - b.left) >> 3
			b.at += n
			b.left += n << 3
			return
		}
	}
	for b.left <= 56 {
		if b.at >= len(b.src) {
			b.end()
			return
		}
		c := b.src[b.at]
		if c == 0xff {
			if b.at+1 >= len(b.src) || b.src[b.at+1] != 0 {
				b.end()
				return
			}
			b.at++
		}
		b.at++
		b.word |= uint64(c) << (56 - b.left)
		b.left += 8
	}
}

// end: a marker, or the end of the stream.
func (b *bitReader) end() {
	b.beyond += 64 - b.left
	b.left = 64
}

// over says whether more was read than there was.
func (b *bitReader) over() bool { return b.left < b.beyond }

// next moves on to what follows restart marker n, counted from 0.
func (b *bitReader) next(n int) error {
	b.refill()
	if b.beyond == 0 || b.left-b.beyond >= 8 {
		return fmt.Errorf("%w: the JPEG stream: byte %d: more data than its restart interval needs", imaging.ErrDamaged, b.at)
	}
	for b.at+1 < len(b.src) && b.src[b.at+1] == 0xff {
		b.at++
	}
	if b.at+1 >= len(b.src) || b.src[b.at+1] != byte(markerRST0+n%8) {
		return fmt.Errorf("%w: the JPEG stream: byte %d: no restart marker where one should be", imaging.ErrDamaged, b.at)
	}
	*b = bitReader{src: b.src, at: b.at + 2}
	return nil
}
