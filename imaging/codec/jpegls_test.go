package codec

import (
	"bytes"
	"errors"
	"slices"
	"testing"

	"leadline/imaging"
)

// The image and the coded data of the example in T.87 H.3.
var (
	lsExampleImage = []uint16{0, 0, 90, 74, 68, 50, 43, 205, 64, 145, 145, 145, 100, 145, 145, 145}
	lsExampleData  = []byte{0xc0, 0x00, 0x00, 0x6c, 0x80, 0x20, 0x8e, 0x01, 0xc0, 0x00, 0x00, 0x57, 0x40, 0x00, 0x00, 0x6e,
		0xe6, 0x00, 0x00, 0x01, 0xbc, 0x18, 0x00, 0x00, 0x05, 0xd8, 0x00, 0x00, 0x91, 0x60}
)

// lsExample is a stream of 4 columns of 8 bits: segments go before the scan.
func lsExample(rows byte, segments, data []byte) []byte {
	b := []byte{0xff, 0xd8, 0xff, 0xf7, 0, 11, 8, 0, rows, 0, 4, 1, 1, 0x11, 0}
	b = append(b, segments...)
	b = append(b, 0xff, 0xda, 0, 8, 1, 1, 0, 0, 0, 0)
	return append(append(b, data...), 0xff, 0xd9)
}

func lsLayout(rows int) Layout {
	return Layout{Columns: 4, Rows: rows, BitsAllocated: 8, BitsStored: 8, HighBit: 7}
}

func TestJPEGLSExample(t *testing.T) {
	got := make([]uint16, 16)
	if err := jpegLS(got, lsExample(4, nil, lsExampleData), lsLayout(4)); err != nil || !slices.Equal(got, lsExampleImage) {
		t.Errorf("%v, want %v (%v)", got, lsExampleImage, err)
	}
	// The parameters that are the defaults for 8 bits (T.87 table C.3), given.
	given := []byte{0xff, 0xf8, 0, 13, 1, 0, 255, 0, 3, 0, 7, 0, 21, 0, 64}
	if err := jpegLS(got, lsExample(4, given, lsExampleData), lsLayout(4)); err != nil || !slices.Equal(got, lsExampleImage) {
		t.Errorf("with parameters: %v, want %v (%v)", got, lsExampleImage, err)
	}
}

