package rehearsal

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// call runs leadline-view where it must end by itself.
func call(t *testing.T, env []string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	cmd := exec.Command(filepath.Join(programs(t), "leadline-view"), args...)
	var out, errs bytes.Buffer
	cmd.Env, cmd.Stdout, cmd.Stderr = env, &out, &errs
	if err := cmd.Run(); err != nil {
		if _, ok := err.(*exec.ExitError); !ok {
			t.Fatal(err)
		}
	}
	return cmd.ProcessState.ExitCode(), out.String(), errs.String()
}

func without(env []string, name string) []string {
	var out []string
	for _, e := range env {
		if !strings.HasPrefix(e, name+"=") {
			out = append(out, e)
		}
	}
	return out
}

// own leaves out what the X client library prints of its own accord.
func own(stderr string) []string {
	var lines []string
	for _, l := range strings.Split(strings.TrimSpace(stderr), "\n") {
		if !strings.HasPrefix(l, "XGB: ") {
			lines = append(lines, l)
		}
	}
	return lines
}

func TestWithoutDisplayItSaysSoInOneLine(t *testing.T) {
	dir := copyCase(t)
	bare := without(os.Environ(), "DISPLAY")
	for what, env := range map[string][]string{
		"DISPLAY is not set":       bare,
		"nothing answers":          append(bare[:len(bare):len(bare)], "DISPLAY=:9127"),
		"nothing answers at DISPL": append(bare[:len(bare):len(bare)], "DISPLAY=unix:9127.0"),
	} {
		code, _, errs := call(t, env, dir)
		if lines := own(errs); code != 2 || len(lines) != 1 || !strings.Contains(lines[0], what) {
			t.Errorf("%s: exit code %d, said %q", what, code, errs)
		}
	}
	if code, out, errs := call(t, bare, "--help"); code != 0 || !strings.Contains(out, "Examples:") || errs != "" {
		t.Errorf("help without a display: exit code %d, %q, %q", code, out, errs)
	}
}

func TestBadInputIsRefusedInOneLine(t *testing.T) {
	s := newStage(t, "1280x800")
	env := s.environ(t.TempDir())
	notes := filepath.Join(t.TempDir(), "notes.txt")
	if err := os.WriteFile(notes, []byte("no image\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"--tempo"}, {"--forget", "a"}, {"a", "b"}, {"/nowhere/at all"}, {notes}, {"--colour", "x"}} {
		code, _, errs := call(t, env, args...)
		if lines := own(errs); code != 2 || len(lines) != 1 || !strings.HasPrefix(lines[0], "leadline-view: ") {
			t.Errorf("%v: exit code %d, said %q", args, code, errs)
		}
	}
}

func TestKilledWhileMarkingItKeepsWhatWasSaved(t *testing.T) {
	s := newStage(t, "1280x800")
	dir, state := copyCase(t), t.TempDir()
	v := s.open(state, dir, "--observer", "hand")
	v.begin()
	v.press("i", "begins", func(n seen) bool { return n.Draft == "midline" })
	n, _ := v.now()
	x, y := int(n.Panes[0].Place[0])+200, int(n.Panes[0].Place[1])+100
	for k := range 3 {
		v.click(x, y+60*k, "a point", func(n seen) bool { return n.Points == k+1 })
	}
	v.until("saved", func(n seen) bool { return strings.HasPrefix(n.Saved, "saved ") })

	// One writer at a time: another viewer is refused, and says who writes.
	code, _, errs := call(t, s.environ(state), dir, "--observer", "hand")
	if lines := own(errs); code != 2 || len(lines) != 1 {
		t.Errorf("a second viewer on the same marks: exit code %d, said %q", code, errs)
	}

	if err := v.cmd.Process.Signal(syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	v.ends()
	report := load(t, dir)
	if len(report.Book.Marks) != 1 || len(report.Book.Marks[0].Points) < 2 {
		t.Errorf("kept after the crash: %+v", report.Book.Marks)
	}
	v = s.open(state, dir, "--observer", "hand")
	if n := v.until("numbers", func(n seen) bool { return n.Current }); n.Marks != 1 {
		t.Errorf("opened after the crash it shows %d marks", n.Marks)
	}
	v.xdotool("keydown", "ctrl", "keydown", "q")
	if code := v.ends(); code != 0 {
		t.Errorf("exit code %d", code)
	}
}
