package rehearsal

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// With no case named the list of cases is shown; one is opened by its path and,
// once there, another in its place from the list; both are saved and free after.
func TestCasesAreOpenedFromTheList(t *testing.T) {
	s := newStage(t, "1280x800")
	first, second, state := copyCase(t), copyCase(t), t.TempDir()
	v := s.open(state, "--observer", "hand")
	v.press("Return", "the caution is acknowledged", func(n seen) bool { return !n.Caution })
	if n, _ := v.now(); n.Choosing != "cases" || n.Case != "" {
		t.Fatalf("shown: %+v", n)
	}
	v.press("p", "asks for a path", func(n seen) bool { return n.Asking == "Open a case" })
	v.xdotool("type", "--delay", "0", first)
	v.xdotool("key", "Return")
	v.until("the case", func(n seen) bool { return n.Case == filepath.Base(first) && n.Panes[0].Ready && n.Panes[1].Ready })
	v.press("Return", "the views are confirmed", func(n seen) bool { return n.Asking == "" && strings.Contains(n.Notice, "views confirmed") })

	// A path that is none says so, and the case stays.
	v.press("ctrl+o", "the list", func(n seen) bool { return n.Choosing == "cases" })
	v.xdotool("key", "p")
	v.xdotool("type", "--delay", "0", "/nowhere")
	v.xdotool("key", "Return")
	v.until("what is wrong", func(n seen) bool { return strings.Contains(n.Notice, "/nowhere") && n.Choosing == "cases" })

	v.xdotool("key", "p")
	v.xdotool("type", "--delay", "0", second)
	v.xdotool("key", "Return")
	v.until("the other case", func(n seen) bool {
		return n.Asking != "" && n.Choosing == "" && n.Panes[0].Ready && n.Panes[1].Ready
	})
	v.xdotool("key", "Escape")
	if report := load(t, first); len(report.Book.Statements) != 2 {
		t.Errorf("of the first case is kept: %+v", report.Book.Statements)
	}
	v.xdotool("key", "ctrl+q")
	if code := v.ends(); code != 0 {
		t.Errorf("exit code %d: %s", code, v.stderr.String())
	}
	data, err := os.ReadFile(filepath.Join(state, "leadline", "recent.json"))
	if err != nil || !strings.Contains(string(data), first) || !strings.Contains(string(data), second) {
		t.Errorf("recent: %s (%v)", data, err)
	}
	code, out, errs := call(t, s.environ(state), "--forget")
	if code != 0 || out == "" || strings.Join(own(errs), "") != "" {
		t.Errorf("--forget: %d, %q, %q", code, out, errs)
	}
	if _, err := os.Stat(filepath.Join(state, "leadline", "recent.json")); !os.IsNotExist(err) {
		t.Errorf("still there after --forget: %v", err)
	}
}

// Small pictures of the images, and the run among them chosen by key.
func TestImagesAreChosenBySmallPictures(t *testing.T) {
	s := newStage(t, "1280x800")
	v := s.open(t.TempDir(), runCase(t), "--observer", "hand")
	v.begin()
	v.press("shift+Tab", "the pictures", func(n seen) bool { return n.Choosing == "images" && n.Thumbs == 3 })
	n, _ := v.now()
	before := n.Panes[1].Instance
	v.press("Right", "the next", func(m seen) bool { return m.Frames > n.Frames })
	v.press("Return", "the run", func(n seen) bool { return n.Choosing == "" && n.Panes[1].Instance != before && n.Panes[1].Ready })
	n, _ = v.now()
	if n.Panes[1].Frame != "1" || n.Panes[1].Bar[2] == 0 {
		t.Errorf("shown: %+v", n.Panes[1])
	}
}

// runCase is the practice case with its run.
func runCase(t testing.TB) string {
	t.Helper()
	dir := copyCase(t)
	data, err := os.ReadFile(filepath.Join(programs(t), "practice", "advance.dcm"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "advance.dcm"), data, 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}
