package dicomfile

import (
	"bytes"
	"errors"
	"io"
	"os"
	"testing"

	"leadline/imaging"
)

// FuzzOpen: whatever the bytes, an error of a known kind or a frame of the
// stated size. The corpus in testdata holds small images of every syntax and
// the hostile headers that limits_test.go makes.
func FuzzOpen(f *testing.F) {
	var b bytes.Buffer
	if err := Encode(&b, sample(f, 4, 2, 2)); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	_, streams := three()
	split := halves(streams)
	f.Add(newRaw(jpegLossless).image(5, 4, "3 ").fragmented(starts(split, 2), split...).Bytes())
	f.Add(newRaw(jpegLossless).image(5, 4, "3 ").extended([]uint64{0, 9, 99}, nil).fragmented(nil, split...).Bytes())
	f.Fuzz(func(t *testing.T, data []byte) {
		file, err := New(bytes.NewReader(data), int64(len(data)), "fuzz")
		if err != nil {
			if !errors.Is(err, imaging.ErrNotDICOM) && !errors.Is(err, imaging.ErrDamaged) && !errors.Is(err, imaging.ErrUnsupported) {
				t.Fatalf("error of no kind: %v", err)
			}
			return
		}
		defer file.Close()
		h := file.Header
		if h.Columns < 1 || h.Rows < 1 || h.Frames < 1 || h.BitsStored < 1 || h.BitsStored > 16 {
			t.Fatalf("taken with %d by %d, %d frames, %d bits", h.Columns, h.Rows, h.Frames, h.BitsStored)
		}
		// A frame of which the file says more than it holds is not worth its memory here.
		if int64(h.Columns)*int64(h.Rows) > 1<<20 {
			return
		}
		file.Frame(h.Frames, h.Frames)
		fr, err := file.Frame(1, 1)
		if err != nil {
			if !errors.Is(err, imaging.ErrDamaged) && !errors.Is(err, imaging.ErrUnsupported) {
				t.Fatalf("error of no kind: %v", err)
			}
			return
		}
		for _, s := range fr.Samples {
			if int(s) >= 1<<h.BitsStored {
				t.Fatalf("sample %d of %d bits", s, h.BitsStored)
			}
		}
	})
}

// Reading through an unreliable source gives its error, and no panic.
func TestSourceFails(t *testing.T) {
	var b bytes.Buffer
	if err := Encode(&b, sample(t, 4, 2, 2)); err != nil {
		t.Fatal(err)
	}
	for limit := range b.Len() {
		_, err := New(failing{bytes.NewReader(b.Bytes()), int64(limit)}, int64(b.Len()), "failing")
		if err != nil && !errors.Is(err, os.ErrPermission) && !errors.Is(err, imaging.ErrDamaged) && !errors.Is(err, imaging.ErrNotDICOM) {
			t.Fatalf("%d: %v", limit, err)
		}
	}
}

// failing cannot read beyond byte limit.
type failing struct {
	io.ReaderAt
	limit int64
}

func (f failing) ReadAt(p []byte, off int64) (int, error) {
	if off+int64(len(p)) <= f.limit {
		return f.ReaderAt.ReadAt(p, off)
	}
	n, _ := f.ReaderAt.ReadAt(p[:max(0, f.limit-off)], off)
	return n, os.ErrPermission
}
