package dicomfile

import (
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// The published frame thirty times over in each coding: what a frame takes
// here, and what it takes the toolkits, start-up left out: thirty frames' time
// less one frame's. The toolkits write what they decode to a file.
func BenchmarkPacked(b *testing.B) {
	source := filepath.Join(reference(b), "XA1_UNC")
	dir := b.TempDir()
	const frames = 30
	plain := filepath.Join(dir, "plain.dcm")
	python(b, "-c", `
import pydicom, sys
d = pydicom.dcmread(sys.argv[1])
d.file_meta.MediaStorageSOPClassUID = d.SOPClassUID = "1.2.840.10008.5.1.4.1.1.7.3"
d.NumberOfFrames = int(sys.argv[3])
d.PixelData = d.PixelData * d.NumberOfFrames
d.save_as(sys.argv[2])`, source, plain, "30")
	for _, c := range []struct {
		name   string
		encode []string
		decode [][]string
	}{
		{"RLE", []string{"dcmcrle"}, [][]string{{"dcmdrle"}, {"gdcmconv", "--raw"}}},
		{"lossless", []string{"dcmcjpeg", "+e1"}, [][]string{{"dcmdjpeg"}, {"gdcmconv", "--raw"}}},
		{"extended", []string{"dcmcjpeg", "+ee", "+bt"}, [][]string{{"dcmdjpeg"}, {"gdcmconv", "--raw"}}},
		{"JPEG-LS", []string{"dcmcjpls", "+el"}, [][]string{{"dcmdjpls"}, {"gdcmconv", "--raw"}}},
		{"near-lossless", []string{"dcmcjpls", "+en"}, [][]string{{"dcmdjpls"}, {"gdcmconv", "--raw"}}},
		{"JPEG 2000", []string{"gdcmconv", "--j2k"}, [][]string{{"gdcmconv", "--raw"}}},
		{"JPEG 2000 lossy", []string{"gdcmconv", "--j2k", "--lossy", "-r", "10"}, [][]string{{"gdcmconv", "--raw"}}},
		{"baseline", []string{"dcmcjpeg", "+eb"}, [][]string{{"dcmdjpeg"}, {"gdcmconv", "--raw"}}},
	} {
		run, one := filepath.Join(dir, c.name), filepath.Join(dir, c.name+"1")
		encode(b, c.encode, plain, run)
		encode(b, c.encode, source, one)
		b.Run(c.name+"/leadline", func(b *testing.B) {
			f, err := Open(run)
			if err != nil {
				b.Fatal(err)
			}
			defer f.Close()
			n := 0
			for b.Loop() {
				if _, err := f.Frame(n%frames+1, n%frames+1); err != nil {
					b.Fatal(err)
				}
				n++
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(n), "ns/frame")
		})
		for _, decode := range c.decode {
			b.Run(c.name+"/"+decode[0], func(b *testing.B) {
				took := func(path string) time.Duration {
					args := append(append([]string(nil), decode[1:]...), path, filepath.Join(dir, "decoded"))
					start := time.Now()
					if out, err := exec.Command(tool(b, decode[0]), args...).CombinedOutput(); err != nil {
						b.Fatalf("%v: %s", err, out)
					}
					return time.Since(start)
				}
				var all, single time.Duration
				n := 0
				for b.Loop() {
					all, single, n = all+took(run), single+took(one), n+1
				}
				b.ReportMetric(float64((all-single).Nanoseconds())/float64(n*(frames-1)), "ns/frame")
			})
		}
	}
}
