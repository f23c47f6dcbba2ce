package sidecar

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
)

// started is a store in a new folder with the sample saved in it once.
func started(t *testing.T) (*Store, Report) {
	t.Helper()
	s, err := Lock(t.TempDir(), "Observer A")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	r := unsaved()
	if err := s.Save(&r); err != nil {
		t.Fatal(err)
	}
	return s, r
}

// unsaved is the sample before it is first saved.
func unsaved() Report {
	r := sample()
	return Report{Book: r.Book, Placement: r.Placement, Images: r.Images, Responses: r.Responses, Operation: r.Operation}
}

func wants(t *testing.T, err, kind error, words ...string) {
	t.Helper()
	if !errors.Is(err, kind) {
		t.Fatalf("error %v is not of kind %q", err, kind)
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("error %q does not say %q", err, w)
		}
	}
	if strings.Contains(err.Error(), "\n") {
		t.Errorf("error is more than one line: %q", err)
	}
}

func TestSaveThenLoad(t *testing.T) {
	s, saved := started(t)
	if saved.Revision != 1 || !validUID(saved.SOPInstance) || saved.Created.IsZero() || !saved.Changed.Equal(saved.Created) {
		t.Errorf("first save gave revision %d, UID %q, %v, %v", saved.Revision, saved.SOPInstance, saved.Created, saved.Changed)
	}
	got, found, err := Load(s.dir, "Observer A", saved.Images)
	if err != nil || !found {
		t.Fatal(found, err)
	}
	// A film's geometry and file name come back from the images.
	for i := range got.Placement.Films {
		f := &got.Placement.Films[i].Film
		if f.Geometry != f.Header.Geometry(f.Ref.First) || f.File != filepath.Base(f.Header.File) {
			t.Errorf("film %d has geometry %+v", i, f.Geometry)
		}
		f.Geometry, f.File = imaging.Geometry{}, ""
	}
	saved.Created, saved.Changed = got.Created, got.Changed // the same instants in another zone
	if d := difference("", reflect.ValueOf(got), reflect.ValueOf(saved)); d != "" {
		t.Error(d)
	}
	if names, err := Observers(s.dir); err != nil || !slices.Equal(names, []string{"Observer A"}) {
		t.Errorf("observers %v, %v", names, err)
	}
}

// What is kept of a patient is for its owner alone, former revisions too; a mode
// somebody chose afterwards stays.
func TestKeptForItsOwner(t *testing.T) {
	old := syscall.Umask(0)
	defer syscall.Umask(old)
	s, r := started(t)
	if err := s.Keep(); err != nil {
		t.Fatal(err)
	}
	mode := func(path string) os.FileMode {
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		return info.Mode().Perm()
	}
	former, err := filepath.Glob(filepath.Join(s.dir, "*.kept"))
	if err != nil || len(former) != 1 {
		t.Fatal(former, err)
	}
	for _, path := range append(former, s.path) {
		if m := mode(path); m != 0o600 {
			t.Errorf("%s has mode %o", filepath.Base(path), m)
		}
	}
	if err := os.Chmod(s.path, 0o640); err != nil {
		t.Fatal(err)
	}
	r.Responses = r.Responses[:1]
	if err := s.Save(&r); err != nil {
		t.Fatal(err)
	}
	if m := mode(s.path); m != 0o640 {
		t.Errorf("a mode chosen became %o", m)
	}
}

func TestNothingThereYet(t *testing.T) {
	r, found, err := Load(t.TempDir(), "Observer B", sample().Images)
	if err != nil || found || r.Book.Observer != "Observer B" || len(r.Images) != 3 {
		t.Errorf("%+v, %v, %v", r, found, err)
	}
}

