package dicomfile

import (
	"bytes"
	"encoding/binary"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"leadline/imaging"
	"leadline/imaging/codec"
)

// three are three frames of 5 by 4 and their streams.
func three() (frames [3][]uint16, streams [3][]byte) {
	for n := range 3 {
		for i := range 20 {
			frames[n] = append(frames[n], uint16(1000*n+37*i*i)&0xfff)
		}
		streams[n] = losslessStream(frames[n], 5, 12, 1+n, 0, 0)
	}
	return frames, streams
}

// halves cuts each stream in two fragments.
func halves(streams [3][]byte) (fragments [][]byte) {
	for _, s := range streams {
		s = even(s)
		n := len(s) / 4 * 2
		fragments = append(fragments, s[:n], s[n:])
	}
	return fragments
}

// starts are the offsets of every step-th fragment's item (PS3.5 A.4).
func starts(fragments [][]byte, step int) (offsets []uint32) {
	at := uint32(0)
	for i, f := range fragments {
		if i%step == 0 {
			offsets = append(offsets, at)
		}
		at += 8 + uint32(len(f))
	}
	return offsets
}

// extended appends an Extended Offset Table (PS3.3 C.7.6.3.1.8), with lengths.
func (r *raw) extended(offsets, lengths []uint64) *raw {
	for i, list := range [][]uint64{offsets, lengths} {
		r.head(0x7fe0, uint16(1+i), "OV", uint32(8*len(list)))
		for _, v := range list {
			r.Write(binary.LittleEndian.AppendUint64(nil, v))
		}
	}
	return r
}

// Frames are put together as PS3.5 A.4 and annex A.4 table A.4-1 show: one
// fragment or several a frame, with a table of offsets, without one, with one
// that is wrong.
func TestFragments(t *testing.T) {
	frames, streams := three()
	whole := [][]byte{even(streams[0]), even(streams[1]), even(streams[2])}
	split := halves(streams)
	padded := [][]byte{}
	for _, f := range whole {
		padded = append(padded, append(slices.Clone(f), make([]byte, 10)...))
	}
	uneven := slices.Concat(split[:2], [][]byte{whole[1]}, split[4:])
	wide := []uint64{}
	lengths := []uint64{}
	for i, o := range starts(padded, 1) {
		wide, lengths = append(wide, uint64(o)), append(lengths, uint64(len(streams[i])))
	}
	image := func() *raw { return newRaw(jpegLossless).image(5, 4, "3 ") }
	for name, r := range map[string]*raw{
		"one each, table":            image().fragmented(starts(whole, 1), whole...),
		"one each, no table":         image().fragmented(nil, whole...),
		"two each, table":            image().fragmented(starts(split, 2), split...),
		"two each, no table":         image().fragmented(nil, split...),
		"uneven, no table":           image().fragmented(nil, uneven...),
		"padded":                     image().fragmented(starts(padded, 1), padded...),
		"extended table":             image().extended(wide, lengths).fragmented(nil, padded...),
		"extended table, no lengths": image().extended(wide, nil).fragmented(nil, padded...),
		"extended table, wrong":      image().extended([]uint64{0, 1 << 63, 1 << 62}, lengths).fragmented(nil, padded...),
		"table of zeros":             image().fragmented([]uint32{0, 0, 0}, split...),
		"table without heads":        image().fragmented([]uint32{0, uint32(len(whole[0])), uint32(len(whole[0]) + len(whole[1]))}, whole...),
		"table of one":               image().fragmented([]uint32{0}, split...),
		"table beyond the end":       image().fragmented([]uint32{0, 1 << 30, 1 << 31}, split...),
		"no delimiter":               {*bytes.NewBuffer(bytes.TrimSuffix(image().fragmented(nil, split...).Bytes(), []byte("\xfe\xff\xdd\xe0\x00\x00\x00\x00")))},
	} {
		f, err := New(bytes.NewReader(r.Bytes()), int64(r.Len()), name)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for _, n := range []int{3, 1, 2} {
			fr, err := f.Frame(n, n)
			if err != nil {
				t.Errorf("%s: %v", name, err)
			} else if !slices.Equal(fr.Samples, frames[n-1]) {
				t.Errorf("%s: frame %d: %v, want %v", name, n, fr.Samples, frames[n-1])
			}
		}
	}
	// One frame takes all fragments, whatever the table says.
	for name, r := range map[string]*raw{
		"no table": newRaw(jpegLossless).image(5, 4, "1 ").fragmented(nil, split[:2]...),
		"table":    newRaw(jpegLossless).image(5, 4, "1 ").fragmented([]uint32{0}, split[:2]...),
		"wrong":    newRaw(jpegLossless).image(5, 4, "1 ").fragmented([]uint32{0, 20}, split[:2]...),
	} {
		f, err := New(bytes.NewReader(r.Bytes()), int64(r.Len()), name)
		if err != nil {
			t.Fatal(err)
		}
		if fr, err := f.Frame(1, 1); err != nil || !slices.Equal(fr.Samples, frames[0]) {
			t.Errorf("a single frame, %s: %v", name, err)
		}
	}
}

