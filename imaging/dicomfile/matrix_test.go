package dicomfile

import (
	"encoding/binary"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"leadline/imaging"
)

// matrixRow is an encoder, the decoder of its own toolkit for what it loses,
// and how many of the 24 frames it takes: 8, 10, 12 and 16 bits stored, signed
// and unsigned, 47 by 61, 53 by 1 and 1 by 37.
type matrixRow struct {
	encode []string
	decode []string // nil: lossless
	syntax string   // what the encoder must have made begins so, less "1.2.840.10008.1.2"
	most   int      // difference from the decoder
	near   int      // and from an unsigned frame; 0: any
	takes  int
}

var matrix = map[string]matrixRow{
	"dcmtk lossless":    {encode: []string{"dcmcjpeg", "+e1"}, syntax: ".4.70", takes: 24},
	"dcmtk predictor 1": {encode: []string{"dcmcjpeg", "+el", "+sv", "1"}, syntax: ".4.57", takes: 24},
	"dcmtk predictor 2": {encode: []string{"dcmcjpeg", "+el", "+sv", "2"}, syntax: ".4.57", takes: 24},
	"dcmtk predictor 3": {encode: []string{"dcmcjpeg", "+el", "+sv", "3"}, syntax: ".4.57", takes: 24},
	"dcmtk predictor 4": {encode: []string{"dcmcjpeg", "+el", "+sv", "4"}, syntax: ".4.57", takes: 24},
	"dcmtk predictor 5": {encode: []string{"dcmcjpeg", "+el", "+sv", "5"}, syntax: ".4.57", takes: 24},
	"dcmtk predictor 6": {encode: []string{"dcmcjpeg", "+el", "+sv", "6"}, syntax: ".4.57", takes: 24},
	"dcmtk predictor 7": {encode: []string{"dcmcjpeg", "+el", "+sv", "7"}, syntax: ".4.57", takes: 24},
	"dcmtk JPEG-LS":     {encode: []string{"dcmcjpls", "+el"}, syntax: ".4.80", takes: 24},
	"dcmtk RLE":         {encode: []string{"dcmcrle"}, syntax: ".5", takes: 24},
	"gdcm lossless":     {encode: []string{"gdcmconv", "--jpeg"}, syntax: ".4.70", takes: 24},
	"gdcm JPEG-LS":      {encode: []string{"gdcmconv", "--jpegls"}, syntax: ".4.80", takes: 24},
	// gdcm 3.0.21 stops at an odd number of bytes.
	"gdcm RLE": {encode: []string{"gdcmconv", "--rle"}, syntax: ".5", takes: 20},
	// It asks OpenJPEG for six resolutions, which a single row does not have.
	"gdcm JPEG 2000": {encode: []string{"gdcmconv", "--j2k"}, syntax: ".4.90", takes: 8},

	// The decoders' whole-number transforms round otherwise than the exact one
	// (T.81 A.3.3 leaves their accuracy open).
	"dcmtk baseline":          {encode: []string{"dcmcjpeg", "+eb"}, decode: []string{"dcmdjpeg"}, syntax: ".4.50", most: 1, takes: 24},
	"dcmtk extended, 8 bits":  {encode: []string{"dcmcjpeg", "+ee", "+be"}, decode: []string{"dcmdjpeg"}, syntax: ".4.51", most: 1, takes: 24},
	"dcmtk extended, 12 bits": {encode: []string{"dcmcjpeg", "+ee", "+bt"}, decode: []string{"dcmdjpeg"}, syntax: ".4.51", most: 1, takes: 24},
	// Near-lossless coding of signed samples, which goes by their bits as if they
	// were unsigned, is refused by dcmtk; of what gdcm makes of it, samples at one
	// end of the range come out at the other.
	"dcmtk near-lossless": {encode: []string{"dcmcjpls", "+en", "+md", "3"}, decode: []string{"dcmdjpls"}, syntax: ".4.81", near: 3, takes: 12},
	"gdcm near-lossless":  {encode: []string{"gdcmconv", "--jpegls", "--lossy", "-e", "3"}, decode: []string{"gdcmconv", "--raw"}, syntax: ".4.81", near: 3, takes: 24},
	// Of 16 bits allocated it makes streams of 16 bits a sample, which no DCT
	// process has (T.81 table B.2): they are refused.
	"gdcm lossy JPEG":      {encode: []string{"gdcmconv", "--jpeg", "--lossy", "-q", "85"}, decode: []string{"gdcmconv", "--raw"}, syntax: ".4.5", most: 1, takes: 6},
	"gdcm lossy JPEG 2000": {encode: []string{"gdcmconv", "--j2k", "--lossy", "-r", "5"}, decode: []string{"gdcmconv", "--raw"}, syntax: ".4.91", most: 1, takes: 8},
}