// A report that did not change is not written again; one that did is the next
// revision under the same UID until it has left the tool.
func TestRevisions(t *testing.T) {
	s, r := started(t)
	before, _ := os.Stat(s.path)
	again := unsaved()
	again.Book = r.Book // with the UIDs saving gave its marks
	if err := s.Save(&again); err != nil || again.Revision != 1 || again.SOPInstance != r.SOPInstance {
		t.Fatalf("unchanged: revision %d, %v", again.Revision, err)
	}
	if after, _ := os.Stat(s.path); !os.SameFile(before, after) {
		t.Error("an unchanged report was written again")
	}
	// Nor is one whose numbers differ in the last bits, as sums taken in another
	// order do.
	again.Placement.Results = slices.Clone(again.Placement.Results)
	again.Placement.Results[0].U95 = math.Nextafter(again.Placement.Results[0].U95, 10)
	if err := s.Save(&again); err != nil || again.Revision != 1 {
		t.Errorf("changed in the last bit: revision %d, %v", again.Revision, err)
	}
	r.Book.Marks[0].Detail = "S2/S3"
	if err := s.Save(&r); err != nil || r.Revision != 2 {
		t.Fatalf("changed: revision %d, %v", r.Revision, err)
	}
	if r.SOPInstance != again.SOPInstance || len(r.Predecessors) != 0 {
		t.Error("a draft that never left the tool took a new UID")
	}
}

// Each time a changed report leaves the tool it has a new SOP Instance UID and
// names the former; unchanged it keeps its UID (PS3.3 C.17.2).
func TestIssue(t *testing.T) {
	s, r := started(t)
	out := filepath.Join(t.TempDir(), "report.dcm")
	if err := s.Issue(out, &r); err != nil || r.Issued != r.Revision {
		t.Fatal(r.Issued, err)
	}
	first := r.SOPInstance
	one, _ := os.ReadFile(out)
	if err := s.Issue(out, &r); err != nil || r.SOPInstance != first || r.Revision != 1 {
		t.Fatalf("issued again unchanged: %v", err)
	}
	if two, _ := os.ReadFile(out); !bytes.Equal(one, two) {
		t.Error("issued twice unchanged, the files differ")
	}
	r.Book.Statements = r.Book.Statements[:1]
	if err := s.Save(&r); err != nil {
		t.Fatal(err)
	}
	second := r.SOPInstance
	if second == first || !slices.Equal(r.Predecessors, []string{first}) || r.Issued != 0 {
		t.Errorf("after a change: UID %s, predecessors %v, issued %d", second, r.Predecessors, r.Issued)
	}
	if err := s.Issue(out, &r); err != nil || r.SOPInstance != second {
		t.Fatal(err)
	}
	r.Placement.Cautions = nil
	if err := s.Issue(out, &r); err != nil || !slices.Equal(r.Predecessors, []string{first, second}) {
		t.Errorf("third: %v, %v", r.Predecessors, err)
	}
	got, _, err := Load(s.dir, "Observer A", r.Images)
	if err != nil || got.SOPInstance != r.SOPInstance || got.Issued != got.Revision {
		t.Errorf("on disk: %s issued %d of %d, %v", got.SOPInstance, got.Issued, got.Revision, err)
	}
}

// Where the file cannot be written, nothing counts as issued.
func TestIssueThatFails(t *testing.T) {
	s, r := started(t)
	if err := s.Issue(filepath.Join(t.TempDir(), "no such folder", "report.dcm"), &r); err == nil {
		t.Fatal("no error")
	}
	got, _, err := Load(s.dir, "Observer A", r.Images)
	if err != nil || got.Issued != 0 || r.Issued != 0 {
		t.Errorf("issued %d on disk, %d in hand, %v", got.Issued, r.Issued, err)
	}
}

func TestOneWriter(t *testing.T) {
	s, r := started(t)
	_, err := Lock(s.dir, "Observer A")
	wants(t, err, imaging.ErrInUse, "Observer A", fmt.Sprint(os.Getpid()), "close it")
	other, err := Lock(s.dir, "Observer B")
	if err != nil {
		t.Fatal("another observer is locked out:", err)
	}
	if err := other.Save(&r); !errors.Is(err, imaging.ErrBadInput) {
		t.Errorf("a report of one observer saved as another's: %v", err)
	}
	if err := errors.Join(other.Close(), s.Close(), s.Close()); err != nil {
		t.Fatal(err)
	}
	if left, _ := filepath.Glob(filepath.Join(s.dir, "*"+lockSuffix)); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	again, err := Lock(s.dir, "Observer A")
	if err != nil {
		t.Fatal("locked out after close:", err)
	}
	again.Close()
}

