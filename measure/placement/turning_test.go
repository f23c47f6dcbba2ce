package placement

import (
	"testing"

	"leadline/measure/mark"
)

// Marks on the mean of frames over which the beam turned by 4 degrees carry a
// caution; by half a degree they carry none (imaging.TurningMost).
func TestTurning(t *testing.T) {
	for last, want := range map[int]bool{1: false, 2: false, 3: true} {
		hs := headers()
		hs[0].Frames, hs[0].PrimaryStep = 3, []float64{0, 0.5, 4}
		b := simple()
		for i := range b.Marks {
			if m := &b.Marks[i]; m.Frame.Instance == lateralUID {
				m.Frame = mark.FrameRef{Instance: lateralUID, First: 1, Last: last}
			}
		}
		p := compute(b, hs, Options{})
		if p.says("the beam turned by 4 degrees within frames 1-3") != want || p.says("the beam turned") != want {
			t.Errorf("frames 1 to %d: cautions %q", last, p.Cautions)
		}
	}
}
