package codec

import (
	"encoding/binary"
	"fmt"

	"leadline/imaging"
)

// The syntaxes whose pixel data are the samples themselves (PS3.5 A.1 to A.3,
// A.5), and the one that puts those of each frame into a fragment (A.4.11).
func init() {
	register(
		Syntax{UID: ImplicitLittleEndian, Name: "Implicit VR Little Endian", ImplicitVR: true, Decode: native},
		Syntax{UID: ExplicitLittleEndian, Name: "Explicit VR Little Endian", Decode: native},
		Syntax{UID: Deflated, Name: "Deflated Explicit VR Little Endian", Deflated: true, Decode: native},
		Syntax{UID: ExplicitBigEndian, Name: "Explicit VR Big Endian", BigEndian: true, Decode: native},
		Syntax{UID: "1.2.840.10008.1.2.1.98", Name: "Encapsulated Uncompressed Explicit VR Little Endian", Encapsulated: true, SingleFragment: true, Decode: native},
	)
}

// native reads samples of 8 or 16 bits allocated (PS3.5 8.1.1 and 8.2). Bits
// outside the stored ones, which old files use for overlays, are dropped.
func native(dst []uint16, src []byte, l Layout) error {
	if err := l.bits(); err != nil {
		return err
	}
	shift := l.HighBit + 1 - l.BitsStored
	mask := uint16(1<<l.BitsStored - 1)
	switch l.BitsAllocated {
	case 8:
		if len(src) < len(dst) {
			return short(len(dst), len(src))
		}
		for i := range dst {
			dst[i] = uint16(src[i]>>shift) & mask
		}
	case 16:
		if len(src) < 2*len(dst) {
			return short(2*len(dst), len(src))
		}
		src = src[:2*len(dst)]
		// A shift by a constant is much the faster, and is what nearly all files need.
		switch {
		case l.ByteOrder == binary.BigEndian:
			for i := range dst {
				dst[i] = binary.BigEndian.Uint16(src[2*i:]) >> shift & mask
			}
		case shift == 0:
			for i := range dst {
				dst[i] = binary.LittleEndian.Uint16(src[2*i:]) & mask
			}
		default:
			for i := range dst {
				dst[i] = binary.LittleEndian.Uint16(src[2*i:]) >> shift & mask
			}
		}
	}
	return nil
}

func short(want, have int) error {
	return fmt.Errorf("%w: %d bytes of samples are needed, %d are there", imaging.ErrDamaged, want, have)
}
