package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"leadline/imaging/dicomfile"
)

// coding is a transfer syntax in the race: who encodes it, and which programs
// of dcmtk and gdcm decode it; "": that toolkit does not.
type coding struct {
	name        string
	encode      []string
	dcmtk, gdcm []string
	run         bool // a long run of it is measured as well
}

var codings = []coding{
	{"deflated", []string{"dcmconv", "+td"}, []string{"dcmconv", "+te"}, nil, false},
	{"RLE", []string{"dcmcrle"}, []string{"dcmdrle"}, []string{"gdcmconv", "--raw"}, true},
	{"JPEG baseline", []string{"dcmcjpeg", "+eb"}, []string{"dcmdjpeg"}, []string{"gdcmconv", "--raw"}, true},
	{"JPEG extended", []string{"dcmcjpeg", "+ee", "+bt"}, []string{"dcmdjpeg"}, []string{"gdcmconv", "--raw"}, false},
	{"JPEG lossless", []string{"dcmcjpeg", "+e1"}, []string{"dcmdjpeg"}, []string{"gdcmconv", "--raw"}, true},
	{"JPEG-LS", []string{"dcmcjpls", "+el"}, []string{"dcmdjpls"}, []string{"gdcmconv", "--raw"}, true},
	{"JPEG-LS near", []string{"dcmcjpls", "+en"}, []string{"dcmdjpls"}, []string{"gdcmconv", "--raw"}, false},
	{"JPEG 2000", []string{"gdcmconv", "--j2k"}, nil, []string{"gdcmconv", "--raw"}, false},
	{"JPEG 2000 lossy", []string{"gdcmconv", "--j2k", "--lossy", "-r", "10"}, nil, []string{"gdcmconv", "--raw"}, false},
}

// race holds what all benchmarks of decoding need.
type race struct {
	b               *testing.B
	program, folder string
	source, thirty  string // the published frame, and thirty times it
}

const raceFrames = 30

func newRace(b *testing.B) *race {
	folder := os.Getenv("LEADLINE_REFERENCE")
	if folder == "" {
		folder = filepath.Join("..", "..", "..", "shared", "data")
	}
	r := &race{b: b, folder: b.TempDir(), source: filepath.Join(folder, "wg04-xa1", "XA1_UNC")}
	if _, err := os.Stat(r.source); err != nil {
		b.Skip("the reference frames are not here; set LEADLINE_REFERENCE to their folder")
	}
	r.program = filepath.Join(r.folder, "leadline")
	r.must("go", "build", "-o", r.program, ".")
	r.thirty = filepath.Join(r.folder, "thirty.dcm")
	r.must("/usr/bin/python3", "-c", `
import pydicom, sys
d = pydicom.dcmread(sys.argv[1])
d.file_meta.MediaStorageSOPClassUID = d.SOPClassUID = "1.2.840.10008.5.1.4.1.1.7.3"
d.NumberOfFrames = int(sys.argv[3])
d.PixelData = d.PixelData * d.NumberOfFrames
d.save_as(sys.argv[2])`, r.source, r.thirty, fmt.Sprint(raceFrames))
	return r
}

// must runs a command and gives its process as it ended.
func (r *race) must(command ...string) *os.ProcessState {
	r.b.Helper()
	cmd := exec.Command(command[0], command[1:]...)
	if out, err := cmd.CombinedOutput(); err != nil {
		if cmd.ProcessState == nil {
			r.b.Skipf("%s is not installed", command[0])
		}
		r.b.Fatalf("%v: %v: %s", command, err, out)
	}
	return cmd.ProcessState
}

// cost is how long something took, and how much of all processors' time.
type cost struct{ took, busy time.Duration }

// command is the cost of one from start to end.
func (r *race) command(command ...string) cost {
	start := time.Now()
	state := r.must(command...)
	return cost{time.Since(start), state.UserTime() + state.SystemTime()}
}

