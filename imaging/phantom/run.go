package phantom

import (
	"strconv"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
	"leadline/imaging/carm"
)

// Run is a run of fluoroscopy while a needle is advanced along its axis.
type Run struct {
	File             string  `json:"file"`
	Instance         string  `json:"instance"` // SOP Instance UID
	View             string  `json:"view"`
	PrimaryAngle     float64 `json:"primaryAngle"`   // degrees
	SecondaryAngle   float64 `json:"secondaryAngle"` // degrees
	SourceToDetector float64 `json:"sourceToDetector"`
	SourceToPatient  float64 `json:"sourceToPatient"`
	PixelSpacing     float64 `json:"imagerPixelSpacing"` // mm, both ways
	Columns          int     `json:"columns"`
	Rows             int     `json:"rows"`
	FrameTime        float64 `json:"frameTime"` // ms
	Object           string  `json:"object"`    // which needle moves
	// Frames in their order: where the tip of Object lies.
	Frames []RunFrame `json:"frames"`
}

// RunFrame is the moving needle's tip on one frame.
type RunFrame struct {
	Tip Point `json:"tip"`
	// Depth in mm along the axis beyond the ventral margin, negative short of it.
	Depth float64 `json:"depth"`
	// At is where the tip falls on the frame, SR coordinates in pixels.
	At [2]float64 `json:"at"`
}

// A pulsed run on the lateral view: pixels binned two by two, eight pulses a
// second, and less dose than a held image (common practice, no source).
const (
	runSide      = filmSide / 2
	runFrames    = 12
	runFrameTime = 125 // ms
	runQuanta    = 350.0
	runFrom      = -16.0 // mm of depth in the first frame
	runObject    = "N1"
)

// advance is the run of the practice case.
var advance = shot{
	file: "advance.dcm", view: imaging.Lateral, primary: 90, secondary: 0, time: "091510", number: 3,
	uid:    "2.25.247293361650413279593531045291095746496",
	series: "Fluoroscopy, needle advanced", seriesUID: runSeries, seriesNumber: 2,
}

// at is the needle drawn back along its axis to a depth of its tip.
func (n needle) at(depth float64) needle {
	axis := r3.Unit(r3.Sub(n.hub, n.tip))
	by := r3.Sub(r3.Sub(n.exit, r3.Scale(depth, axis)), n.tip)
	n.tip, n.hub = r3.Add(n.tip, by), r3.Add(n.hub, by)
	return n
}

// course is where the moving needle's tip lies in each frame: it comes to rest
// at the depth of the held image.
func course(n needle, c carm.Camera) []RunFrame {
	axis := r3.Unit(r3.Sub(n.hub, n.tip))
	rest := r3.Dot(r3.Sub(n.exit, n.tip), axis)
	var out []RunFrame
	for k := range runFrames {
		t := min(float64(k)/(runFrames-2), 1)
		depth := runFrom + (rest-runFrom)*t
		tip := n.at(depth).tip
		px, _ := c.Project(tip)
		out = append(out, RunFrame{Tip: pointOf(tip), Depth: depth, At: [2]float64{px.X, px.Y}})
	}
	return out
}

// filmRun gives the truth of the run and the camera that takes it.
func filmRun(needles []needle) (Run, carm.Camera, error) {
	g := geometryOf(advance.primary, advance.secondary, runSide)
	c, err := carm.FromGeometry(g)
	if err != nil {
		return Run{}, c, err
	}
	r := Run{
		File: advance.file, Instance: advance.uid, View: string(advance.view),
		PrimaryAngle: advance.primary, SecondaryAngle: advance.secondary,
		SourceToDetector: sourceToDetector, SourceToPatient: sourceToPatient,
		PixelSpacing: pixelOf(runSide), Columns: runSide, Rows: runSide, FrameTime: runFrameTime, Object: runObject,
	}
	for _, n := range needles {
		if n.object == runObject {
			r.Frames = course(n, c)
		}
	}
	return r, c, nil
}

// expose the run before a backdrop of runSide pixels each way.
func (r Run) expose(c carm.Camera, back plate, needles []needle, advanced func(float64)) (dicom.Dataset, error) {
	var frames [][]uint16
	for k, f := range r.Frames {
		primary := newPlate(back.side)
		copy(primary.v, back.v)
		for _, n := range needles {
			if n.object == r.Object {
				n = n.at(f.Depth)
			}
			n.cast(c, primary)
		}
		seen := photons(primary, runQuanta, focalBlur*float64(runSide)/filmSide, noiseSeed+uint64(100+k))
		for i := range seen.v {
			seen.v[i] *= quanta / runQuanta // the monitor's level is that of the films
		}
		frames = append(frames, develop(seen))
		advanced(float64(k+1) / float64(len(r.Frames)))
	}
	return instance(advance, frames,
		element{tag.NumberOfFrames, []string{strconv.Itoa(len(frames))}},
		// The frames follow each other by Frame Time (PS3.3 C.7.6.5.1.1, C.7.6.6).
		element{tag.FrameIncrementPointer, []int{int(tag.FrameTime.Group), int(tag.FrameTime.Element)}},
		element{tag.FrameTime, []string{strconv.Itoa(runFrameTime)}},
	)
}
