package dicomfile

import (
	"bytes"
	"encoding/binary"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The frames that pydicom ships. Those of other classes are called secondary
// captures first; the MR frame is there uncompressed as well, and of the two
// lossy ones the samples are what dcmtk decodes, give or take a rounding.
func TestShippedFrames(t *testing.T) {
	folder := strings.TrimSpace(string(python(t, "-c",
		"import os, pydicom.data; print(os.path.join(os.path.dirname(pydicom.data.__file__), 'test_files'))")))
	for _, c := range []struct {
		file, plain string
		most        int
	}{
		{"MR_small_RLE.dcm", "MR_small.dcm", 0},
		{"JPEG-lossy.dcm", "", 1},
		{"JPGExtended.dcm", "", 1},
	} {
		t.Run(c.file, func(t *testing.T) {
			capture := func(name string) string {
				data, err := os.ReadFile(filepath.Join(folder, name))
				if err != nil {
					t.Skipf("%s is not shipped here", name)
				}
				path := filepath.Join(t.TempDir(), name)
				if err := os.WriteFile(path, data, 0o600); err != nil {
					t.Fatal(err)
				}
				modify(t, path, "-m", "(0008,0016)=1.2.840.10008.5.1.4.1.1.7")
				return path
			}
			packed := capture(c.file)
			plain := filepath.Join(t.TempDir(), "plain.dcm")
			if c.plain != "" {
				plain = capture(c.plain)
			} else {
				encode(t, []string{"dcmdjpeg"}, packed, plain)
			}
			got, want := samples(t, packed), samples(t, plain)
			if len(got) != len(want) {
				t.Fatalf("%d samples, want %d", len(got), len(want))
			}
			for i := range got {
				if d := got[i] - want[i]; d < -c.most || d > c.most {
					t.Fatalf("sample %d: %d, want %d", i, got[i], want[i])
				}
			}
		})
	}
}

// Samples as they are, each frame in a fragment (PS3.5 A.4.11), padded to even
// length.
func TestEncapsulatedUncompressed(t *testing.T) {
	var fragments [][]byte
	for n := range 3 {
		var b []byte
		for i := range 20 {
			b = binary.LittleEndian.AppendUint16(b, 0xf000|uint16(100*n+i)) // the top bits hold no sample
		}
		fragments = append(fragments, append(b, 0, 0))
	}
	for _, offsets := range [][]uint32{nil, starts(fragments, 1)} {
		r := newRaw("1.2.840.10008.1.2.1.98").image(5, 4, "3 ").fragmented(offsets, fragments...)
		f, err := New(bytes.NewReader(r.Bytes()), int64(r.Len()), "uncompressed")
		if err != nil {
			t.Fatal(err)
		}
		for n := 3; n >= 1; n-- {
			fr, err := f.Frame(n, n)
			if err != nil || fr.Value(3, 2) != 100*(n-1)+13 {
				t.Errorf("frame %d: %v", n, err)
			}
		}
	}
}
