package rehearsal

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging/phantom"
)

// need skips a test where a tool is missing, or fails it where tools are
// required.
func need(t testing.TB, tools ...string) {
	t.Helper()
	for _, tool := range tools {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
				t.Fatalf("%s is not installed, and LEADLINE_REQUIRE_TOOLS=1 asks for it", tool)
			}
			t.Skipf("%s is not installed: the viewer cannot be driven", tool)
		}
	}
}

// shared is made once for all tests: the programs and the practice case.
var shared struct {
	sync.Once
	dir string
	err error
}

func TestMain(m *testing.M) {
	code := m.Run()
	if shared.dir != "" {
		_ = os.RemoveAll(shared.dir)
	}
	os.Exit(code)
}

// programs builds leadline and leadline-view and makes the practice case, and
// gives the folder that holds them.
func programs(t testing.TB) string {
	t.Helper()
	shared.Do(func() {
		if shared.dir, shared.err = os.MkdirTemp("", "rehearsal"); shared.err != nil {
			return
		}
		build := exec.Command("go", "build", "-o", shared.dir+string(filepath.Separator), "leadline/cmd/leadline", "leadline/cmd/leadline-view")
		if out, err := build.CombinedOutput(); err != nil {
			shared.err = fmt.Errorf("go build: %v\n%s", err, out)
			return
		}
		_, shared.err = phantom.Practice(filepath.Join(shared.dir, "practice"), nil)
	})
	if shared.err != nil {
		t.Fatal(shared.err)
	}
	return shared.dir
}

// copyCase gives a new folder with the practice films and nothing else.
func copyCase(t testing.TB) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "case")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"frontal.dcm", "lateral.dcm"} {
		data, err := os.ReadFile(filepath.Join(programs(t), "practice", name))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// stage is a virtual display.
type stage struct {
	t       testing.TB
	display string
}

// newStage starts an X server on a display that is free.
func newStage(t testing.TB, size string, more ...string) *stage {
	t.Helper()
	need(t, "Xvfb", "xdotool")
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	x := exec.Command("Xvfb", append([]string{"-displayfd", "3", "-nolisten", "tcp", "-screen", "0", size + "x24"}, more...)...)
	x.ExtraFiles = []*os.File{w}
	if err := x.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = x.Process.Kill()
		_ = x.Wait()
	})
	_ = w.Close()
	line, err := bufio.NewReader(r).ReadString('\n')
	if err != nil {
		t.Fatalf("Xvfb gave no display: %v", err)
	}
	return &stage{t: t, display: ":" + strings.TrimSpace(line)}
}

func (s *stage) environ(state string) []string {
	env := []string{}
	for _, e := range os.Environ() {
		if !strings.HasPrefix(e, "DISPLAY=") && !strings.HasPrefix(e, "XDG_STATE_HOME=") {
			env = append(env, e)
		}
	}
	return append(env, "DISPLAY="+s.display, "XDG_STATE_HOME="+state)
}

// tab and seen mirror what the viewer writes for automation.
type tab struct {
	Instance string     `json:"instance"`
	Frame    string     `json:"frame"`
	Ready    bool       `json:"ready"`
	Playing  bool       `json:"playing"`
	Turned   int        `json:"turned"`
	Span     [2]int     `json:"span"`
	Bar      [4]float64 `json:"bar"`
	Place    [4]float64 `json:"place"`
	ToScreen [6]float64 `json:"toScreen"`
}

type seen struct {
	Frames   int           `json:"frames"`
	Panes    [2]tab        `json:"panes"`
	Cursors  [2][2]float64 `json:"cursors"`
	Focus    string        `json:"focus"`
	Device   string        `json:"device"`
	Draft    string        `json:"draft"`
	Points   int           `json:"points"`
	Marks    int           `json:"marks"`
	Selected string        `json:"selected"`
	Point    *[2]float64   `json:"point"`
	Asking   string        `json:"asking"`
	Caution  bool          `json:"caution"`
	Case     string        `json:"case"`
	Choosing string        `json:"choosing"`
	Thumbs   int           `json:"thumbs"`
	Notice   string        `json:"notice"`
	Saved    string        `json:"saved"`
	Current  bool          `json:"current"`
	Held     int           `json:"held"`
}

// viewer is a running leadline-view and the hands on it.
type viewer struct {
	*stage
	cmd    *exec.Cmd
	file   string
	window string
	stderr bytes.Buffer
	done   chan error
}

// patience is how long anything may take on a busy machine.
const patience = 60 * time.Second

