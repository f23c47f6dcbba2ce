package assist

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"reflect"
	"testing"

	"leadline/imaging"
)

// What is written is read, pixels and all; the lengths stand first, little-endian,
// as the package comment has it.
func TestMessagesRoundTrip(t *testing.T) {
	q := Request{Version: Version, Kind: Needle, Columns: 16, Rows: 16, Frames: 1, BitsStored: 12, Near: []Point{{1.5, 2.25}}, Box: &Box{Point{1, 2}, Point{3, 4}}}
	pixels := make([]uint16, 256)
	for i := range pixels {
		pixels[i] = uint16(i * 251)
	}
	var b bytes.Buffer
	if err := WriteRequest(&b, q, pixels); err != nil {
		t.Fatal(err)
	}
	if n := binary.LittleEndian.Uint32(b.Bytes()[4:]); n != 512 || int(binary.LittleEndian.Uint32(b.Bytes())) != b.Len()-8-512 {
		t.Errorf("lengths %d in a message of %d bytes", n, b.Len())
	}
	got, back, err := ReadRequest(&b)
	if err != nil || !reflect.DeepEqual(got, q) || !reflect.DeepEqual(back, pixels) {
		t.Errorf("%+v, %v", got, err)
	}
	if _, _, err := ReadRequest(&b); err != io.EOF {
		t.Errorf("at the end: %v", err)
	}
}

// What is outside the limits is refused by its kind, before room is made for it.
func TestBadMessages(t *testing.T) {
	good := Request{Version: Version, Kind: Needle, Columns: 16, Rows: 16, Frames: 1, BitsStored: 12}
	for name, bad := range map[string]func(*Request){
		"version": func(q *Request) { q.Version++ },
		"side":    func(q *Request) { q.Columns = MaxSide + 1 },
		"frames":  func(q *Request) { q.Frames = MaxFrames + 1 },
		"bits":    func(q *Request) { q.BitsStored = 17 },
		"points":  func(q *Request) { q.Near = make([]Point, MaxPoints+1) },
		"outside": func(q *Request) { q.Near = []Point{{17, 3}} },
		"nowhere": func(q *Request) { q.Near = []Point{{math.NaN(), 3}} },
		"box":     func(q *Request) { q.Box = &Box{Point{-1, 2}, Point{3, 4}} },
	} {
		q := good
		bad(&q)
		if err := q.check(); !errors.Is(err, imaging.ErrBadInput) && !errors.Is(err, imaging.ErrUnsupported) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, raw := range map[string][]byte{
		"long":     {0xff, 0xff, 0xff, 0xff, 0, 0, 0, 0},
		"odd":      {0, 0, 0, 0, 1, 0, 0, 0, 9},
		"short":    {9, 0, 0, 0, 0, 0, 0, 0, '{'},
		"no JSON":  {1, 0, 0, 0, 0, 0, 0, 0, '!'},
		"pixels":   append([]byte{2, 0, 0, 0, 2, 0, 0, 0}, "{}ab"...),
		"bare end": {1, 0},
	} {
		if _, _, err := ReadRequest(bytes.NewReader(raw)); err == nil || err == io.EOF {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzReadRequest(f *testing.F) {
	var b bytes.Buffer
	WriteRequest(&b, Request{Version: Version, Kind: Needle, Columns: 16, Rows: 16, Frames: 1, BitsStored: 12}, make([]uint16, 256))
	f.Add(b.Bytes())
	f.Fuzz(func(t *testing.T, raw []byte) {
		q, pixels, err := ReadRequest(bytes.NewReader(raw))
		if err == nil && len(pixels) != q.Frames*q.Columns*q.Rows {
			t.Errorf("%d pixels for %+v", len(pixels), q)
		}
	})
}
