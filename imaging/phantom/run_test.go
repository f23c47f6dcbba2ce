package phantom

import (
	"math"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"leadline/imaging/dicomfile"
)

// dciodvfy (dicom3tools) checks the run against the X-Ray Angiographic IOD,
// PS3.3 A.14, multi-frame and cine modules with it.
func TestRunIsValidXA(t *testing.T) {
	dciodvfy := tool(t, "dciodvfy")
	p := practiceCase(t)
	for _, r := range p.truth.Runs {
		out, err := exec.Command(dciodvfy, filepath.Join(p.dir, r.File)).CombinedOutput()
		if err != nil || !strings.Contains(string(out), "XAImage") || strings.Contains(string(out), "Error") {
			t.Errorf("%s: %v\n%s", r.File, err, out)
		}
	}
}

// The tip of every frame by similar triangles: source 700 mm from the isocentre,
// detector at 1000 mm at the patient's left, pixels of 0.45 mm, centre 256, 256;
// and its depth as the distance along the axis from where the held image's needle
// leaves the bone.
func TestRunTruthByHand(t *testing.T) {
	p := practiceCase(t)
	if len(p.truth.Runs) != 1 {
		t.Fatalf("%d runs", len(p.truth.Runs))
	}
	r := p.truth.Runs[0]
	var exit, tip Point
	rest := 0.0
	for _, n := range p.truth.Needles {
		if n.Object == r.Object {
			exit, tip, rest = n.Exit, n.Tip, n.Quantities["tip-depth-along-needle"]
		}
	}
	apart := func(a, b Point) float64 { return math.Hypot(math.Hypot(a[0]-b[0], a[1]-b[1]), a[2]-b[2]) }
	for k, f := range r.Frames {
		m := 1000 / (700 + f.Tip[0]) / 0.45
		if x, y := 256+m*f.Tip[1], 256-m*f.Tip[2]; math.Hypot(x-f.At[0], y-f.At[1]) > 1e-9 {
			t.Errorf("frame %d: tip at %v, by hand %g, %g", k+1, f.At, x, y)
		}
		if math.Abs(apart(f.Tip, exit)-math.Abs(f.Depth)) > 1e-9 || k > 0 && f.Depth < r.Frames[k-1].Depth {
			t.Errorf("frame %d: depth %g, %g mm from the exit", k+1, f.Depth, apart(f.Tip, exit))
		}
	}
	if last := r.Frames[len(r.Frames)-1]; apart(last.Tip, tip) > 1e-9 || math.Abs(last.Depth-rest) > 1e-9 || r.Frames[0].Depth > -10 {
		t.Errorf("it goes from %g to %g mm; the held image has %g", r.Frames[0].Depth, last.Depth, rest)
	}
}

// On every frame the shaft is dark up to the tip and not beyond it: along the
// axis the mean of three pixels across is darker than its surroundings 4 to 10
// mm on the hub's side, and no darker than they are 4 to 10 mm on the other.
func TestRunShowsTheTipWhereTruthSays(t *testing.T) {
	p := practiceCase(t)
	r := p.truth.Runs[0]
	file, err := dicomfile.Open(filepath.Join(p.dir, r.File))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	if h := file.Header; h.Frames != len(r.Frames) || h.Columns != 512 || h.FrameTime.Value != r.FrameTime {
		t.Fatalf("%d frames of %d columns, %v ms", h.Frames, h.Columns, h.FrameTime)
	}
	first, last := r.Frames[0].At, r.Frames[len(r.Frames)-1].At
	l := math.Hypot(last[0]-first[0], last[1]-first[1])
	ax, ay := (last[0]-first[0])/l, (last[1]-first[1])/l // the way it goes
	for k, f := range r.Frames {
		frame, err := file.Frame(k+1, k+1)
		if err != nil {
			t.Fatal(err)
		}
		// Contrast of the axis against both sides, mean over a stretch.
		contrast := func(from, to float64) float64 {
			sum, n := 0.0, 0.0
			for s := from; s <= to; s += 0.5 {
				at := func(off float64) float64 {
					x, y := f.At[0]+s*ax-off*ay, f.At[1]+s*ay+off*ax
					return float64(frame.Value(int(x), int(y)))
				}
				on := (at(-0.7) + at(0) + at(0.7)) / 3
				beside := (at(-6) + at(-5) + at(5) + at(6)) / 4
				sum, n = sum+beside-on, n+1
			}
			return sum / n
		}
		shaft, beyond := contrast(-32, -13), contrast(13, 32)
		if shaft < 150 || beyond > shaft/3 {
			t.Errorf("frame %d: the shaft stands out by %.0f before the tip, by %.0f beyond it", k+1, shaft, beyond)
		}
	}
}
