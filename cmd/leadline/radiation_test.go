package main

import (
	"archive/zip"
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

const noteMarks = `instance,frame,structure,level,side,object,index,x,y
frontal.dcm,1,needle,,,N1,0,412,150
frontal.dcm,1,needle,,,N1,1,412,470
frontal.dcm,1,midline,,,,0,512,100
frontal.dcm,1,midline,,,,1,512,900
`

// A dose report among a case's files, in a folder and in an archive, comes before
// what the image's header says; that of another study is left out. The report is
// written by pydicom (imaging/radiation/testdata), of the study of writeFilm.
func TestDoseReportAmongTheFiles(t *testing.T) {
	python, err := exec.LookPath("/usr/bin/python3")
	if err != nil || exec.Command(python, "-c", "import pydicom").Run() != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatal("pydicom is not installed")
		}
		t.Skip("pydicom is not installed")
	}
	dir := t.TempDir()
	put := func(name string, text []byte) {
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	inside := filepath.Join(dir, "case")
	if err := os.Mkdir(inside, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := writeFilm(filepath.Join(inside, "frontal.dcm"), "frontal.dcm", "TotalTimeOfFluoroscopy=45"); err != nil {
		t.Fatal(err)
	}
	script := filepath.Join("..", "..", "imaging", "radiation", "testdata", "dosereport.py")
	if out, err := exec.Command(python, script, filepath.Join(inside, "dose.dcm")).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	var packed bytes.Buffer
	archive := zip.NewWriter(&packed)
	for _, name := range []string{"frontal.dcm", "dose.dcm"} {
		b, err := os.ReadFile(filepath.Join(inside, name))
		if err != nil {
			t.Fatal(err)
		}
		w, err := archive.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(b); err != nil {
			t.Fatal(err)
		}
	}
	if err := archive.Close(); err != nil {
		t.Fatal(err)
	}
	put("packed.zip", packed.Bytes())
	put("marks.csv", []byte(noteMarks))
	for _, kase := range []string{"case", "packed.zip"} {
		path := filepath.Join(dir, kase)
		leadline(t, "mark", path, "--import", filepath.Join(dir, "marks.csv"), "--observer", "A")
		said := leadline(t, "note", path, "--observer", "A")
		want := "Radiation: fluoroscopy time 62 s (1 min 2 s), single plane, from X-Ray Radiation Dose SR of 11:30; " +
			"dose-area product 0.000123 Gy.m2 (1.23 Gy.cm2), single plane, from X-Ray Radiation Dose SR of 11:30;"
		if !strings.Contains(said, want) || strings.Contains(said, "45 s") {
			t.Errorf("%s: want %q in\n%s", kase, want, said)
		}
	}
	// The same report beside a film of another study.
	if err := writeFilm(filepath.Join(inside, "frontal.dcm"), "frontal.dcm", "TotalTimeOfFluoroscopy=45", "StudyInstanceUID=2.25.2"); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "case")
	if err := os.Remove(filepath.Join(path, "A.leadline.json")); err != nil {
		t.Fatal(err)
	}
	leadline(t, "mark", path, "--import", filepath.Join(dir, "marks.csv"), "--observer", "A")
	said := leadline(t, "note", path, "--observer", "A")
	if !strings.Contains(said, "fluoroscopy time 45 s") || strings.Contains(said, "62 s") || !strings.Contains(said, "Radiation: a dose report of another study is left out.") {
		t.Errorf("a dose report of another study is told:\n%s", said)
	}
}

// leadline runs a command and gives what it prints.
func leadline(t *testing.T, args ...string) string {
	t.Helper()
	var out, warn bytes.Buffer
	if code := run(args, &out, &warn); code != exitDone {
		t.Fatalf("leadline %s ended with %d: %s", strings.Join(args, " "), code, warn.String())
	}
	return out.String()
}