// A restart puts everything back to its start (T.87 C.2.5 and A.2.1), so the
// example's data may be put one below the other. An interval counts lines.
func TestJPEGLSRestart(t *testing.T) {
	const times = 10 // marker numbers go round after 8
	var data []byte
	var want []uint16
	for i := range times {
		if i > 0 {
			data = append(data, 0xff, 0xd0+byte((i-1)%8))
		}
		data = append(data, lsExampleData...)
		want = append(want, lsExampleImage...)
	}
	for _, interval := range [][]byte{{0xff, 0xdd, 0, 4, 0, 4}, {0xff, 0xdd, 0, 5, 0, 0, 4}, {0xff, 0xdd, 0, 6, 0, 0, 0, 4}} {
		got := make([]uint16, len(want))
		if err := jpegLS(got, lsExample(4*times, interval, data), lsLayout(4*times)); err != nil || !slices.Equal(got, want) {
			t.Errorf("interval %x: %v, want %v (%v)", interval, got, want, err)
		}
	}
	interval := []byte{0xff, 0xdd, 0, 4, 0, 4}
	for name, from := range map[string][2][]byte{
		"another number": {{0xff, 0xd3}, {0xff, 0xd4}},
		"no marker":      {{0xff, 0xd3}, {0x00, 0x00}},
	} {
		bad := bytes.Replace(data, from[0], from[1], 1)
		if err := jpegLS(make([]uint16, len(want)), lsExample(4*times, interval, bad), lsLayout(4*times)); !errors.Is(err, imaging.ErrDamaged) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Thresholds by T.87 table C.3, and by its formulas worked by hand.
func TestJPEGLSThresholds(t *testing.T) {
	for _, c := range []struct {
		most, near int
		want       [3]int
	}{
		{255, 0, [3]int{3, 7, 21}},      // table C.3
		{4095, 0, [3]int{18, 67, 276}},  // FACTOR 16: 16+2, 16*4+3, 16*17+4
		{65535, 0, [3]int{18, 67, 276}}, // FACTOR is of 4095 at most
		{1023, 2, [3]int{12, 29, 86}},   // FACTOR 4: 4+2+6, 16+3+10, 68+4+14
		{15, 0, [3]int{2, 3, 4}},        // below 128: 3/16, 7/16 and 21/16 are less than 2, 3, 4
		{3, 0, [3]int{2, 3, 3}},         // 4 is over MAXVAL, so T2
	} {
		if got := thresholds(c.most, c.near); got != c.want {
			t.Errorf("MAXVAL %d, NEAR %d: %v, want %v", c.most, c.near, got, c.want)
		}
	}
}

// A stream cut anywhere, or with a byte wrong, is an error or the whole frame.
func TestJPEGLSDamaged(t *testing.T) {
	whole := lsExample(4, nil, lsExampleData)
	for n := range whole {
		got := make([]uint16, 16)
		err := jpegLS(got, whole[:n], lsLayout(4))
		if err == nil && !slices.Equal(got, lsExampleImage) || err != nil && !errors.Is(err, imaging.ErrDamaged) {
			t.Errorf("cut at %d: %v, %v", n, got, err)
		}
	}
	header := len(whole) - len(lsExampleData) - 2
	for at, v := range map[int]byte{
		4:          1,    // length of the frame header
		6:          17,   // precision
		8:          5,    // rows
		10:         5,    // columns
		header - 6: 2,    // components of the scan
		header - 5: 7,    // its component
		header - 3: 200,  // tolerance over half the range
		1:          0xd9, // start of image
		header + 7: 0xff, // a marker amid the data
	} {
		bad := bytes.Clone(whole)
		bad[at] = v
		if err := jpegLS(make([]uint16, 16), bad, lsLayout(4)); !errors.Is(err, imaging.ErrDamaged) {
			t.Errorf("byte %d as %d: %v", at, v, err)
		}
	}
	for name, segment := range map[string][]byte{
		"MAXVAL over the bits": {0xff, 0xf8, 0, 13, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0},
		"thresholds falling":   {0xff, 0xf8, 0, 13, 1, 0, 0, 0, 9, 0, 8, 0, 21, 0, 0},
		"reset of 2":           {0xff, 0xf8, 0, 13, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 2},
		"short parameters":     {0xff, 0xf8, 0, 4, 1, 0},
		"no parameters":        {0xff, 0xf8, 0, 2},
		"no interval":          {0xff, 0xdd, 0, 2},
		"data go on":           {0xff, 0xfe, 0, 2, 0xff, 0xda, 0, 8, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0},
	} {
		if err := jpegLS(make([]uint16, 16), lsExample(4, segment, lsExampleData), lsLayout(4)); !errors.Is(err, imaging.ErrDamaged) {
			t.Errorf("%s: %v", name, err)
		}
	}
	long := lsExample(4, nil, append(bytes.Clone(lsExampleData), make([]byte, 40)...))
	if err := jpegLS(make([]uint16, 16), long, lsLayout(4)); !errors.Is(err, imaging.ErrDamaged) {
		t.Errorf("40 bytes too many: %v", err)
	}
	for name, at := range map[string]int{"mapping table": header - 4, "point transform": header - 1} {
		bad := bytes.Clone(whole)
		bad[at] = 1
		if err := jpegLS(make([]uint16, 16), bad, lsLayout(4)); !errors.Is(err, imaging.ErrUnsupported) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzJPEGLS(f *testing.F) {
	f.Add(lsExample(4, nil, lsExampleData), byte(4), byte(4), byte(8), false)
	fuzz(f, jpegLS)
}
