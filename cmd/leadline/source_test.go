package main

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"leadline/imaging/intake"
)

// trial is what the commands are tried on.
type trial struct {
	path  string   // CASE
	flags []string // after it
	csv   string   // marks to take in
	log   string   // responses to take in
	out   string   // folder for what is written
}

func (t trial) line(command string, more ...string) []string {
	return append(append([]string{command, t.path}, t.flags...), more...)
}

// sourceTrials are the command lines of each command that are tried on sources
// that must not change. A command that is not here makes TestSourcesUntouched
// fail: add its lines, with every flag that makes it read or write something
// else.
var sourceTrials = map[string]func(trial) [][]string{
	"demo": nil, // reads no source; that it writes to no folder with something else in it is in demo.txt
	"open": nil, // TestSourcesUntouchedByTheViewer
	"list": func(t trial) [][]string {
		return [][]string{t.line("list"), t.line("list", "--digest")}
	},
	"mark": func(t trial) [][]string {
		return [][]string{
			t.line("mark", "--import", t.csv, "--observer", "A"), t.line("mark", "--import", t.csv, "--observer", "B"),
			t.line("mark", "--export", filepath.Join(t.out, "marks.csv"), "--observer", "A"),
		}
	},
	"confirm": func(t trial) [][]string {
		return [][]string{
			t.line("confirm", "--observer", "A", "--basis", "counted-from-above"),
			t.line("confirm", "--observer", "A", "--object", "N1", "--side", "left", "--basis", "theatre-record"),
			t.line("confirm", "--observer", "A", "--frame", "frontal.dcm", "--view", "frontal", "--cranial", "top"),
		}
	},
	"measure": func(t trial) [][]string {
		return [][]string{t.line("measure", "--observer", "A"), t.line("measure", "--observer", "A", "--json"), t.line("measure", "--observer", "A", "--marking-sd", "1")}
	},
	"operation": func(t trial) [][]string {
		return [][]string{t.line("operation", "--observer", "A", "passes=2"), t.line("operation", "--observer", "A")}
	},
	"respond": func(t trial) [][]string {
		return [][]string{t.line("respond", "--observer", "A", "--from", t.log), t.line("respond", "--observer", "A", "--export", filepath.Join(t.out, "log.csv"))}
	},
	"compare": func(t trial) [][]string { return [][]string{t.line("compare", "--observer", "A")} },
	"table": func(t trial) [][]string {
		return [][]string{{"table", filepath.Dir(t.path)}, {"table", filepath.Dir(t.path), "--csv"}}
	},
	"assist": func(t trial) [][]string {
		return [][]string{t.line("assist", "--observer", "A", "--frame", "frontal.dcm", "--near", "41,40")}
	},
	"note": func(t trial) [][]string { return [][]string{t.line("note", "--observer", "A")} },
	"sheet": func(t trial) [][]string {
		return [][]string{t.line("sheet", "--observer", "A", "--out", filepath.Join(t.out, "sheet.pdf"))}
	},
	"report": func(t trial) [][]string {
		return [][]string{t.line("report", "--observer", "A", "--out", filepath.Join(t.out, "report.dcm"))}
	},
	"archive": func(t trial) [][]string {
		return [][]string{t.line("archive", "--observer", "A", "--out", filepath.Join(t.out, "objects"))}
	},
	"frames": func(t trial) [][]string {
		return [][]string{t.line("frames", "--observer", "A", "--out", filepath.Join(t.out, "pictures"))}
	},
}

// mayRefuse are the commands that read the sources and may then refuse: where
// the program that finds needles is not built, or no marks lie beside them.
var mayRefuse = map[string]bool{"assist": true, "table": true}

const sourceLog = `object,contact,pelvic-floor,leg-foot,sensory,unit,polarity,pulse-width-us,rate-hz,motor,sensation,state,root,note
N1,,1.5,,,mA,,,,,,,,
`

const sourceMarks = `instance,frame,structure,level,side,object,index,x,y
frontal.dcm,1,needle,,,N1,0,41,15
frontal.dcm,1,needle,,,N1,1,41,47
frontal.dcm,1,midline,,,,0,51,10
frontal.dcm,1,midline,,,,1,51,90
`

