package rehearsal

import (
	"fmt"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Clicks and keys that last no time at all, one after the other without a
// pause, are all taken in, each where it was made.
func TestNoClickIsTooShort(t *testing.T) {
	s := newStage(t, "1280x800")
	dir := copyCase(t)
	v := s.open(t.TempDir(), dir, "--observer", "hand")
	v.begin()
	n, _ := v.now()
	var want []r2.Vec
	args := []string{"key", "--delay", "0", "m"}
	for k := range 11 {
		x, y, means := n.Panes[1].screen(r2.Vec{X: 420 + 13*float64(k), Y: 200 + 55*float64(k)})
		want = append(want, means)
		args = append(args, "mousemove", fmt.Sprint(x), fmt.Sprint(y), "mousedown", "1", "mouseup", "1")
	}
	args = append(args, "key", "--delay", "0", "Return", "key", "--delay", "0", "p")
	x, y, promontory := n.Panes[1].screen(r2.Vec{X: 500, Y: 180})
	args = append(args, "mousemove", fmt.Sprint(x), fmt.Sprint(y), "mousedown", "1", "mouseup", "1", "mousemove", "20", "20")
	v.xdotool(args...)
	v.until("both marks", func(n seen) bool { return n.Marks == 2 && n.Draft == "" && strings.HasPrefix(n.Saved, "saved ") })
	v.xdotool("key", "ctrl+q")
	if code := v.ends(); code != 0 {
		t.Errorf("exit code %d", code)
	}
	marks := load(t, dir).Book.Marks
	if len(marks) != 2 || len(marks[0].Points) != len(want) {
		t.Fatalf("kept: %+v", marks)
	}
	for k, p := range marks[0].Points {
		if r2.Norm(r2.Sub(p, want[k])) > 1e-3 {
			t.Errorf("point %d at %v, clicked at %v", k, p, want[k])
		}
	}
	if p := marks[1].Points[0]; r2.Norm(r2.Sub(p, promontory)) > 1e-3 {
		t.Errorf("promontory at %v, clicked at %v", p, promontory)
	}
}
