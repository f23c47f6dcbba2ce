package dicomfile

import (
	"encoding/binary"
	"math/bits"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// losslessStream codes samples by process 14 as T.81 annex H says, with what no
// tool at hand writes: restart intervals of so many rows (0: none), a point
// transform, and codes of up to 16 bits for common categories.
func losslessStream(samples []uint16, columns, precision, selection, transform, restartRows int) []byte {
	rows := len(samples) / columns
	segment := func(marker byte, b ...byte) []byte {
		return append(binary.BigEndian.AppendUint16([]byte{0xff, marker}, uint16(len(b)+2)), b...)
	}
	out := []byte{0xff, 0xd8}
	out = append(out, segment(0xc3, byte(precision), byte(rows>>8), byte(rows), byte(columns>>8), byte(columns), 1, 1, 0x11, 0)...)
	// 2, 2, 1, 1 ... 1 codes of 2, 3, 4 ... 16 bits; the long ones for the small categories.
	table := []byte{0, 0, 2, 2}
	for range 13 {
		table = append(table, 1)
	}
	code, length := [17]uint32{}, [17]int{}
	next := uint32(0)
	category := 16
	for n := 1; n <= 16; n++ {
		for range table[n] {
			table = append(table, byte(category))
			code[category], length[category] = next, n
			next++
			category--
		}
		next <<= 1
	}
	out = append(out, segment(0xc4, table...)...)
	if restartRows > 0 {
		out = append(out, segment(0xdd, byte(restartRows*columns>>8), byte(restartRows*columns))...)
	}
	out = append(out, segment(0xda, 1, 1, 0, byte(selection), 0, byte(transform))...)

	word, left := uint64(0), 0
	put := func(v uint32, n int) {
		word, left = word<<n|uint64(v)&(1<<n-1), left+n
		for left >= 8 {
			b := byte(word >> (left - 8))
			if out = append(out, b); b == 0xff {
				out = append(out, 0)
			}
			left -= 8
		}
	}
	flush := func() {
		if left > 0 {
			put(1<<(8-left)-1, 8-left)
		}
	}
	at := func(x, y int) int { return int(samples[y*columns+x] >> transform) }
	for y := range rows {
		first := y == 0
		if restartRows > 0 && y > 0 && y%restartRows == 0 {
			flush()
			out = append(out, 0xff, 0xd0+byte((y/restartRows-1)%8))
			first = true
		}
		for x := range columns {
			var p int
			switch {
			case first && x == 0:
				p = 1 << (precision - transform - 1)
			case first:
				p = at(x-1, y)
			case x == 0:
				p = at(x, y-1)
			default:
				a, b, c := at(x-1, y), at(x, y-1), at(x-1, y-1)
				p = []int{0, a, b, c, a + b - c, a + (b-c)>>1, b + (a-c)>>1, (a + b) >> 1}[selection]
			}
			d := int(int16(at(x, y) - p)) // modulo 2 to the 16
			if d == -32768 {
				put(code[16], length[16])
				continue
			}
			n := bits.Len(uint(max(d, -d)))
			put(code[n], length[n])
			if d < 0 {
				d--
			}
			put(uint32(d), n)
		}
	}
	flush()
	return append(out, 0xff, 0xd9)
}

// fragmented appends pixel data in fragments, with a Basic Offset Table.
func (r *raw) fragmented(offsets []uint32, fragments ...[]byte) *raw {
	r.head(0x7fe0, 0x0010, "OB", undefinedLength)
	r.head(0xfffe, 0xe000, "", uint32(4*len(offsets)))
	for _, o := range offsets {
		r.Write(binary.LittleEndian.AppendUint32(nil, o))
	}
	for _, f := range fragments {
		r.head(0xfffe, 0xe000, "", uint32(len(f)))
		r.Write(f)
	}
	return r.head(0xfffe, 0xe0dd, "", 0)
}

func even(b []byte) []byte { return append(b, make([]byte, len(b)%2)...) }

const jpegLossless = "1.2.840.10008.1.2.4.57"

// Restart intervals, point transforms and long codes, against the samples that
// went in, and against what dcmtk makes of the same stream.
func TestLosslessRestarts(t *testing.T) {
	const columns, rows = 23, 17
	seed := uint32(7)
	for _, precision := range []int{2, 8, 12, 16} {
		for selection := 1; selection <= 7; selection++ {
			for _, restart := range []int{0, 1, 3} {
				transform := 0
				if selection == 4 && precision > 2 {
					transform = 2
				}
				want := make([]uint16, columns*rows)
				for i := range want {
					seed = seed*1664525 + 1013904223
					want[i] = uint16(seed>>(32-precision)) >> transform << transform
					if i%5 > 1 {
						want[i] = want[i-1]
					}
				}
				stream := losslessStream(want, columns, precision, selection, transform, restart)
				path := filepath.Join(t.TempDir(), "image.dcm")
				r := newRaw(jpegLossless).wide(columns, rows, "1 ", precision).fragmented(nil, even(stream))
				if err := os.WriteFile(path, r.Bytes(), 0o600); err != nil {
					t.Fatal(err)
				}
				f, err := Open(path)
				if err != nil {
					t.Fatal(err)
				}
				fr, err := f.Frame(1, 1)
				f.Close()
				if err != nil || !slices.Equal(fr.Samples, want) {
					t.Errorf("%d bits, predictor %d, restart each %d rows: %v", precision, selection, restart, err)
				}
				if restart == 3 || precision == 16 && selection == 1 {
					plain := filepath.Join(t.TempDir(), "plain.dcm")
					encode(t, []string{"dcmdjpeg"}, path, plain)
					for i, v := range samples(t, plain) {
						if v != int(want[i]) {
							t.Fatalf("dcmtk reads sample %d of the %d-bit stream by predictor %d as %d, not %d", i, precision, selection, v, want[i])
						}
					}
				}
			}
		}
	}
}