// source makes a folder as it comes from a disc, old, read-only, and the
// archive of it, and gives the folder that holds both.
func source(t *testing.T) (base string) {
	t.Helper()
	base = filepath.Join(t.TempDir(), "source")
	dir := filepath.Join(base, "disc")
	small := []string{"Columns=128", "Rows=128", "ImagerPixelSpacing=0.2\\0.2", "DistanceSourceToDetector=1000", "DistanceSourceToPatient=500"}
	for path, attributes := range map[string][]string{
		"DICOM/frontal.dcm":     {"AcquisitionTime=101500", `PatientOrientation=R\F`, "PositionerPrimaryAngle=180", "PositionerSecondaryAngle=0"},
		"DICOM/run/lateral.dcm": {"AcquisitionTime=102000", `PatientOrientation=P\F`, "PositionerPrimaryAngle=90", "PositionerSecondaryAngle=0", "NumberOfFrames=3"},
		"DICOM/run/again.dcm":   {"AcquisitionTime=102500", "SOPInstanceUID=2.25.77"},
	} {
		path = filepath.Join(dir, path)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := writeFilm(path, path, append(small, attributes...)...); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "notes.txt"), []byte("invented"), 0o644); err != nil {
		t.Fatal(err)
	}
	packed, err := packFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(dir+".zip", packed, 0o644); err != nil {
		t.Fatal(err)
	}
	old := time.Date(2020, 2, 29, 12, 34, 56, 789012345, time.UTC)
	var all []string
	if err := filepath.WalkDir(base, func(p string, e fs.DirEntry, err error) error { all = append(all, p); return err }); err != nil {
		t.Fatal(err)
	}
	slices.Reverse(all) // what is in a folder before the folder
	for _, p := range all {
		mode := fs.FileMode(0o444)
		if info, err := os.Stat(p); err == nil && info.IsDir() {
			mode = 0o555
			t.Cleanup(func() { os.Chmod(p, 0o755) }) // so that it can be removed
		}
		if err := os.Chtimes(p, old, old); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(p, mode); err != nil {
			t.Fatal(err)
		}
	}
	return base
}

