package placement

import (
	"slices"
	"strings"
	"testing"

	"leadline/imaging"
	"leadline/measure/mark"
)

func cautioned(p Placement, word string) bool {
	return slices.ContainsFunc(p.Cautions, func(c string) bool { return strings.Contains(c, word) })
}

// Openings out of their order, by a drawing: S2 at row 460 below S3 at row 400.
func TestOpeningsOutOfOrder(t *testing.T) {
	for row, wrong := range map[float64]bool{460: true, 330: false} {
		b := simple()
		f := drawnMark(frontalUID, mark.Foramen, "", 380, row-20, 400, row-30, 420, row-20, 420, row+20, 400, row+30, 380, row+20)
		f.Detail, f.Level, f.Side = "dorsal", "S2", mark.LeftSide
		b.Marks = append(b.Marks, f)
		if got := cautioned(compute(b, headers(), Options{}), "lies no higher than one marked S3"); got != wrong {
			t.Errorf("S2 at row %g: caution %v", row, got)
		}
	}
}

// An S3 by the opening it enters, at row 400 or so; 0.2 mm a pixel. A
// sacroiliac line at row 380 lies 4 mm above it, one at row 540 lies 28 mm below
// it, one at row 150 lies 50 mm above.
func TestFarFromSILine(t *testing.T) {
	for row, word := range map[float64]string{380: "", 540: "cranial of the sacroiliac line", 150: "caudal of the sacroiliac line"} {
		b := simple()
		b.Marks[6] = drawnMark(frontalUID, mark.SILine, "", 300, row, 720, row)
		p := compute(b, headers(), Options{})
		if got := cautioned(p, "of the sacroiliac line: count"); got != (word != "") || word != "" && !cautioned(p, word) {
			t.Errorf("sacroiliac line at row %g: %q", row, p.Cautions)
		}
	}
}

// A needle that both films show some 70 mm long and that is said to have 50.
func TestLongerThanItself(t *testing.T) {
	for length, wrong := range map[string]bool{"50": true, "90": false} {
		b := simple()
		m := drawnMark(lateralUID, mark.KnownLength, "N1", 700, 300, 460, 540)
		m.Detail = length
		b.Marks = append(b.Marks, m)
		hs := headers()
		p := compute(b, hs, Options{MarkingSD: imaging.Known(1)})
		if got := cautioned(p, "longer than the"); got != wrong {
			t.Errorf("%s mm: caution %v; %q; missing %v", length, got, p.Cautions, p.Missing)
		}
	}
}
