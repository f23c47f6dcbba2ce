package rehearsal

import (
	"fmt"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/measure/mark"
)

// A run is played, stopped, scrubbed with the mouse, a span chosen on its bar,
// its mean shown and a needle marked on it; the mark belongs to the span.
func TestRunPlayedScrubbedAndMeanMarked(t *testing.T) {
	s := newStage(t, "1280x800")
	dir := runCase(t)
	v := s.open(t.TempDir(), dir, "--observer", "hand")
	v.begin()
	v.press("Tab", "the lateral film", func(n seen) bool { return n.Focus == "lateral" })
	v.press("Prior", "the run", func(n seen) bool { return n.Panes[1].Bar[2] > 0 && n.Panes[1].Ready })
	v.press("slash", "plays", func(n seen) bool { return n.Panes[1].Playing })
	v.until("later frames", func(n seen) bool { return n.Panes[1].Frame == "5" })
	v.until("round", func(n seen) bool { return n.Panes[1].Frame == "1" })
	v.press("slash", "stops", func(n seen) bool { return !n.Panes[1].Playing })

	n, _ := v.now()
	bar := n.Panes[1].Bar
	on := func(frame int) string { return fmt.Sprint(int(bar[0] + (float64(frame)-0.5)*bar[2]/12)) }
	y := fmt.Sprint(int(bar[1] + bar[3]/2))
	v.xdotool("mousemove", on(4), y, "mousedown", "1")
	v.until("frame 4", func(n seen) bool { return n.Panes[1].Frame == "4" })
	v.xdotool("mousemove", on(9), y)
	v.until("frame 9", func(n seen) bool { return n.Panes[1].Frame == "9" && n.Panes[1].Ready })
	v.xdotool("mouseup", "1")
	v.until("let go", free)

	v.xdotool("keydown", "shift", "mousemove", on(10), y, "mousedown", "1", "mousemove", on(12), y)
	v.until("the span", func(n seen) bool { return n.Panes[1].Span == [2]int{10, 12} })
	v.xdotool("mouseup", "1", "keyup", "shift")
	v.until("let go", free)
	n = v.press("shift+m", "the mean", func(n seen) bool { return n.Panes[1].Frame == "10-12" && n.Panes[1].Ready })

	v.press("n", "begins", func(n seen) bool { return n.Draft == "needle" })
	for k, q := range []r2.Vec{{X: 430, Y: 150}, {X: 250, Y: 250}} {
		x, y, _ := n.Panes[1].screen(q)
		v.click(x, y, "a point", func(n seen) bool { return n.Points == k+1 })
	}
	v.press("Return", "ends it", func(n seen) bool { return n.Draft == "" && n.Marks == 1 })
	v.until("saved", func(n seen) bool { return n.Current && strings.HasPrefix(n.Saved, "saved ") })
	v.xdotool("key", "ctrl+q")
	if code := v.ends(); code != 0 {
		t.Fatalf("exit code %d", code)
	}
	marks := load(t, dir).Book.Marks
	if len(marks) != 1 || marks[0].Frame != (mark.FrameRef{Instance: n.Panes[1].Instance, First: 10, Last: 12}) {
		t.Errorf("kept: %+v", marks)
	}
}