// Phantom-like frames of every depth, as dcmtk and gdcm encode them, against the
// values that went in, or for what is lost against the toolkit's own decoder.
func TestMatrix(t *testing.T) {
	for _, name := range []string{"dcmcjpeg", "dcmcjpls", "dcmcrle", "gdcmconv"} {
		tool(t, name)
	}
	dir := t.TempDir()
	python(t, filepath.Join("testdata", "matrix.py"), dir)
	plain, err := filepath.Glob(filepath.Join(dir, "*.dcm"))
	if err != nil || len(plain) != 24 {
		t.Fatalf("%d frames, want 24 (%v)", len(plain), err)
	}
	var mu sync.Mutex
	took := map[string]int{}
	t.Run("frames", func(t *testing.T) {
		for name, row := range matrix {
			for _, from := range plain {
				frame := strings.TrimSuffix(filepath.Base(from), ".dcm")
				t.Run(name+" "+frame, func(t *testing.T) {
					t.Parallel()
					if row.check(t, from) {
						mu.Lock()
						took[name]++
						mu.Unlock()
					}
				})
			}
		}
	})
	for name, row := range matrix {
		if took[name] != row.takes {
			t.Errorf("%s: %d frames compared, want %d", name, took[name], row.takes)
		}
	}
}

// check is one field of the matrix; false where the encoder takes no such frame.
func (row matrixRow) check(t *testing.T, from string) bool {
	packed, back := filepath.Join(t.TempDir(), "packed.dcm"), filepath.Join(t.TempDir(), "back.dcm")
	if exec.Command(row.encode[0], append(row.encode[1:len(row.encode):len(row.encode)], from, packed)...).Run() != nil {
		return false
	}
	if st, err := os.Stat(packed); err != nil || st.Size() == 0 {
		return false
	}
	f, err := Open(packed)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if syntax := f.Header.TransferSyntax; !strings.HasPrefix(syntax, "1.2.840.10008.1.2"+row.syntax) {
		t.Fatalf("made %s", syntax)
	}
	if _, err := f.Frame(1, 1); row.syntax == ".4.5" && f.Header.BitsAllocated == 16 && errors.Is(err, imaging.ErrUnsupported) {
		return false
	}
	got, original := samples(t, packed), values(t, strings.TrimSuffix(from, ".dcm")+".values")
	want := original
	if row.decode != nil {
		encode(t, row.decode, packed, back)
		want = allocated(t, back)
		h := f.Header
		lo, hi := 0, 1<<h.BitsStored-1
		if h.Signed {
			lo, hi = -1<<(h.BitsStored-1), 1<<(h.BitsStored-1)-1
		}
		for i, v := range want {
			want[i] = min(max(v, lo), hi)
		}
	}
	if len(got) != len(want) || len(got) != len(original) {
		t.Fatalf("%d samples, want %d", len(got), len(want))
	}
	for i := range got {
		if d := got[i] - want[i]; d < -row.most || d > row.most {
			t.Fatalf("at %d,%d: %d, want %d", i%f.Header.Columns, i/f.Header.Columns, got[i], want[i])
		}
		if d := got[i] - original[i]; row.near > 0 && !f.Header.Signed && (d < -row.near || d > row.near) {
			t.Fatalf("at %d,%d: %d, and %d was coded near-lossless", i%f.Header.Columns, i/f.Header.Columns, got[i], original[i])
		}
	}
	return true
}

// allocated are the samples of a file as a decoder wrote them, with bits beyond
// those stored: lossy codings overshoot, and what does is left out of range.
func allocated(t testing.TB, path string) (all []int) {
	t.Helper()
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	h := f.Header
	data = data[h.PixelData.Offset:][:f.frameBytes()]
	for ; len(data) > 0; data = data[h.BitsAllocated/8:] {
		switch v := binary.LittleEndian.Uint16(append(data[:1:1], data[h.BitsAllocated/8-1])); {
		case h.BitsAllocated == 8 && h.Signed:
			all = append(all, int(int8(data[0])))
		case h.BitsAllocated == 8:
			all = append(all, int(data[0]))
		case h.Signed:
			all = append(all, int(int16(v)))
		default:
			all = append(all, int(v))
		}
	}
	return all
}