// open starts the viewer on a case and waits for its first picture.
func (s *stage) open(state string, args ...string) *viewer {
	s.t.Helper()
	v := &viewer{stage: s, file: filepath.Join(s.t.TempDir(), "shown.json"), done: make(chan error, 1)}
	v.cmd = exec.Command(filepath.Join(programs(s.t), "leadline-view"), append(args, "--automation", v.file)...)
	v.cmd.Env = s.environ(state)
	v.cmd.Stderr = &v.stderr
	if err := v.cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	go func() { v.done <- v.cmd.Wait() }()
	s.t.Cleanup(func() { _ = v.cmd.Process.Kill() })
	v.until("the window and its films", func(n seen) bool {
		return n.Frames > 0 && (n.Panes[0].Ready || n.Panes[0].Instance == "") && (n.Panes[1].Ready || n.Panes[1].Instance == "")
	})
	v.window = strings.TrimSpace(v.xdotool("search", "--sync", "--onlyvisible", "--name", "^Leadline: "))
	if i := strings.LastIndexByte(v.window, '\n'); i >= 0 {
		v.window = v.window[i+1:]
	}
	v.xdotool("windowfocus", "--sync", v.window) // no window manager does it here
	return v
}

// begin acknowledges the caution and leaves the views as the headers have them.
func (v *viewer) begin() {
	v.t.Helper()
	v.press("Return", "the caution is acknowledged", func(n seen) bool { return !n.Caution })
	if n, _ := v.now(); n.Asking != "" {
		v.press("Escape", "the views stay as they are", func(n seen) bool { return n.Asking == "" })
	}
}

func (v *viewer) xdotool(args ...string) string {
	v.t.Helper()
	cmd := exec.Command("xdotool", args...)
	cmd.Env = v.environ("")
	out, err := cmd.CombinedOutput()
	if err != nil {
		v.t.Fatalf("xdotool %s: %v\n%s%s", strings.Join(args, " "), err, out, v.stderr.String())
	}
	return string(out)
}

func (v *viewer) now() (seen, bool) {
	data, err := os.ReadFile(v.file)
	if err != nil {
		return seen{}, false
	}
	var n seen
	if err := json.Unmarshal(data, &n); err != nil {
		v.t.Fatalf("%s: %v", v.file, err)
	}
	return n, true
}

// until waits for what is shown to be so.
func (v *viewer) until(what string, so func(seen) bool) seen {
	v.t.Helper()
	var last seen
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(8 * time.Millisecond) {
		n, ok := v.now()
		if ok && so(n) {
			return n
		}
		last = n
		select {
		case err := <-v.done:
			v.done <- err
			v.t.Fatalf("waiting for %s: the viewer ended: %v\n%s", what, err, v.stderr.String())
		default:
		}
	}
	v.t.Fatalf("waited in vain for %s; shown: %+v\n%s", what, last, v.stderr.String())
	return last
}

// press holds a key down till what it does is shown.
func (v *viewer) press(key, what string, so func(seen) bool) seen {
	v.t.Helper()
	parts := strings.Split(key, "+")
	for _, k := range parts {
		v.xdotool("keydown", k)
	}
	n := v.until(key+": "+what, so)
	for i := len(parts) - 1; i >= 0; i-- {
		v.xdotool("keyup", parts[i])
	}
	v.until("let go of "+key, free)
	return n
}

// free: nothing is held down.
func free(n seen) bool { return n.Held == 0 }

// button holds a mouse button down at a place till what it does is shown.
func (v *viewer) click(x, y int, what string, so func(seen) bool) seen {
	v.t.Helper()
	v.xdotool("mousemove", fmt.Sprint(x), fmt.Sprint(y))
	v.xdotool("mousedown", "1")
	n := v.until(what, so)
	v.xdotool("mouseup", "1")
	v.until("let go", free)
	return n
}

// ends waits for the viewer to close and gives its exit code.
func (v *viewer) ends() int {
	v.t.Helper()
	select {
	case err := <-v.done:
		v.done <- err
		var exit *exec.ExitError
		if err != nil && !asExit(err, &exit) {
			v.t.Fatal(err)
		}
		return v.cmd.ProcessState.ExitCode()
	case <-time.After(patience):
		n, _ := v.now()
		v.t.Fatalf("the viewer does not close; shown: %+v", n)
	}
	return -1
}

func asExit(err error, exit **exec.ExitError) bool {
	e, ok := err.(*exec.ExitError)
	*exit = e
	return ok
}

// screen is the pixel of the screen that an SR point of a pane falls in, and
// the SR point that a click there means: that of the pixel's middle.
func (b tab) screen(p r2.Vec) (x, y int, means r2.Vec) {
	m := b.ToScreen
	sx, sy := m[0]*p.X+m[1]*p.Y+m[2], m[3]*p.X+m[4]*p.Y+m[5]
	x, y = int(math.Floor(sx)), int(math.Floor(sy))
	det := m[0]*m[4] - m[1]*m[3]
	dx, dy := float64(x)+0.5-m[2], float64(y)+0.5-m[5]
	return x, y, r2.Vec{X: (m[4]*dx - m[1]*dy) / det, Y: (m[0]*dy - m[3]*dx) / det}
}

// leadline runs the command and gives what it prints.
func leadline(t testing.TB, args ...string) []byte {
	t.Helper()
	cmd := exec.Command(filepath.Join(programs(t), "leadline"), args...)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("leadline %s: %v\n%s", strings.Join(args, " "), err, errs.String())
	}
	return out
}