// What cannot be put together says why.
func TestFragmentsRefused(t *testing.T) {
	_, streams := three()
	whole := [][]byte{even(streams[0]), even(streams[1]), even(streams[2])}
	for name, c := range map[string]struct {
		r    *raw
		says string
	}{
		"native":         {newRaw(jpegLossless).image(5, 4, "1 ").element(0x7fe0, 0x0010, "OW", strings.Repeat("ab", 20)), "not in fragments"},
		"no items":       {newRaw(jpegLossless).image(5, 4, "1 ").head(0x7fe0, 0x0010, "OB", undefinedLength).head(0x7fe1, 0, "UN", 0), "byte"},
		"no fragments":   {newRaw(jpegLossless).image(5, 4, "1 ").fragmented(nil), "no fragments"},
		"fewer":          {newRaw(jpegLossless).image(5, 4, "5 ").fragmented(nil, whole...), "do not tell"},
		"fewer, RLE":     {newRaw("1.2.840.10008.1.2.5").image(5, 4, "5 ").fragmented(nil, whole...), "3 of 5"},
		"no stream":      {newRaw(jpegLossless).image(5, 4, "2 ").fragmented(nil, []byte("ab"), []byte("cd"), []byte("ef")), "do not tell"},
		"unbounded item": {newRaw(jpegLossless).image(5, 4, "1 ").head(0x7fe0, 0x0010, "OB", undefinedLength).head(0xfffe, 0xe000, "", 0).head(0xfffe, 0xe000, "", undefinedLength), "without a length"},
		"item of 4 GiB":  {newRaw(jpegLossless).image(5, 4, "1 ").head(0x7fe0, 0x0010, "OB", undefinedLength).head(0xfffe, 0xe000, "", 0).head(0xfffe, 0xe000, "", 0xfffffff0), "ends"},
		"table of 4 GiB": {newRaw(jpegLossless).image(5, 4, "1 ").head(0x7fe0, 0x0010, "OB", undefinedLength).head(0xfffe, 0xe000, "", 0xfffffff0), "byte"},
		"rubbish":        {newRaw(jpegLossless).image(5, 4, "1 ").fragmented(nil, []byte("rubbish.")), "copy the file again"},
		"far too much":   {newRaw(jpegLossless).image(5, 4, "1 ").fragmented(nil, make([]byte, 2<<20)), "far more"},
		"far too little": {newRaw(jpegLossless).image(11000, 11000, "1 ").fragmented(nil, whole[0]), "11000 by 11000"},
	} {
		f, err := New(bytes.NewReader(c.r.Bytes()), int64(c.r.Len()), "refused")
		if err == nil {
			_, err = f.Frame(f.Header.Frames, f.Header.Frames)
		}
		if !errors.Is(err, imaging.ErrDamaged) || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A frame of a run with a table of offsets is read without a look at the others.
func TestFragmentsLazily(t *testing.T) {
	_, streams := three()
	var fragments [][]byte
	for range 1000 {
		fragments = append(fragments, even(streams[0]), even(streams[1]), even(streams[2]))
	}
	r := newRaw(jpegLossless).image(5, 4, "3000").fragmented(starts(fragments, 1), fragments...)
	c := &counting{ReaderAt: bytes.NewReader(r.Bytes())}
	f, err := New(c, int64(r.Len()), "run")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Frame(2, 2); err != nil { // the table is read through once
		t.Fatal(err)
	}
	c.n.Store(0)
	if _, err := f.Frame(1500, 1500); err != nil {
		t.Fatal(err)
	}
	if n := c.n.Load(); n > 200 {
		t.Errorf("a frame of %d bytes took %d", len(streams[0]), n)
	}
}

// Files in every coding, cut at 500 lengths each, give an error or frames that
// are wholly right.
func TestCutShortPacked(t *testing.T) {
	dir, _ := fixtures(t)
	for name, command := range map[string][]string{
		"RLE":                 {"dcmcrle"},
		"lossless":            {"dcmcjpeg", "+e1"},
		"lossless, no table":  {"dcmcjpeg", "+e1", "+fs", "1", "-ot"},
		"baseline":            {"dcmcjpeg", "+eb"},
		"extended, fragments": {"dcmcjpeg", "+ee", "+fs", "1"},
		"JPEG-LS":             {"dcmcjpls", "+el"},
		"near-lossless":       {"dcmcjpls", "+en", "+fs", "1"},
	} {
		path := filepath.Join(t.TempDir(), "image.dcm")
		encode(t, command, filepath.Join(dir, "film16-12u.dcm"), path)
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		want := samples(t, path)
		whole := 0
		for i := range 500 {
			n := len(data) * i / 500
			if i > 400 { // the last bytes one by one
				n = len(data) - (500 - i)
			}
			f, err := New(bytes.NewReader(data[:n]), int64(n), "cut")
			if err != nil {
				if !errors.Is(err, imaging.ErrNotDICOM) && !errors.Is(err, imaging.ErrDamaged) {
					t.Fatalf("%s cut at %d: error of no kind: %v", name, n, err)
				}
				continue
			}
			for k := 1; k <= f.Header.Frames; k++ {
				fr, err := f.Frame(k, k)
				if err != nil {
					if !errors.Is(err, imaging.ErrDamaged) {
						t.Fatalf("%s cut at %d, frame %d: %v", name, n, k, err)
					}
					continue
				}
				whole++
				for j, s := range fr.Samples {
					if f.Header.StoredValue(s) != want[(k-1)*len(fr.Samples)+j] {
						t.Fatalf("%s cut at %d: frame %d is wrong at sample %d", name, n, k, j)
					}
				}
			}
		}
		if whole == 0 {
			t.Errorf("%s: no frame was read of a file cut within a later one", name)
		}
		cutStreams(t, name, path, want)
	}
}

// cutStreams cuts the stream of the first frame at every length, in a file that
// is otherwise whole.
func cutStreams(t *testing.T, name, path string, want []int) {
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	stream, err := f.parts.frame(1, 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	h := f.Header
	l := codec.Layout{Columns: h.Columns, Rows: h.Rows, BitsAllocated: h.BitsAllocated, BitsStored: h.BitsStored, HighBit: h.HighBit, Signed: h.Signed}
	whole := 0
	for n := range len(stream) + 1 {
		dst := make([]uint16, h.Columns*h.Rows)
		if err := f.syntax.Decode(dst, stream[:n], l); err != nil {
			if !errors.Is(err, imaging.ErrDamaged) {
				t.Fatalf("%s, stream cut at %d: error of no kind: %v", name, n, err)
			}
			continue
		}
		whole++
		for i, s := range dst {
			if h.StoredValue(s) != want[i] {
				t.Fatalf("%s, stream cut at %d of %d: sample %d is wrong", name, n, len(stream), i)
			}
		}
	}
	if whole == 0 || whole > 4 { // the end marker and the padding may be gone
		t.Errorf("%s: %d of %d lengths gave a frame", name, whole, len(stream)+1)
	}
}

// Streams with restart markers, which no DICOM tool at hand writes: OpenCV
// writes and reads them.
func TestBaselineRestarts(t *testing.T) {
	dir := t.TempDir()
	if exec.Command(tool(t, "/usr/bin/python3"), "-c", "import cv2").Run() != nil && os.Getenv("LEADLINE_REQUIRE_TOOLS") != "1" {
		t.Skip("OpenCV is not installed")
	}
	python(t, "-c", `
import cv2, numpy as np, sys
y, x = np.mgrid[0:61, 0:83]
image = np.clip(128 + 100 * np.sin(x / 7.0) * np.cos(y / 11.0) + np.random.default_rng(1).normal(0, 4, x.shape), 0, 255).astype(np.uint8)
for restart in (1, 4, 11, 30):
    ok, stream = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 92, cv2.IMWRITE_JPEG_RST_INTERVAL, restart])
    assert b"\xff\xdd" in stream.tobytes()
    stream.tofile("%s/%d.jpg" % (sys.argv[1], restart))
    cv2.imdecode(stream, cv2.IMREAD_UNCHANGED).tofile("%s/%d.raw" % (sys.argv[1], restart))
`, dir)
	for _, name := range []string{"1", "4", "11", "30"} {
		stream, err := os.ReadFile(filepath.Join(dir, name+".jpg"))
		if err != nil {
			t.Fatal(err)
		}
		want, err := os.ReadFile(filepath.Join(dir, name+".raw"))
		if err != nil {
			t.Fatal(err)
		}
		r := newRaw("1.2.840.10008.1.2.4.50").wide(83, 61, "1 ", 8).fragmented(nil, even(stream))
		f, err := New(bytes.NewReader(r.Bytes()), int64(r.Len()), "restarts")
		if err != nil {
			t.Fatal(err)
		}
		fr, err := f.Frame(1, 1)
		if err != nil {
			t.Fatalf("restart interval %s: %v", name, err)
		}
		for i, s := range fr.Samples {
			if d := int(s) - int(want[i]); d < -1 || d > 1 {
				t.Fatalf("restart interval %s: sample %d is %d, want %d", name, i, s, want[i])
			}
		}
	}
}
