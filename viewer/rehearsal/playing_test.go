package rehearsal

import (
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging/dicomfile"
)

// longRun adds to a case a lateral run of 1024 by 1024 pixels of 16 bits at 30
// frames a second: the lateral film, a little brighter in each frame.
func longRun(b *testing.B, dir string, frames int) {
	b.Helper()
	f, err := dicomfile.Open(filepath.Join(dir, "lateral.dcm"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	film, err := f.Frame(1, 1)
	if err != nil {
		b.Fatal(err)
	}
	size := 2 * len(film.Samples)
	pixels := make([]byte, size)
	h := f.Header
	var ds dicom.Dataset
	for _, e := range []struct {
		t tag.Tag
		v any
	}{
		{tag.SOPClassUID, []string{h.SOPClass}}, {tag.SOPInstanceUID, []string{"2.25.77"}},
		{tag.StudyInstanceUID, []string{h.Study}}, {tag.SeriesInstanceUID, []string{"2.25.78"}},
		{tag.StudyDate, []string{h.StudyDate}}, {tag.AcquisitionDate, []string{h.AcquisitionDate}}, {tag.AcquisitionTime, []string{"080000"}},
		{tag.Modality, []string{"XA"}}, {tag.PatientName, []string{h.PatientName}}, {tag.PatientID, []string{h.PatientID}},
		{tag.PositionerPrimaryAngle, []string{"90"}}, {tag.PositionerSecondaryAngle, []string{"0"}},
		{tag.NumberOfFrames, []string{strconv.Itoa(frames)}}, {tag.FrameTime, []string{"33.333"}},
		{tag.FrameIncrementPointer, []int{0x0018, 0x1063}},
		{tag.SamplesPerPixel, []int{1}}, {tag.PhotometricInterpretation, []string{"MONOCHROME2"}},
		{tag.Rows, []int{film.Rows}}, {tag.Columns, []int{film.Columns}},
		{tag.BitsAllocated, []int{16}}, {tag.BitsStored, []int{12}}, {tag.HighBit, []int{11}}, {tag.PixelRepresentation, []int{0}},
		{tag.PixelData, dicom.PixelDataInfo{IntentionallyUnprocessed: true, UnprocessedValueData: pixels}},
	} {
		el, err := dicom.NewElement(e.t, e.v)
		if err != nil {
			b.Fatal(err)
		}
		if e.t == tag.PixelData {
			el.RawValueRepresentation = "OW"
		}
		ds.Elements = append(ds.Elements, el)
	}
	path := filepath.Join(dir, "long.dcm")
	if err := dicomfile.Write(path, ds); err != nil {
		b.Fatal(err)
	}
	// The pixel data are the file's last element: its length (PS3.5 7.1.2) and
	// the frames are put in one by one, not all held at once.
	out, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		b.Fatal(err)
	}
	defer out.Close()
	end, err := out.Seek(-int64(size), io.SeekEnd)
	if err != nil {
		b.Fatal(err)
	}
	if _, err := out.WriteAt(binary.LittleEndian.AppendUint32(nil, uint32(size*frames)), end-4); err != nil {
		b.Fatal(err)
	}
	for n := range frames {
		for i, s := range film.Samples {
			binary.LittleEndian.PutUint16(pixels[2*i:], min(s+uint16(n), 4095))
		}
		if _, err := out.Write(pixels); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkRun opens a case with a run of 300 frames, 1024 by 1024 of 16 bits,
// and prints how long after asking its first frame stands in the open viewer
// (from the key to the picture, by this side's clock, which looks every 2 ms),
// how many frames a second are shown of the run's 30 while it plays, and the
// most memory the viewer has held.
func BenchmarkRun(b *testing.B) {
	s := newStage(b, "1280x800")
	dir := copyCase(b)
	longRun(b, dir, 300)
	v := s.open(b.TempDir(), dir, "--observer", "hand")
	v.begin()
	v.press("Tab", "the lateral film", func(n seen) bool { return n.Focus == "lateral" })
	b.ResetTimer()
	var first, rate float64
	for range b.N {
		start := time.Now()
		v.xdotool("key", "--delay", "0", "Next") // round to the earliest
		for n, _ := v.now(); n.Panes[1].Bar[2] == 0 || !n.Panes[1].Ready; n, _ = v.now() {
			if time.Since(start) > patience {
				b.Fatal("no run")
			}
			time.Sleep(2 * time.Millisecond)
		}
		first += time.Since(start).Seconds() * 1000
		v.xdotool("key", "--delay", "0", "slash")
		n := v.until("plays", func(n seen) bool { return n.Panes[1].Playing })
		from := time.Now()
		time.Sleep(4 * time.Second)
		m, _ := v.now()
		rate += float64(m.Panes[1].Turned-n.Panes[1].Turned) / time.Since(from).Seconds()
		v.xdotool("key", "--delay", "0", "slash", "Prior")
		v.until("the film again", func(n seen) bool { return n.Panes[1].Bar[2] == 0 && n.Panes[1].Ready })
	}
	b.ReportMetric(first/float64(b.N), "ms/first-frame")
	b.ReportMetric(rate/float64(b.N), "frames/s")
	b.ReportMetric(peak(b, v.cmd.Process.Pid), "MB-peak")
	b.ReportMetric(0, "ns/op")
}

// peak is the most memory a process has held, in MB: VmHWM of its status
// (proc(5)), the run's file and the drivers of the screen with it.
func peak(b *testing.B, pid int) float64 {
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		b.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(data), "VmHWM:")
	kb, err := strconv.ParseFloat(strings.Fields(rest)[0], 64)
	if err != nil {
		b.Fatal(err)
	}
	return kb / 1024
}