// A lock file left over by a crash, and what a write cut short left, stop nobody.
func TestLeftoversOfACrash(t *testing.T) {
	dir := t.TempDir()
	stale := filepath.Join(dir, mark.SafeName("Observer A")+lockSuffix)
	half := filepath.Join(dir, "."+mark.SafeName("Observer A")+suffix+"123456")
	for _, p := range []string{stale, half} {
		if err := os.WriteFile(p, []byte("1\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s, err := Lock(dir, "Observer A")
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := os.Stat(half); err == nil {
		t.Error("the half-written file is still there")
	}
}

// /proc takes no new file, even from root.
func TestPlaceThatCannotBeWritten(t *testing.T) {
	_, err := Lock("/proc", "Observer A")
	wants(t, err, imaging.ErrBadInput, "/proc", "--marks DIR")
}

func TestChangedUnderneath(t *testing.T) {
	s, r := started(t)
	theirs := r
	theirs.Revision, theirs.Book = 9, r.Book.Clone()
	theirs.Book.Marks = theirs.Book.Marks[1:]
	doc, err := Encode(theirs)
	if err != nil {
		t.Fatal(err)
	}
	put := func(b []byte) {
		t.Helper()
		if err := os.WriteFile(s.path, b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	r.Book.Marks[0].Detail = "S2/S3"
	for name, b := range map[string][]byte{"revision 9": doc, "cannot be read": []byte("{")} {
		put(b)
		wants(t, s.Save(&r), imaging.ErrConflict, name, "revision 1", "nothing was written")
		if err := s.Keep(); !errors.Is(err, imaging.ErrConflict) {
			t.Errorf("Keep: %v", err)
		}
		if now, _ := os.ReadFile(s.path); !bytes.Equal(now, b) {
			t.Error("the file was overwritten")
		}
	}
	os.Remove(s.path)
	wants(t, s.Save(&r), imaging.ErrConflict, "removed", "nothing was written")

	fresh, err := Lock(s.dir, "Observer B")
	if err != nil {
		t.Fatal(err)
	}
	defer fresh.Close()
	if err := os.WriteFile(pathOf(s.dir, "Observer B"), doc, 0o644); err != nil {
		t.Fatal(err)
	}
	mine := unsaved()
	mine.Book.Observer = "Observer B"
	wants(t, fresh.Save(&mine), imaging.ErrConflict, "was not read", "nothing was written")
}

func TestDamagedSidecarIsLeftAlone(t *testing.T) {
	s, r := started(t)
	doc, _ := os.ReadFile(s.path)
	for _, b := range [][]byte{nil, []byte("{}"), []byte("not json"), doc[:len(doc)/2], bytes.Replace(doc, []byte("Observer A"), []byte("Observer\u0007A"), 1)} {
		if err := os.WriteFile(s.path, b, 0o644); err != nil {
			t.Fatal(err)
		}
		_, _, err := s.Load(r.Images)
		wants(t, err, imaging.ErrBadInput, s.path, "left as it is")
		if _, err := Observers(s.dir); err == nil {
			t.Error("Observers says nothing of a damaged sidecar")
		}
		if now, _ := os.ReadFile(s.path); !bytes.Equal(now, b) {
			t.Fatal("the damaged file was changed")
		}
	}
}

// A report is refused beside images that are not its own, and welcome beside
// its own and more.
func TestOtherImages(t *testing.T) {
	s, r := started(t)
	with := func(i int, change func(*imaging.Header)) []*imaging.Header {
		var out []*imaging.Header
		for j, h := range r.Images {
			c := *h
			if i == j {
				change(&c)
			}
			out = append(out, &c)
		}
		return out
	}
	for name, c := range map[string]struct {
		images []*imaging.Header
		words  []string
	}{
		"rows":    {with(1, func(h *imaging.Header) { h.Rows = 512 }), []string{"1024 columns and 512 rows", "other images"}},
		"columns": {with(1, func(h *imaging.Header) { h.Columns = 1000 }), []string{"1000 columns"}},
		"frames":  {with(2, func(h *imaging.Header) { h.Frames = 12 }), []string{"12 frames", "24"}},
		"study":   {with(0, func(h *imaging.Header) { h.Study = "1.2.3" }), []string{"study 1.2.3"}},
		"class":   {with(0, func(h *imaging.Header) { h.SOPClass = "1.2.3" }), []string{"class 1.2.3"}},
		"missing": {r.Images[:1], []string{r.Images[1].SOPInstance, "not here"}},
		"none of them": {[]*imaging.Header{{SOPInstance: "1.2.3", Study: r.Images[0].Study, Columns: 10, Rows: 10, Frames: 1}},
			[]string{"not here"}},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := Load(s.dir, "Observer A", c.images)
			wants(t, err, imaging.ErrBadInput, append(c.words, s.path)...)
		})
	}
	more := append(slices.Clone(r.Images), &imaging.Header{SOPInstance: "1.2.3.4", SOPClass: r.Images[0].SOPClass, Series: "1.2.3.5",
		Study: r.Images[0].Study, PatientID: r.Images[0].PatientID, Columns: 64, Rows: 64, Frames: 1})
	got, found, err := s.Load(more)
	if err != nil || !found || len(got.Images) != 4 {
		t.Fatalf("beside one more image: %v", err)
	}
	if err := s.Save(&got); err != nil || got.Revision != 2 {
		t.Errorf("saved beside one more image: revision %d, %v", got.Revision, err)
	}
	_, _, err = Load(s.dir, "Observer A", nil)
	wants(t, err, imaging.ErrBadInput, "not here")
}

// Names that the file system would take for one file stay two files; a file
// that was renamed is not taken for another observer's.
func TestAnotherObserversFile(t *testing.T) {
	s, r := started(t)
	b, err := Lock(s.dir, "Observer/A")
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	path := pathOf(s.dir, "Observer/A")
	if path == s.path {
		t.Error("two observers share a file")
	}
	doc, _ := os.ReadFile(s.path)
	if err := os.WriteFile(path, doc, 0o644); err != nil {
		t.Fatal(err)
	}
	_, _, err = b.Load(r.Images)
	wants(t, err, imaging.ErrBadInput, `"Observer A"`, `"Observer/A"`)
}

func TestKeep(t *testing.T) {
	s, r := started(t)
	var kept [][]byte
	for i := range 3 {
		doc, _ := os.ReadFile(s.path)
		kept = append(kept, doc)
		if err := s.Keep(); err != nil {
			t.Fatal(err)
		}
		if err := s.Keep(); err != nil { // twice is once
			t.Fatal(err)
		}
		r.Book.Marks[0].Detail = fmt.Sprint("S", i+1)
		if err := s.Save(&r); err != nil {
			t.Fatal(err)
		}
	}
	// The same revision number with other content, as after a sidecar was put
	// back by hand, does not overwrite what was kept.
	if err := os.WriteFile(s.path, kept[0], 0o644); err != nil {
		t.Fatal(err)
	}
	back, _, err := s.Load(r.Images)
	if err != nil {
		t.Fatal(err)
	}
	back.Book.Marks = back.Book.Marks[:2]
	back.Placement = placement.Placement{}
	if err := s.Save(&back); err != nil {
		t.Fatal(err)
	}
	doc, _ := os.ReadFile(s.path)
	kept = append(kept, doc)
	if err := s.Keep(); err != nil {
		t.Fatal(err)
	}
	files, _ := filepath.Glob(filepath.Join(s.dir, "*.kept"))
	if len(files) != len(kept) {
		t.Fatalf("kept %v", files)
	}
	for _, want := range kept {
		if !slices.ContainsFunc(files, func(f string) bool {
			b, _ := os.ReadFile(f)
			return bytes.Equal(b, want)
		}) {
			t.Error("a kept revision is gone")
		}
	}
	if names, err := Observers(s.dir); err != nil || len(names) != 1 {
		t.Errorf("kept revisions are taken for observers: %v, %v", names, err)
	}
}

// A write that fails at any step leaves the former file whole and nothing else.
func TestFailedWrite(t *testing.T) {
	s, r := started(t)
	before, _ := os.ReadFile(s.path)
	for _, step := range []string{"open", "half", "whole"} {
		s.step = func(name string) error {
			if name == step {
				return errors.New("disk full")
			}
			return nil
		}
		r.Book.Marks[0].Detail = step
		err := s.Save(&r)
		if err == nil || !strings.Contains(err.Error(), "disk full") || !strings.Contains(err.Error(), "former report stands") {
			t.Fatalf("%s: %v", step, err)
		}
		now, _ := os.ReadFile(s.path)
		entries, _ := os.ReadDir(s.dir)
		if !bytes.Equal(now, before) || len(entries) != 2 || r.Revision != 1 {
			t.Errorf("%s: file changed, revision %d, or left over: %v", step, r.Revision, entries)
		}
	}
	s.step = func(string) error { return nil }
	if err := s.Save(&r); err != nil || r.Revision != 2 {
		t.Errorf("after failures: %v", err)
	}
}

// TestWriterThatIsKilled is the process that TestKilledWriter kills.
func TestWriterThatIsKilled(t *testing.T) {
	dir := os.Getenv("SIDECAR_WRITER_DIR")
	if dir == "" {
		t.Skip("run by TestKilledWriter")
	}
	s, err := Lock(dir, "Observer A")
	if err != nil {
		t.Fatal(err)
	}
	s.verify = false
	r, _, err := s.Load(unsaved().Images)
	if err != nil {
		t.Fatal(err)
	}
	for {
		r.Book.Marks[0].Detail = fmt.Sprint(r.Revision)
		if err := s.Save(&r); err != nil {
			t.Fatal(err)
		}
	}
}

// TestKilledWriter kills a process that does nothing but save, at random
// moments: each time the file decodes, no revision goes back, the lock is free
// and what the write left behind is swept.
func TestKilledWriter(t *testing.T) {
	s, r := started(t)
	s.Close()
	rng := rand.New(rand.NewPCG(5, 8))
	last := 1
	for range 15 {
		cmd := exec.Command(os.Args[0], "-test.run=^TestWriterThatIsKilled$", "-test.timeout=60s")
		cmd.Env = append(os.Environ(), "SIDECAR_WRITER_DIR="+s.dir)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		// Wait for its first save, then a random while.
		for began := time.Now(); time.Since(began) < 20*time.Second; time.Sleep(time.Millisecond) {
			if got, _, err := Load(s.dir, "Observer A", r.Images); err != nil {
				t.Fatal(err)
			} else if got.Revision > last {
				break
			}
		}
		time.Sleep(time.Duration(rng.IntN(20000)) * time.Microsecond)
		cmd.Process.Kill()
		cmd.Wait()
		got, found, err := Load(s.dir, "Observer A", r.Images)
		if err != nil || !found {
			t.Fatalf("after a kill: %v", err)
		}
		if got.Revision <= last {
			t.Fatalf("after a kill: revision %d follows %d; the writer did not get to write", got.Revision, last)
		}
		last = got.Revision
		again, err := Lock(s.dir, "Observer A")
		if err != nil {
			t.Fatalf("after a kill: %v", err)
		}
		again.Close()
		if entries, _ := os.ReadDir(s.dir); len(entries) != 1 {
			t.Fatalf("after a kill, left over: %v", entries)
		}
	}
}
