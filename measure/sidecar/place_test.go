package sidecar

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"leadline/imaging"
	"leadline/measure/mark"
)

// study is one image of a study, and a book with a mark on it.
func study(uid string) ([]*imaging.Header, mark.Book) {
	h := *sample().Images[0]
	h.Study, h.SOPInstance = uid, uid+".1"
	m := sample().Book.Marks[0]
	m.UID, m.Frame = "", mark.One(h.SOPInstance, 1)
	return []*imaging.Header{&h}, mark.Book{Observer: "Observer A", Marks: []mark.Mark{m}}
}

// One observer's marks of several studies in one folder: each is found beside
// its own images alone, by whatever order they were made in, and under names
// that a listing of the folder takes for no image.
func TestStudiesInOneFolder(t *testing.T) {
	dir := t.TempDir()
	uids := []string{"2.25.71", "2.25.72", "2.25.73"}
	for _, uid := range uids {
		images, book := study(uid)
		if _, found, err := Load(dir, "Observer A", images); err != nil || found {
			t.Fatalf("%s before it is marked: found %t, %v", uid, found, err)
		}
		s, err := Lock(dir, "Observer A")
		if err != nil {
			t.Fatal(err)
		}
		r, _, err := s.Load(images)
		if err != nil {
			t.Fatal(err)
		}
		r.Book = book
		if err := s.Save(&r); err != nil {
			t.Fatal(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	first, err := os.ReadFile(filepath.Join(dir, mark.SafeName("Observer A")+".leadline.json"))
	if err != nil || !strings.Contains(string(first), uids[0]) {
		t.Errorf("the first study's marks do not lie under the observer's name alone: %v", err)
	}
	for _, uid := range uids {
		images, _ := study(uid)
		r, found, err := Load(dir, "Observer A", images)
		if err != nil || !found || r.Revision != 1 || len(r.Book.Marks) != 1 || r.Book.Marks[0].Frame.Instance != uid+".1" {
			t.Errorf("%s: found %t, revision %d, %v", uid, found, r.Revision, err)
		}
		names, err := ObserversOf(dir, images)
		if err != nil || !slices.Equal(names, []string{"Observer A"}) {
			t.Errorf("%s: marked by %q, %v", uid, names, err)
		}
	}
	other, _ := study("2.25.74")
	if names, err := ObserversOf(dir, other); err != nil || len(names) != 0 {
		t.Errorf("a study without marks: marked by %q, %v", names, err)
	}
	if names, err := Observers(dir); err != nil || !slices.Equal(names, []string{"Observer A"}) {
		t.Errorf("observers of the folder: %q, %v", names, err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 3 {
		t.Fatalf("%d files: %v", len(entries), err)
	}
	for _, e := range entries {
		if !strings.Contains(e.Name(), ".leadline.") {
			t.Errorf("%s would be read as an image", e.Name())
		}
	}

	// Gone: the second study's marks stay where they are when the first's go.
	if err := os.Remove(pathOf(dir, "Observer A")); err != nil {
		t.Fatal(err)
	}
	images, _ := study(uids[1])
	if _, found, err := Load(dir, "Observer A", images); err != nil || !found {
		t.Errorf("once the first study's marks are gone: found %t, %v", found, err)
	}
	// Two of one study: which holds is not guessed.
	doc, err := os.ReadFile(pathOfStudy(dir, "Observer A", images[0]))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(pathOf(dir, "Observer A"), doc, 0o600); err != nil {
		t.Fatal(err)
	}
	_, _, err = Load(dir, "Observer A", images)
	wants(t, err, imaging.ErrConflict, filepath.Base(pathOf(dir, "Observer A")), filepath.Base(pathOfStudy(dir, "Observer A", images[0])), "move one of them away")
}

// What was left behind by writes of this observer's sidecars, and nothing else.
func TestUnfinished(t *testing.T) {
	for name, want := range map[string]bool{
		".Ann.leadline.json123": true, ".Ann.0123456789ab.leadline.json77": true,
		".Ann.leadline.json": false, ".Ann.leadline.jsonx": false, ".Ben.leadline.json1": false, "Ann.leadline.json1": false,
		".Ann.0123456789xy.leadline.json1": false, ".Ann.r0001.leadline.json.kept": false, ".Anna.leadline.json1": false,
	} {
		if got := unfinished(name, "Ann"); got != want {
			t.Errorf("%s: %t", name, got)
		}
	}
}

// Patients that share a Study Instance UID share no marks: not even what was
// stated of a whole case.
func TestPatientsUnderOneStudy(t *testing.T) {
	dir := t.TempDir()
	images := func(patient string) []*imaging.Header {
		of, _ := study("2.25.71")
		of[0].PatientID, of[0].SOPInstance = patient, "2.25.8"+patient
		return of
	}
	for _, patient := range []string{"1", "2", "3"} {
		s, err := Lock(dir, "Observer A")
		if err != nil {
			t.Fatal(err)
		}
		r, found, err := s.Load(images(patient))
		if err != nil || found {
			t.Fatalf("patient %s: found %t, %v", patient, found, err)
		}
		r.Book.Statements = []mark.Statement{{Observer: "Observer A", When: sample().Book.Statements[0].When, LevelBasis: mark.CountedAbove}}
		if err := s.Save(&r); err != nil {
			t.Fatal(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	for _, patient := range []string{"1", "2", "3"} {
		r, found, err := Load(dir, "Observer A", images(patient))
		if err != nil || !found || r.Images[0].PatientID != patient || len(r.Book.Statements) != 1 {
			t.Errorf("patient %s: found %t, %v", patient, found, err)
		}
	}
	// A number that was corrected since does not part marks from their film.
	for _, patient := range []string{"1", "2", "3"} {
		corrected := images(patient)
		corrected[0].PatientID = "corrected " + patient
		if r, found, err := Load(dir, "Observer A", corrected); err != nil || !found || r.Images[0].SOPInstance != "2.25.8"+patient {
			t.Errorf("patient %s once the number was corrected: found %t, %v", patient, found, err)
		}
	}
}
