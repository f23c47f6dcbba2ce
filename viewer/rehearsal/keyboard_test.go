package rehearsal

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/measure/mark"
)

// A whole case with no mouse at all: views, margins, midline and both needles
// in both views, side and level, saved, and measured by the other program. The
// crosshair moves by ten pixels, with Shift by one; points lie within 1.5 px of
// the practice marks, twice what those are off the truth.
func TestWholeCaseByKeyboardAlone(t *testing.T) {
	s := newStage(t, "1280x800")
	dir := copyCase(t)
	drawn := practiceMarks(t)
	v := s.open(t.TempDir(), dir, "--observer", "hand")
	v.xdotool("mousemove", "2", "2") // off the films
	v.keys("Return")
	v.until("the views are asked for", func(n seen) bool { return !n.Caution && n.Asking == "Are these the views?" })
	v.keys("Return")
	v.until("the views are confirmed", func(n seen) bool { return n.Asking == "" })
	count := 0
	for _, p := range []struct {
		pane      int
		key       string
		structure mark.Structure
		object    string
	}{
		{1, "m", mark.VentralMargin, ""}, {1, "d", mark.DorsalMargin, ""},
		{0, "i", mark.Midline, ""}, {1, "n", mark.Needle, "N1"}, {0, "n", mark.Needle, "N1"},
		{0, "n", mark.Needle, "N2"}, {1, "n", mark.Needle, "N2"},
	} {
		source, ok := find(drawn, p.structure, p.object, "", "", "", p.pane)
		if !ok {
			t.Fatalf("no %s %s", p.structure, p.object)
		}
		if n, _ := v.now(); n.Focus != []string{"frontal", "lateral"}[p.pane] {
			v.keys("Tab")
		}
		v.keys(p.key)
		n := v.until("begins", func(n seen) bool { return n.Draft == string(p.structure) })
		if p.object != "" && n.Device != p.object {
			t.Fatalf("the needle being marked is %s, not %s", n.Device, p.object)
		}
		at := r2.Vec{X: n.Cursors[p.pane][0], Y: n.Cursors[p.pane][1]}
		for _, q := range source.Points {
			var keys []string
			at, keys = steps(at, q)
			v.keys(append(keys, "space")...)
		}
		v.keys("Return")
		count++
		v.until("the mark", func(n seen) bool { return n.Marks == count && n.Draft == "" })
	}
	for n, _ := v.now(); n.Device != "N1"; n, _ = v.now() {
		v.keys("a")
		v.until("the next device", func(m seen) bool { return m.Device != n.Device })
	}
	v.keys("s", "l", "b", "t", "3", "c", "n")
	v.until("saved", func(n seen) bool { return n.Asking == "" && n.Current && strings.HasPrefix(n.Saved, "saved ") })
	v.keys("ctrl+q")
	if code := v.ends(); code != 0 {
		t.Fatalf("exit code %d", code)
	}

	report := load(t, dir)
	for _, m := range report.Book.Marks {
		for _, w := range drawn {
			if w.Structure == m.Structure && w.Object == m.Object && w.Frame == m.Frame {
				for i, p := range m.Points {
					if r2.Norm(r2.Sub(p, w.Points[i])) > 1.5 {
						t.Errorf("%s %s point %d at %v, meant %v", m.Structure, m.Object, i, p, w.Points[i])
					}
				}
			}
		}
	}
	views, side, level := 0, false, false
	for _, st := range report.Book.Statements {
		if st.View != "" {
			views++
		}
		side = side || st.Object == "N1" && st.Side == mark.LeftSide && st.SideBasis == mark.TheatreRecord
		level = level || st.Object == "N1" && st.Level == "S3" && st.LevelBasis == mark.LateralLandmarks
	}
	if views != 2 || !side || !level {
		t.Errorf("stated: %+v", report.Book.Statements)
	}
	againstTruth(t, measured(t, dir))
}

// steps are the arrows that bring the crosshair from a to within a pixel of b.
func steps(a, b r2.Vec) (r2.Vec, []string) {
	var keys []string
	for _, axis := range []struct {
		from, to   *float64
		less, more string
	}{{&a.X, &b.X, "Left", "Right"}, {&a.Y, &b.Y, "Up", "Down"}} {
		by := int(math.Round(*axis.to - *axis.from))
		*axis.from += float64(by)
		key := axis.more
		if by < 0 {
			key, by = axis.less, -by
		}
		for range by / 10 {
			keys = append(keys, key)
		}
		for range by % 10 {
			keys = append(keys, "shift+"+key)
		}
	}
	return a, keys
}

// keys strikes keys one after the other, faster than any hand: of two strokes
// of one key within a millisecond, the clock of X, the window library takes the
// second for an echo.
func (v *viewer) keys(names ...string) {
	v.t.Helper()
	v.xdotool(append([]string{"key", "--delay", "4"}, names...)...)
}
