package intake_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/frame"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging/dicomfile"
	"leadline/imaging/intake"
)

// BenchmarkOpen opens a case of twelve single frames and two runs of twenty,
// 1024 by 1024 by 16 bits, up to the first frame of a run: from a folder, an
// archive that stores it, and one that deflates it.
func BenchmarkOpen(b *testing.B) {
	dir := filepath.Join(b.TempDir(), "case")
	if err := os.Mkdir(dir, 0o755); err != nil {
		b.Fatal(err)
	}
	var plain, tight []packed
	for i := range 14 {
		content := noisy(b, fmt.Sprintf("2.25.%d", i+1), 1024, 1+19*(i/12))
		name := fmt.Sprintf("IM%02d", i+1)
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			b.Fatal(err)
		}
		plain, tight = append(plain, stored(name, content)), append(tight, deflated(name, content))
	}
	pack(b, dir+"-stored.zip", plain...)
	pack(b, dir+"-deflated.zip", tight...)
	for _, path := range []string{dir, dir + "-stored.zip", dir + "-deflated.zip"} {
		b.Run(filepath.Base(path), func(b *testing.B) {
			for b.Loop() {
				c, err := intake.Open(path)
				if err != nil {
					b.Fatal(err)
				}
				if _, err := c.File("2.25.13").Frame(1, 1); err != nil {
					b.Fatal(err)
				}
				if err := c.Close(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// noisy is a film of so many square frames of 12 bits, noise over a slope.
func noisy(b testing.TB, uid string, side, frames int) []byte {
	random := rand.New(rand.NewPCG(1, 2))
	var info dicom.PixelDataInfo
	for range frames {
		native := frame.NewNativeFrame[uint16](16, side, side, side*side, 1)
		for i := range native.RawData {
			native.RawData[i] = uint16(i%side + random.IntN(64))
		}
		info.Frames = append(info.Frames, &frame.Frame{NativeData: native})
	}
	var ds dicom.Dataset
	for t, v := range map[tag.Tag]any{
		tag.SOPClassUID: []string{classXA}, tag.SOPInstanceUID: []string{uid}, tag.StudyInstanceUID: []string{"2.25.1000"},
		tag.Rows: []int{side}, tag.Columns: []int{side}, tag.SamplesPerPixel: []int{1}, tag.PhotometricInterpretation: []string{"MONOCHROME2"},
		tag.BitsAllocated: []int{16}, tag.BitsStored: []int{12}, tag.HighBit: []int{11}, tag.PixelRepresentation: []int{0},
		tag.NumberOfFrames: []string{fmt.Sprint(frames)}, tag.PixelData: info,
	} {
		e, err := dicom.NewElement(t, v)
		if err != nil {
			b.Fatal(err)
		}
		ds.Elements = append(ds.Elements, e)
	}
	var out bytes.Buffer
	if err := dicomfile.Encode(&out, ds); err != nil {
		b.Fatal(err)
	}
	return out.Bytes()
}
