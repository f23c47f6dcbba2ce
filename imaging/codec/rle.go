package codec

import (
	"encoding/binary"
	"fmt"

	"leadline/imaging"
)

func init() {
	register(Syntax{UID: "1.2.840.10008.1.2.5", Name: "RLE lossless", Encapsulated: true, SingleFragment: true, Decode: rle})
}

// rle decodes the run-length coding of PS3.5 annex G: a header of 16 numbers,
// then a segment for each byte of the sample, the most significant first, each
// coded by PackBits (G.3).
func rle(dst []uint16, src []byte, l Layout) error {
	if err := l.check(len(dst)); err != nil {
		return err
	}
	const head = 64
	if len(src) < head {
		return fmt.Errorf("%w: an RLE frame of %d bytes; its header alone has %d", imaging.ErrDamaged, len(src), head)
	}
	want := l.BitsAllocated / 8
	if n := binary.LittleEndian.Uint32(src); n != uint32(want) {
		return fmt.Errorf("%w: an RLE frame in %d segments, and samples of %d bits have %d", imaging.ErrDamaged, n, l.BitsAllocated, want)
	}
	from := make([]int64, want+1)
	from[want] = int64(len(src))
	for i := range want {
		from[i] = int64(binary.LittleEndian.Uint32(src[4+4*i:]))
	}
	for i := range want {
		if from[i] < head || from[i] > from[i+1] {
			return fmt.Errorf("%w: RLE segment %d does not lie in order within the frame", imaging.ErrDamaged, i+1)
		}
	}
	for i := range want {
		n := unpackBits(dst, src[from[i]:from[i+1]], i == 0)
		if n < len(dst) {
			return fmt.Errorf("%w: RLE segment %d holds %d of %d samples", imaging.ErrDamaged, i+1, n, len(dst))
		}
	}
	l.place(dst)
	return nil
}

// unpackBits decodes a segment, into the whole of each sample or, after the
// first segment, into its low byte with what is there shifted up. It returns
// how many samples it reached. Runs cross the ends of rows in what some
// encoders write, against G.3.1, and are read so; what goes beyond the frame is
// padding.
func unpackBits(dst []uint16, src []byte, first bool) int {
	at := 0
	for i := 0; i < len(src) && at < len(dst); {
		c := int(src[i])
		i++
		switch {
		case c < 128: // c+1 bytes as they are
			n := min(c+1, len(dst)-at, len(src)-i)
			out, in := dst[at:at+n], src[i:i+n]
			if first {
				for k, v := range in {
					out[k] = uint16(v)
				}
			} else {
				for k, v := range in {
					out[k] = out[k]<<8 | uint16(v)
				}
			}
			at += n
			i += n
		case c > 128: // one byte, 257-c times
			if i == len(src) {
				return at
			}
			n := min(257-c, len(dst)-at)
			v := uint16(src[i])
			i++
			out := dst[at : at+n]
			if first {
				for k := range out {
					out[k] = v
				}
			} else {
				for k := range out {
					out[k] = out[k]<<8 | v
				}
			}
			at += n
		}
	}
	return at
}
