package desk

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

func openCase(t *testing.T, dir string) *Opened {
	t.Helper()
	o, err := Open(dir, "reader", "", func() {})
	if err != nil {
		t.Fatal(err)
	}
	return o
}

// The list of cases holds paths and nothing else, for this person alone, and
// one action empties it.
func TestRecentCases(t *testing.T) {
	state := t.TempDir()
	t.Setenv("XDG_STATE_HOME", state)
	first, second := writeCase(t), writeCase(t)
	for _, dir := range []string{first, second, first} {
		if err := openCase(t, dir).Close(); err != nil {
			t.Fatal(err)
		}
	}
	if got := Recent(); !slices.Equal(got, []string{first, second}) {
		t.Errorf("recent: %v", got)
	}
	file := filepath.Join(state, "leadline", "recent.json")
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var paths []string
	if err := json.Unmarshal(data, &paths); err != nil || len(paths) != 2 {
		t.Errorf("%s holds %s", file, data)
	}
	// Nobody else may read what is kept, and none of it names patient or image.
	err = filepath.WalkDir(filepath.Join(state, "leadline"), func(p string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		info, err := e.Info()
		if err != nil {
			return err
		}
		if info.Mode().Perm()&0o077 != 0 && e.Name() != "caution-read" {
			t.Errorf("%s: mode %v", p, info.Mode())
		}
		data, err := os.ReadFile(p)
		if strings.Contains(string(data), "MADE-UP") || strings.Contains(string(data), "2.25.1") {
			t.Errorf("%s names patient or image: %s", p, data)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	o := openCase(t, second)
	o.Press("Enter")
	o.Press("Escape")
	o.Press("Ctrl+o")
	if c := o.Cases(); c == nil || c.Only || !slices.Equal(c.Paths, []string{second, first}) {
		t.Fatalf("%+v", c)
	}
	o.Press("f")
	if c := o.Cases(); c == nil || len(c.Paths) != 0 {
		t.Errorf("after emptying: %+v", c)
	}
	if err := o.Close(); err != nil {
		t.Fatal(err)
	}
	left, err := os.ReadDir(filepath.Join(state, "leadline"))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range left {
		if e.Name() != "caution-read" {
			t.Errorf("%s is kept after emptying", e.Name())
		}
	}
}

func TestACaseOpensWhereItWasLeft(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	dir := writeCase(t)
	o := openCase(t, dir)
	o.SetWindow(FrontalPane, imaging.Window{Center: 7, Width: 5})
	o.SetLook(FrontalPane, 3, r2.Vec{X: 2, Y: 1})
	want := o.Pane(FrontalPane)
	if err := o.Close(); err != nil {
		t.Fatal(err)
	}
	o = openCase(t, dir)
	defer o.Close()
	got := o.Pane(FrontalPane)
	got.Cursor = want.Cursor
	if got != want {
		t.Errorf("left %+v, opened %+v", want, got)
	}
}

// What was kept of a run is used only as far as the run still has those frames.
func TestARunOpensWhereItWasLeft(t *testing.T) {
	b := newRunBench(t, 12)
	b.GoTo(LateralPane, 7)
	b.ChooseSpan(LateralPane, 3, 9)
	l := b.left()
	c := newRunBench(t, 12)
	c.resume(l)
	if r, _ := c.Run(LateralPane); r.At != 7 || r.First != 3 || r.Last != 9 {
		t.Errorf("%+v", r)
	}
	short := newRunBench(t, 5)
	short.resume(l)
	if r, _ := short.Run(LateralPane); r.At != 1 || r.First != 0 {
		t.Errorf("of a run of five frames: %+v", r)
	}
}

func TestViewsAreConfirmedInOneStep(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	dir := writeCase(t)
	o := openCase(t, dir)
	o.Press("Enter") // the caution
	if q := o.Question(); q == nil || !strings.Contains(q.Detail, "frontal, by positioner angles") {
		t.Fatalf("asked: %+v", q)
	}
	o.Press("Enter")
	if s := o.Book().Statements; len(s) != 1 || s[0].View != imaging.Frontal || s[0].Observer != "reader" {
		t.Errorf("stated: %+v", s)
	}
	untilSaved(t, o)
	if err := o.Close(); err != nil {
		t.Fatal(err)
	}
	o = openCase(t, dir)
	defer o.Close()
	if o.Question() != nil {
		t.Error("asked again about what was confirmed")
	}
}

func TestOpeningIsAskedForAndGivenUp(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	woken := 0
	o := Welcome(func() { woken++ })
	defer o.Close()
	o.Press("Enter")
	o.Press("Escape")
	if c := o.Cases(); c == nil || !c.Only {
		t.Fatal("with no case open the list can be closed")
	}
	o.Press("p")
	for _, k := range strings.Split("/cases/7", "") {
		o.Press(k)
	}
	o.Press("Enter")
	if target, ok := o.Wanted(); !ok || target.Path != "/cases/7" || woken == 0 {
		t.Errorf("wanted: %+v %t", target, ok)
	}
	if _, again := o.Wanted(); again {
		t.Error("asked for twice")
	}
	o.Press("Escape")
	if _, on := o.Opening(); on {
		t.Error("not given up")
	}
	// Several studies are asked about.
	o.OpenCase(Target{Path: "/cases/8"})
	o.NotOpened(&Several{Labels: []string{"A, 2026", "B, 2026"}, error: imaging.ErrBadInput})
	o.Press("2")
	if target, ok := o.Wanted(); !ok || target != (Target{"/cases/8", "2"}) {
		t.Errorf("wanted: %+v %t", target, ok)
	}
	o.NotOpened(errors.New("no such folder"))
	if n := o.Notice(); !n.Trouble || o.Question() != nil {
		t.Errorf("%+v", n)
	}
}

func TestChooserPutsAFilmIntoItsPane(t *testing.T) {
	late := header("1.4", 90)
	late.AcquisitionTime = "101112.5"
	b := newBench(t, header("1.1", 0), header("1.2", 90), late)
	b.put(LateralPane, b.choices()[1].ref)
	b.SetFocus(FrontalPane)
	b.Press("Shift+Tab")
	c := b.Chooser()
	if c == nil || len(c.List) != 3 || c.List[c.At].Ref.Instance != "1.1" {
		t.Fatalf("%+v", c)
	}
	if c.List[2].Line != "lateral, 10:11:12" {
		t.Errorf("%q", c.List[2].Line)
	}
	b.Press("End")
	b.Press("Enter")
	if b.Pane(LateralPane).Ref.Instance != "1.4" || b.Focus() != LateralPane || b.Chooser() != nil {
		t.Errorf("shown %v", b.Pane(LateralPane).Ref)
	}
}

func TestThumbnailsAreMadeAside(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	o := openCase(t, writeCase(t))
	defer o.Close()
	o.ShowChooser()
	ref := o.Chooser().List[0].Ref
	for end := time.Now().Add(20 * time.Second); o.Thumb(ref) == nil; time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("no picture")
		}
	}
	if b := o.Thumb(ref).Bounds(); b.Dx() != 6 || b.Dy() != 4 {
		t.Errorf("picture of %v", b)
	}
}
