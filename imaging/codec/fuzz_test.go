package codec

import (
	"errors"
	"testing"

	"leadline/imaging"
)

// fuzz attacks a decoder: whatever the bytes, an error of a known kind or
// samples within the bits stored. The corpus in testdata holds streams that
// dcmtk and gdcm made of small frames of so many columns and rows.
func fuzz(f *testing.F, decode Decoder) {
	f.Fuzz(func(t *testing.T, src []byte, columns, rows, stored byte, signed bool) {
		l := Layout{Columns: int(columns), Rows: int(rows), BitsAllocated: 16, BitsStored: int(stored), HighBit: int(stored) - 1, Signed: signed}
		if stored <= 8 {
			l.BitsAllocated = 8
		}
		dst := make([]uint16, l.Columns*l.Rows)
		if err := decode(dst, src, l); err != nil {
			if !errors.Is(err, imaging.ErrDamaged) && !errors.Is(err, imaging.ErrUnsupported) {
				t.Fatalf("error of no kind: %v", err)
			}
			return
		}
		for i, s := range dst {
			if int(s) >= 1<<stored {
				t.Fatalf("sample %d is %d, of %d bits", i, s, stored)
			}
		}
	})
}

func FuzzRLE(f *testing.F)  { fuzz(f, rle) }
func FuzzJPEG(f *testing.F) { fuzz(f, jpeg) }
