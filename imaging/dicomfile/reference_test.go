package dicomfile

import (
	"crypto/md5"
	"encoding/binary"
	"encoding/hex"
	"errors"
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

// Each compressed reference frame is refused by the name of its syntax.
func TestCompressedNamed(t *testing.T) {
	dir := reference(t)
	for file, name := range map[string]string{
		"XA1_RLE": "RLE", "XA1_JPLL": "JPEG Lossless", "XA1_JLSL": "JPEG-LS lossless", "XA1_J2KR": "JPEG 2000",
		"XA1_JLSN": "near-lossless", "XA1_J2KI": "JPEG 2000", "XA1_JPLY": "JPEG Extended",
	} {
		_, err := Open(filepath.Join(dir, file))
		if !errors.Is(err, imaging.ErrUnsupported) || !strings.Contains(err.Error(), name) || !strings.Contains(err.Error(), "decompress") {
			t.Errorf("%s: %v", file, err)
		}
	}
}