// state is what a file or folder is: its mode, time of change, and bytes.
func state(t *testing.T, base string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(base, func(p string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := e.Info()
		if err != nil {
			return err
		}
		var sum [sha256.Size]byte
		if !e.IsDir() {
			content, err := os.ReadFile(p)
			if err != nil {
				return err
			}
			sum = sha256.Sum256(content)
		}
		out[p] = fmt.Sprintf("%s %s %x", info.Mode(), info.ModTime().UTC().Format(time.RFC3339Nano), sum)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// watch has the system tell of every file below base that is opened for
// writing, changed, made, moved or removed; the function it gives tells what
// happened. Root may write to read-only files, so that modes alone prove
// nothing: a file closed after it was open for writing is told though nothing
// was written (inotify(7), IN_CLOSE_WRITE).
func watch(t *testing.T, base string) (happened func() []string) {
	t.Helper()
	fd, err := unix.InotifyInit1(unix.IN_CLOEXEC | unix.IN_NONBLOCK)
	if err != nil {
		t.Logf("the system does not tell which files are opened for writing (%v): bytes, modes and times alone are compared", err)
		return func() []string { return nil }
	}
	t.Cleanup(func() { unix.Close(fd) })
	folders := map[int32]string{}
	err = filepath.WalkDir(base, func(p string, e fs.DirEntry, err error) error {
		if err != nil || !e.IsDir() {
			return err
		}
		id, err := unix.InotifyAddWatch(fd, p, unix.IN_CLOSE_WRITE|unix.IN_MODIFY|unix.IN_ATTRIB|unix.IN_CREATE|unix.IN_DELETE|unix.IN_MOVED_FROM|unix.IN_MOVED_TO)
		folders[int32(id)] = p
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return func() (events []string) {
		for room := make([]byte, 1<<16); ; {
			n, err := unix.Read(fd, room)
			if err != nil || n <= 0 {
				return events
			}
			for b := room[:n]; len(b) >= unix.SizeofInotifyEvent; {
				e := (*unix.InotifyEvent)(unsafe.Pointer(&b[0]))
				name := strings.TrimRight(string(b[unix.SizeofInotifyEvent:][:e.Len]), "\x00")
				events = append(events, fmt.Sprintf("%s: event %#x", filepath.Join(folders[e.Wd], name), e.Mask))
				b = b[unix.SizeofInotifyEvent+int(e.Len):]
			}
		}
	}
}

// ownFile says whether an event is about what is kept beside the images.
func ownFile(event string) bool {
	path, _, _ := strings.Cut(event, ": event")
	return intake.SideFile(filepath.Base(path))
}

// The files that are read keep their bytes, names, modes and times, whatever
// command reads them, and are never opened for writing: a folder, the archive
// of it, and a single file, with the marks kept elsewhere; and, with the marks
// beside the images, nothing but marks is added.
func TestSourcesUntouched(t *testing.T) {
	for _, c := range commands {
		if _, ok := sourceTrials[c.name]; !ok {
			t.Errorf("command %q is not tried on sources: add its command lines to sourceTrials", c.name)
		}
	}
	base := source(t)
	csv := filepath.Join(t.TempDir(), "in.csv")
	log := filepath.Join(filepath.Dir(csv), "log.csv")
	for path, content := range map[string]string{csv: sourceMarks, log: sourceLog} {
		if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	before := state(t, base)
	happened := watch(t, base)
	for _, at := range []string{"disc", "disc.zip", "disc/DICOM/frontal.dcm"} {
		tryAll(t, trial{path: filepath.Join(base, at), flags: []string{"--marks", t.TempDir()}, csv: csv, log: log, out: t.TempDir()})
		if events := happened(); len(events) > 0 {
			t.Errorf("%s: %d events, the first: %s", at, len(events), events[0])
		}
		if after := state(t, base); !maps.Equal(before, after) {
			t.Errorf("%s: the source is not as it was: %v, was %v", at, after, before)
		}
	}
	for _, at := range []string{"disc", "disc.zip"} {
		if err := os.Chmod(base, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(filepath.Join(base, "disc"), 0o755); err != nil {
			t.Fatal(err)
		}
		happened()
		tryAll(t, trial{path: filepath.Join(base, at), csv: csv, log: log, out: t.TempDir()})
		for _, e := range happened() {
			if !ownFile(e) {
				t.Errorf("%s, marks beside the images: %s", at, e)
			}
		}
		after := state(t, base)
		for path, was := range before {
			if info, err := os.Stat(path); err == nil && info.IsDir() {
				continue // marks were added to it
			}
			if after[path] != was {
				t.Errorf("%s, marks beside the images: %s is %s, was %s", at, path, after[path], was)
			}
		}
	}
}

// tryAll runs all command lines of all commands.
func tryAll(t *testing.T, on trial) {
	t.Helper()
	for _, c := range commands {
		lines := sourceTrials[c.name]
		if lines == nil {
			continue
		}
		for _, words := range lines(on) {
			var out, errs bytes.Buffer
			if code := run(words, &out, &errs); code != exitDone && !(code == exitBadInput && mayRefuse[c.name]) {
				t.Errorf("leadline %s ended with %d: %s", strings.Join(words, " "), code, errs.String())
			}
		}
	}
}

// The same of the viewer, which opens the case, draws it, and is told to end.
func TestSourcesUntouchedByTheViewer(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the viewer")
	}
	for _, tool := range []string{"Xvfb", "xdotool"} {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
				t.Fatalf("%s is not installed, and LEADLINE_REQUIRE_TOOLS=1 asks for it", tool)
			}
			t.Skipf("%s is not installed: the viewer cannot be opened", tool)
		}
	}
	bin := t.TempDir()
	if out, err := exec.Command("go", "build", "-o", bin+string(filepath.Separator), "leadline/cmd/leadline", "leadline/cmd/leadline-view").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	base := source(t)
	before := state(t, base)
	happened := watch(t, base)
	screen := display(t)
	for _, at := range []string{"disc", "disc.zip"} {
		marks := t.TempDir()
		shown := filepath.Join(t.TempDir(), "shown.json")
		env := append(os.Environ(), "DISPLAY="+screen, "XDG_STATE_HOME="+t.TempDir())
		// What 'leadline open' starts, with the file that says what is shown.
		view := exec.Command(filepath.Join(bin, "leadline-view"), filepath.Join(base, at), "--marks", marks, "--observer", "A", "--automation", shown)
		view.Env = env
		var errs bytes.Buffer
		view.Stderr = &errs
		if err := view.Start(); err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() { ended <- view.Wait() }()
		drawn := func() bool {
			text, err := os.ReadFile(shown)
			return err == nil && bytes.Contains(text, []byte(`"ready": true`))
		}
		for end := time.Now().Add(time.Minute); !drawn() && time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		}
		if !drawn() {
			t.Errorf("%s: nothing was drawn: %s", at, errs.String())
		}
		if err := view.Process.Signal(syscall.SIGTERM); err != nil {
			t.Fatal(err)
		}
		select {
		case <-ended:
		case <-time.After(time.Minute):
			view.Process.Kill()
			t.Errorf("%s: the viewer did not end", at)
		}
		if events := happened(); len(events) > 0 {
			t.Errorf("%s: %d events, the first: %s", at, len(events), events[0])
		}
		if after := state(t, base); !maps.Equal(before, after) {
			t.Errorf("%s: the source is not as it was: %v, was %v", at, after, before)
		}
	}
}

// display starts an X server without a screen and names it.
func display(t *testing.T) string {
	t.Helper()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	x := exec.Command("Xvfb", "-displayfd", "3", "-nolisten", "tcp", "-screen", "0", "1280x800x24")
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
	return ":" + strings.TrimSpace(line)
}
