package codec

import (
	"encoding/binary"
	"fmt"

	"leadline/imaging"
)

// Layout is how the samples of a frame are stored (PS3.3 C.7.6.3, PS3.5 8.1.1).
type Layout struct {
	Columns, Rows int // pixels
	BitsAllocated int // 8 or 16
	BitsStored    int // 1 to BitsAllocated
	HighBit       int // BitsStored-1 to BitsAllocated-1
	Signed        bool
	ByteOrder     binary.ByteOrder
}

// bits says whether the bits of a sample are in order.
func (l Layout) bits() error {
	if l.BitsStored < 1 || l.BitsStored > l.BitsAllocated || l.HighBit < l.BitsStored-1 || l.HighBit >= l.BitsAllocated {
		return fmt.Errorf("%w: %d bits stored up to bit %d of %d allocated", imaging.ErrDamaged, l.BitsStored, l.HighBit, l.BitsAllocated)
	}
	if l.BitsAllocated != 8 && l.BitsAllocated != 16 {
		return fmt.Errorf("%w: %d bits allocated a sample; 8 and 16 are read", imaging.ErrUnsupported, l.BitsAllocated)
	}
	return nil
}

// check is bits for a whole frame of so many samples.
func (l Layout) check(samples int) error {
	if l.Columns < 1 || l.Rows < 1 || samples != l.Columns*l.Rows {
		return fmt.Errorf("%w: %d samples for a frame of %d by %d", imaging.ErrDamaged, samples, l.Columns, l.Rows)
	}
	return l.bits()
}

// place shifts samples as they lie in the bits allocated down to bit 0 and
// masks them.
func (l Layout) place(dst []uint16) {
	shift, mask := l.HighBit+1-l.BitsStored, uint16(1<<l.BitsStored-1)
	if l.BitsStored == 16 {
		return
	}
	if shift == 0 { // much the faster, and nearly always so
		for i := range dst {
			dst[i] &= mask
		}
		return
	}
	for i, v := range dst {
		dst[i] = v >> shift & mask
	}
}

// placeStream is place for samples of a stream that states its own precision,
// which may be that of the stored bits or of all up to the high bit. A lossy
// coding may overshoot; what does is brought back to the ends of the range.
func (l Layout) placeStream(dst []uint16, precision int, lossy bool) error {
	if precision < l.BitsStored && l.Signed {
		return fmt.Errorf("%w: a stream of %d bits a sample for signed samples of %d", imaging.ErrDamaged, precision, l.BitsStored)
	}
	if precision <= l.BitsStored {
		return nil
	}
	if shift := l.HighBit + 1 - l.BitsStored; shift > 0 {
		if precision <= l.HighBit {
			return fmt.Errorf("%w: a stream of %d bits a sample for samples up to bit %d", imaging.ErrDamaged, precision, l.HighBit)
		}
		l.place(dst)
		return nil
	}
	if most := uint16(1<<l.BitsStored - 1); lossy && !l.Signed {
		for i, v := range dst {
			dst[i] = min(v, most)
		}
		return nil
	}
	l.place(dst)
	return nil
}