// busy is the processors' time of this process.
func busy() time.Duration {
	var u syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// frames is the cost in this process of opening a file and of decoding so many
// of its frames, one by one.
func (r *race) frames(path string, n int) cost {
	start, before := time.Now(), busy()
	f, err := dicomfile.Open(path)
	if err != nil {
		r.b.Fatal(err)
	}
	defer f.Close()
	for i := range n {
		if _, err := f.Frame(i+1, i+1); err != nil {
			r.b.Fatal(err)
		}
	}
	return cost{time.Since(start), busy() - before}
}

// best keeps the least of several costs, in which other work on the machine
// shows least.
func (c *cost) best(d cost) {
	if c.took == 0 {
		*c = d
	}
	c.took, c.busy = min(c.took, d.took), min(c.busy, d.busy)
}

// perFrame is what each frame after the first costs.
func perFrame(all, one cost) cost {
	return cost{(all.took - one.took) / (raceFrames - 1), (all.busy - one.busy) / (raceFrames - 1)}
}

// against prints times of this program and of the toolkits, 0 where one does not
// take part, and the ratio to the faster.
func against(us, dcmtk, gdcm time.Duration) string {
	faster := min(dcmtk, gdcm)
	if faster == 0 {
		faster = max(dcmtk, gdcm)
	}
	ms := func(d time.Duration) string {
		if d == 0 {
			return "-"
		}
		return fmt.Sprintf("%.1f", float64(d.Microseconds())/1000)
	}
	return fmt.Sprintf("%8s %7s %7s %5.2f", ms(us), ms(dcmtk), ms(gdcm), float64(us)/float64(faster))
}

// BenchmarkDecoding races this program against dcmtk and gdcm in every coding,
// and prints one table: the whole process on one frame (here the digest of its
// samples, there the decoded file); a frame of thirty, less opening and start-up
// (here into memory, there into a file), by the clock and by the processors' time,
// on which other work on the machine bears less. In milliseconds, the least of
// several taken in turns.
func BenchmarkDecoding(b *testing.B) {
	r := newRace(b)
	fmt.Printf("\n%-15s | %-30s | %-30s | %s\n", "", "whole process, one frame", "a frame of thirty", "its time of all processors")
	head := fmt.Sprintf("%8s %7s %7s %5s", "leadline", "dcmtk", "gdcm", "ratio")
	fmt.Printf("%-15s | %s | %s | %s\n", "ms", head, head, head)
	for _, c := range codings {
		one, all := filepath.Join(r.folder, "one.dcm"), filepath.Join(r.folder, "all.dcm")
		r.must(append(append([]string(nil), c.encode...), r.source, one)...)
		r.must(append(append([]string(nil), c.encode...), r.thirty, all)...)
		out := filepath.Join(r.folder, "decoded.dcm")
		var whole, single, many [3]cost
		for round := range 9 {
			long := round < 4
			whole[0].best(r.command(r.program, "list", one, "--digest"))
			single[0].best(r.frames(one, 1))
			if long {
				many[0].best(r.frames(all, raceFrames))
			}
			for i, decode := range [][]string{c.dcmtk, c.gdcm} {
				if decode == nil {
					continue
				}
				decode = slices.Clip(decode)
				whole[i+1].best(r.command(append(decode, one, out)...))
				if long {
					many[i+1].best(r.command(append(decode, all, out)...))
				}
			}
		}
		single[1], single[2] = whole[1], whole[2]
		var frame [3]cost
		for i := range frame {
			frame[i] = perFrame(many[i], single[i])
		}
		fmt.Printf("%-15s | %s | %s | %s\n", c.name, against(whole[0].took, whole[1].took, whole[2].took),
			against(frame[0].took, frame[1].took, frame[2].took), against(frame[0].busy, frame[1].busy, frame[2].busy))
	}
	for b.Loop() { // the table is all
	}
}

// BenchmarkRun decodes 300 frames of 1024 by 1024, one by one, from start to end
// of a process that also digests them: frames a second, and the most memory that
// the process had.
func BenchmarkRun(b *testing.B) {
	r := newRace(b)
	fmt.Printf("\n%-15s %12s %22s %9s\n", "300 frames", "frames/s", "processor ms a frame", "peak MB")
	for _, c := range append([]coding{{name: "uncompressed", run: true}}, codings...) {
		if !c.run {
			continue
		}
		all, run := r.thirty, filepath.Join(r.folder, "run.dcm")
		if c.encode != nil {
			all = filepath.Join(r.folder, "all.dcm")
			r.must(append(append([]string(nil), c.encode...), r.thirty, all)...)
		}
		r.must("/usr/bin/python3", "-c", `
import pydicom, sys
from pydicom.encaps import encapsulate, generate_pixel_data_frame
d = pydicom.dcmread(sys.argv[1])
n = int(d.NumberOfFrames)
if d.file_meta.TransferSyntaxUID.is_encapsulated:
    d.PixelData = encapsulate([f for f in generate_pixel_data_frame(d.PixelData, n)] * 10)
else:
    d.PixelData = d.PixelData * 10
d.NumberOfFrames = 10 * n
d.save_as(sys.argv[2])`, all, run)
		var least cost
		peak := int64(0)
		for range 2 {
			start := time.Now()
			state := r.must(r.program, "list", run, "--digest")
			least.best(cost{time.Since(start), state.UserTime() + state.SystemTime()})
			peak = max(peak, state.SysUsage().(*syscall.Rusage).Maxrss)
		}
		const frames = 10 * raceFrames
		fmt.Printf("%-15s %12.1f %22.1f %9.0f\n", c.name, frames/least.took.Seconds(), least.busy.Seconds()*1000/frames, float64(peak)/1024)
	}
	for b.Loop() { // the table is all
	}
}
