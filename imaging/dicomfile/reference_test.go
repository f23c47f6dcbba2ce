package dicomfile

import (
	"bytes"
	"crypto/md5"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"leadline/imaging"
)

// reference is the folder of published reference frames.
func reference(t testing.TB) string {
	dir := os.Getenv("LEADLINE_REFERENCE")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "data")
	}
	dir = filepath.Join(dir, "wg04-xa1")
	if _, err := os.Stat(dir); err != nil {
		t.Skip("the reference frames are not here; set LEADLINE_REFERENCE to their folder")
	}
	return dir
}

// The MD5 of the samples, minimum, maximum and sum are those published beside
// the DICOM compression working group's sample XA1, taken with gdcm and dcmtk.
func TestReferenceFrame(t *testing.T) {
	path := filepath.Join(reference(t), "XA1_UNC")
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	fr, err := f.Frame(1, 1)
	if err != nil {
		t.Fatal(err)
	}
	var raw []byte
	sum, lo, hi := 0, 1<<16, 0
	for _, s := range fr.Samples {
		raw = binary.LittleEndian.AppendUint16(raw, s)
		sum, lo, hi = sum+int(s), min(lo, int(s)), max(hi, int(s))
	}
	digest := md5.Sum(raw)
	if got := hex.EncodeToString(digest[:]); got != "6111657e6b01ec7b243d63f5dec6ec48" || sum != 112478027 || lo != 0 || hi != 504 {
		t.Errorf("md5 %s, sum %d, from %d to %d", got, sum, lo, hi)
	}
	h := f.Header
	// Read with dcmdump.
	if h.PatientName != "CompressedSamples^XA1" || h.Modality != "XA" || h.BitsStored != 10 || h.Base.Kind != imaging.KindSC || h.AcquisitionDate != "20040826" || h.AcquisitionTime != "185059" {
		t.Errorf("header %+v", h)
	}
	if h.Base.PixelSpacing.Known || h.Base.ImagerSpacing.Known {
		t.Error("a spacing where the header has none")
	}
}

// The compressed forms of the frame: the lossless ones are the frame itself, of
// the lossy ones the largest and the mean difference are published beside them.
// Another inverse transform may round a sample differently by 1.
func TestReferenceCompressed(t *testing.T) {
	dir := reference(t)
	want := samples(t, filepath.Join(dir, "XA1_UNC"))
	for _, c := range []struct {
		file    string
		largest int
		mean    float64
	}{
		{"XA1_RLE", 0, 0},
		{"XA1_JPLL", 0, 0},
		{"XA1_JLSL", 0, 0},
		{"XA1_JLSN", 4, 1.9626},
		{"XA1_J2KR", 0, 0},
		{"XA1_J2KI", 8, 1.1373},
		{"XA1_JPLY", 116, 2.1655},
	} {
		got := samples(t, filepath.Join(dir, c.file))
		largest, sum := 0, 0
		for i := range want {
			d := got[i] - want[i]
			d = max(d, -d)
			largest, sum = max(largest, d), sum+d
		}
		rounding := min(1, c.largest)
		if mean := float64(sum) / float64(len(want)); largest > c.largest+rounding || largest < c.largest-rounding || math.Abs(mean-c.mean) > 0.005 {
			t.Errorf("%s: differs by up to %d, by %.4f on average; %d and %.4f are published", c.file, largest, mean, c.largest, c.mean)
		}
	}
}

// What cannot be decoded is refused by the name of its syntax, with what to do.
func TestCompressedNamed(t *testing.T) {
	for uid, said := range map[string][2]string{
		"1.2.840.10008.1.2.4.93":  {"JPEG 2000 Part 2", "decompress"},
		"1.2.840.10008.1.2.4.102": {"H.264", "export the run"},
	} {
		r := newRaw(uid).image(4, 2, "1 ").head(0x7fe0, 0x0010, "OB", undefinedLength)
		_, err := New(bytes.NewReader(r.Bytes()), int64(r.Len()), "x")
		if !errors.Is(err, imaging.ErrUnsupported) || !strings.Contains(err.Error(), said[0]) || !strings.Contains(err.Error(), said[1]) {
			t.Errorf("%s: %v", uid, err)
		}
	}
}
