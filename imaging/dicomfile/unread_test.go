package dicomfile

import (
	"bytes"
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"leadline/imaging"
)

// Pixel data that are not read are refused by the name of their syntax, with
// what to do instead: retired ones that dcmtk still writes, and headers that
// state the others (PS3.6 table A-1).
func TestUnreadSyntaxes(t *testing.T) {
	dir, _ := fixtures(t)
	refused := func(name string, err error, says ...string) {
		t.Helper()
		if !errors.Is(err, imaging.ErrUnsupported) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
			return
		}
		for _, s := range says {
			if !strings.Contains(err.Error(), s) {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
	for option, name := range map[string]string{"+es": "Spectral Selection (Process 6 and 8)", "+ep": "Full Progression (Process 10 and 12)"} {
		path := filepath.Join(t.TempDir(), "image.dcm")
		encode(t, []string{"dcmcjpeg", option}, filepath.Join(dir, "film8-8u.dcm"), path)
		_, err := Open(path)
		refused(option, err, name, "decompress the file")
	}
	for syntax, says := range map[string][]string{
		"1.2.840.10008.1.2.4.66":    {"JPEG Lossless, Hierarchical, arithmetic", "decompress the file"},
		"1.2.840.10008.1.2.4.58":    {"arithmetic", "decompress the file"},
		"1.2.840.10008.1.2.4.94":    {"JPIP", "export the file again"},
		"1.2.840.10008.1.2.4.95":    {"JPIP", "export the file again"},
		"1.2.840.10008.1.2.4.103":   {"H.264", "single images"},
		"1.2.840.10008.1.2.4.100.1": {"MPEG2", "fragmentable", "single images"},
		"1.2.840.10008.1.2.4.107":   {"H.265", "single images"},
		"1.2.840.10008.1.2.4.112":   {"JPEG XL", "decompress the file"},
		"1.2.840.10008.1.2.4.203":   {"High-Throughput JPEG 2000", "decompress the file"},
		"1.2.840.10008.1.2.7.1":     {"SMPTE ST 2110-20", "export the images"},
		"1.2.840.10008.1.2.6.2":     {"XML", "export the images"},
		"1.2.840.10008.1.20":        {"Papyrus", "export the images"},
		"1.2.840.10008.1.2.4.999":   {"is not known", "convert the file"},
	} {
		r := newRaw(syntax).image(4, 4, "1 ").fragmented(nil, []byte{1, 2, 3, 4})
		_, err := New(bytes.NewReader(r.Bytes()), int64(r.Len()), "image")
		refused(syntax, err, append(says, syntax)...)
	}
}
