package intake_test

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"leadline/imaging"
	"leadline/imaging/intake"
)

// survey opens what is at path, whatever it holds: cases of films that lie
// within it, each once, or an error of a known kind. (A name that holds a line's
// end makes two lines of it until it is printed.)
func survey(t *testing.T, path string) {
	t.Helper()
	known := func(err error) bool {
		return slices.ContainsFunc([]error{imaging.ErrBadInput, imaging.ErrNotDICOM, imaging.ErrDamaged, imaging.ErrUnsupported, imaging.ErrConflict},
			func(kind error) bool { return errors.Is(err, kind) })
	}
	all, err := intake.Survey(path)
	if err != nil {
		if !known(err) {
			t.Fatalf("error of no kind: %q", err)
		}
		return
	}
	defer func() {
		if err := all.Close(); err != nil {
			t.Fatal(err)
		}
	}()
	for _, err := range all.Refused {
		if !known(err) {
			t.Fatalf("refused by an error of no kind: %q", err)
		}
	}
	if len(all.Cases) == 0 {
		t.Fatal("neither a case nor an error")
	}
	seen := map[string]bool{}
	for i, k := range all.Cases {
		if k.Number != i+1 || k.Of != len(all.Cases) || len(k.Files) == 0 {
			t.Fatalf("case %d is number %d of %d with %d films", i+1, k.Number, k.Of, len(k.Files))
		}
		for _, f := range k.Files {
			h := f.Header
			if h.Study != k.Files[0].Header.Study || strings.TrimSpace(h.PatientID) != strings.TrimSpace(k.Files[0].Header.PatientID) {
				t.Fatalf("films of several studies or patients in case %d", i+1)
			}
			if rel := k.Relative(h.File); seen[h.SOPInstance] || !filepath.IsLocal(rel) {
				t.Fatalf("film %q at %q", h.SOPInstance, rel)
			}
			seen[h.SOPInstance] = true
			if int64(h.Columns)*int64(h.Rows) > 1<<20 {
				continue
			}
			if _, err := f.Frame(1, 1); err != nil && !known(err) {
				t.Fatalf("a frame gives an error of no kind: %q", err)
			}
		}
	}
}

// FuzzFolder: a folder with a DICOMDIR, two films, and a third file under any
// name, all of any bytes.
func FuzzFolder(f *testing.F) {
	one, two := bytesOf(f, at("2.25.1", "1000")), bytesOf(f, film{instance: "2.25.2", study: "2.25.8", patient: "Q"})
	f.Add([]byte("no directory"), one, two, "B/IM3", one)
	f.Add(one, two, two, "IM3", []byte{})
	f.Fuzz(func(t *testing.T, directory, first, second []byte, name string, third []byte) {
		dir := filepath.Join(t.TempDir(), "disc")
		if !filepath.IsLocal(name) || strings.Contains(name, "\x00") || strings.Count(name, "/") > 20 {
			name = "IM3"
		}
		for path, content := range map[string][]byte{"DICOMDIR": directory, "DICOM/IM1": first, "DICOM/IM2": second, name: third} {
			path = filepath.Join(dir, path)
			if os.MkdirAll(filepath.Dir(path), 0o700) != nil || os.WriteFile(path, content, 0o600) != nil {
				continue // a name that this file system does not take, or that is another's folder
			}
		}
		survey(t, dir)
	})
}

// FuzzArchive: an archive of any bytes.
func FuzzArchive(f *testing.F) {
	path := filepath.Join(f.TempDir(), "case.zip")
	one, two := bytesOf(f, at("2.25.1", "1000")), bytesOf(f, at("2.25.2", "1000"))
	for _, entries := range [][]packed{
		{stored("IM1", one)}, {deflated("DICOM/IM1", one), deflated("DICOM/IM2", two), deflated("../IM3", two)},
		{deflated("IM1", one), stored("IM1", two), stored("a/", nil)}, nil,
	} {
		pack(f, path, entries...)
		content, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(content)
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		path := filepath.Join(t.TempDir(), "case.zip")
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		survey(t, path)
	})
}
