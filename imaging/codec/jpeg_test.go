package codec

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"leadline/imaging"
)

// shortStream is a lossless stream of 2 by 1 samples of 8 bits, by hand: its
// Huffman table has one code of one bit, 0, for no difference, so both samples
// are the start, 128 (T.81 H.1.2.1).
func shortStream(change func(b []byte) []byte) []byte {
	b := []byte{
		0xff, 0xd8,
		0xff, 0xc3, 0, 11, 8, 0, 1, 0, 2, 1, 1, 0x11, 0,
		0xff, 0xc4, 0, 20, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0,
		0xff, 0xda, 0, 8, 1, 1, 0, 1, 0, 0,
		0x3f,
		0xff, 0xd9,
	}
	if change != nil {
		b = change(b)
	}
	return b
}

func TestJPEGByHand(t *testing.T) {
	l := Layout{Columns: 2, Rows: 1, BitsAllocated: 8, BitsStored: 8, HighBit: 7}
	dst := make([]uint16, 2)
	for name, src := range map[string][]byte{
		"as it is":        shortStream(nil),
		"no end":          shortStream(func(b []byte) []byte { return b[:len(b)-2] }),
		"padding":         shortStream(func(b []byte) []byte { return append(b, 0, 0, 0) }),
		"fill bytes":      shortStream(func(b []byte) []byte { return slices.Insert(b, 2, 0xff, 0xff) }),
		"a comment":       shortStream(func(b []byte) []byte { return slices.Insert(b, 2, 0xff, 0xfe, 0, 4, 'o', 'k') }),
		"rows said later": shortStream(func(b []byte) []byte { b[8] = 0; return b }),
	} {
		clear(dst)
		if err := jpeg(dst, src, l); err != nil || dst[0] != 128 || dst[1] != 128 {
			t.Errorf("%s: %v, %v", name, dst, err)
		}
	}
	at := func(i int, v ...byte) func([]byte) []byte {
		return func(b []byte) []byte { copy(b[i:], v); return b }
	}
	for name, c := range map[string]struct {
		src  []byte
		kind error
		says string
	}{
		"nothing":           {nil, imaging.ErrDamaged, "no JPEG stream"},
		"another width":     {shortStream(at(10, 3)), imaging.ErrDamaged, "3 by 1"},
		"another height":    {shortStream(at(8, 2)), imaging.ErrDamaged, "2 by 2"},
		"17 bits":           {shortStream(at(6, 17)), imaging.ErrDamaged, "17 bits"},
		"progressive":       {shortStream(at(3, 0xc2)), imaging.ErrUnsupported, "SOF2"},
		"arithmetic":        {shortStream(at(3, 0xcb)), imaging.ErrUnsupported, "SOF11"},
		"baseline, no DQT":  {shortStream(at(3, 0xc0)), imaging.ErrDamaged, "without its tables"},
		"predictor 0":       {shortStream(at(44, 0)), imaging.ErrDamaged, "predictor 0"},
		"predictor 8":       {shortStream(at(44, 8)), imaging.ErrDamaged, "predictor 8"},
		"no table":          {shortStream(at(43, 0x10)), imaging.ErrDamaged, "Huffman"},
		"no such code":      {shortStream(at(47, 0xbf)), imaging.ErrDamaged, "no code"},
		"no samples":        {shortStream(func(b []byte) []byte { return b[:47] }), imaging.ErrDamaged, "it ends"},
		"long segment":      {shortStream(at(4, 0xff)), imaging.ErrDamaged, "are left"},
		"category 17":       {shortStream(at(36, 17)), imaging.ErrDamaged, "value 17"},
		"too many codes":    {shortStream(func(b []byte) []byte { b[18] = 22; b[20] = 3; return slices.Insert(b, 36, 1, 2) }), imaging.ErrDamaged, "more codes"},
		"two frame headers": {shortStream(func(b []byte) []byte { return slices.Insert(b, 15, b[2:15]...) }), imaging.ErrDamaged, "second"},
	} {
		if err := jpeg(dst, c.src, l); !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
	// Signed samples of 12 bits cannot be told from a stream of 8.
	l = Layout{Columns: 2, Rows: 1, BitsAllocated: 16, BitsStored: 12, HighBit: 11, Signed: true}
	if err := jpeg(dst, shortStream(nil), l); !errors.Is(err, imaging.ErrDamaged) {
		t.Errorf("8 bits for 12 signed ones: %v", err)
	}
}

// Decoding by PS3.5 G.3: the example bytes of a literal and a replicate run,
// the no-operation byte, and two segments, the high bytes first (G.2).
func TestRLEByHand(t *testing.T) {
	frame := func(segments ...[]byte) []byte {
		b := make([]byte, 64)
		b[0] = byte(len(segments))
		for i, s := range segments {
			b[4+4*i] = byte(len(b))
			b = append(b, s...)
		}
		return b
	}
	l := Layout{Columns: 3, Rows: 2, BitsAllocated: 16, BitsStored: 12, HighBit: 11}
	dst := make([]uint16, 6)
	src := frame([]byte{0xfb, 0x01}, []byte{0x02, 0xaa, 0xbb, 0xcc, 0x80, 0xfe, 0x22, 0})
	if err := rle(dst, src, l); err != nil || !slices.Equal(dst, []uint16{0x1aa, 0x1bb, 0x1cc, 0x122, 0x122, 0x122}) {
		t.Errorf("%x, %v", dst, err)
	}
	for name, b := range map[string][]byte{
		"cut":            src[:len(src)-4],
		"no header":      src[:60],
		"one segment":    frame([]byte{0xfb, 0x01}),
		"out of order":   func() []byte { b := slices.Clone(src); b[4] = 70; return b }(),
		"before its end": func() []byte { b := slices.Clone(src); b[4] = 10; return b }(),
		"beyond the end": func() []byte { b := slices.Clone(src); b[9] = 10; return b }(),
	} {
		if err := rle(dst, b, l); !errors.Is(err, imaging.ErrDamaged) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
