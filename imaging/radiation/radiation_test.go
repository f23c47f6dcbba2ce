package radiation

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
)

// tool skips a test whose tool is not installed, unless LEADLINE_REQUIRE_TOOLS
// asks for it.
func tool(t *testing.T, path string) string {
	t.Helper()
	found, err := exec.LookPath(path)
	if err == nil {
		return found
	}
	if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
		t.Fatalf("%s is not installed", path)
	}
	t.Skipf("%s is not installed", path)
	return ""
}

// written is a report made by pydicom: see testdata.
func written(t *testing.T, args ...string) string {
	t.Helper()
	python := tool(t, "/usr/bin/python3")
	path := filepath.Join(t.TempDir(), "dose.dcm")
	out, err := exec.Command(python, append([]string{"testdata/dosereport.py", path}, args...)...).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return path
}

func setOf(t *testing.T, path string) dicomfile.Set {
	t.Helper()
	set, err := read(path)
	if err != nil {
		t.Fatal(err)
	}
	return set
}

func read(path string) (dicomfile.Set, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return dicomfile.Set{}, err
	}
	return dicomfile.ReadSet(bytes.NewReader(b), int64(len(b)))
}

func sentences(figures []Figure) []string {
	var out []string
	for _, f := range figures {
		out = append(out, f.Sentence())
	}
	return out
}

// The values stand in testdata/dosereport.py; 1 m2 is 10,000 cm2.
func TestReport(t *testing.T) {
	for _, encoding := range []string{"", "implicit"} {
		path := written(t, "113622", encoding)
		r, err := Read(setOf(t, path))
		if err != nil {
			t.Fatal(err)
		}
		if r.Study != "2.25.1" || r.PatientID != "T-1" || len(r.Notes) != 0 {
			t.Errorf("study %q, patient %q, notes %q", r.Study, r.PatientID, r.Notes)
		}
		want := []string{
			"fluoroscopy time 62 s (1 min 2 s), single plane, from X-Ray Radiation Dose SR of 11:30",
			"dose-area product 0.000123 Gy.m2 (1.23 Gy.cm2), single plane, from X-Ray Radiation Dose SR of 11:30",
			"dose-area product of fluoroscopy 0.0001 Gy.m2 (1 Gy.cm2), single plane, from X-Ray Radiation Dose SR of 11:30",
			"air kerma at the reference point 0.0035 Gy (3.5 mGy), single plane, from X-Ray Radiation Dose SR of 11:30",
			"exposures 7, single plane, from X-Ray Radiation Dose SR of 11:30",
			"irradiation events 3, 1 stationary acquisition and 2 fluoroscopy, from X-Ray Radiation Dose SR of 11:30",
		}
		if got := sentences(r.Figures); !slices.Equal(got, want) {
			t.Errorf("%s: got\n%s\nwant\n%s", encoding, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	}
}

// Totals of two planes stand beside each other; their sum stands nowhere.
func TestPlanesAreNotAddedUp(t *testing.T) {
	r, err := Read(setOf(t, written(t, "113620", "113621")))
	if err != nil {
		t.Fatal(err)
	}
	said := strings.Join(sentences(r.Figures), "\n")
	for _, want := range []string{"62 s (1 min 2 s), plane a", "124 s (2 min 4 s), plane b", "(1.23 Gy.cm2), plane a", "(2.46 Gy.cm2), plane b"} {
		if !strings.Contains(said, want) {
			t.Errorf("want %q in\n%s", want, said)
		}
	}
	if strings.Contains(said, "186 s") || strings.Contains(said, "3.69") {
		t.Errorf("totals are added up:\n%s", said)
	}
}

// What is read here is a dose report to two other toolkits as well, with the same
// numbers.
func TestReportPassesOtherToolkits(t *testing.T) {
	path := written(t)
	out, err := exec.Command(tool(t, "dsrdump"), path).CombinedOutput()
	if err != nil {
		t.Fatalf("dsrdump: %v\n%s", err, out)
	}
	for _, want := range []string{`Dose Area Product Total`, `="0.000123" (Gy.m2`, `="62" (s`} {
		if !strings.Contains(string(out), want) {
			t.Errorf("dsrdump does not show %s:\n%s", want, out)
		}
	}
	out, _ = exec.Command(tool(t, "dciodvfy"), path).CombinedOutput()
	for _, line := range strings.Split(string(out), "\n") {
		if strings.HasPrefix(line, "Error") {
			t.Errorf("dciodvfy: %s", line)
		}
	}
}

func film(t *testing.T, name string, extra map[tag.Tag]any) string {
	t.Helper()
	values := map[tag.Tag]any{
		tag.SOPClassUID: []string{"1.2.840.10008.5.1.4.1.1.12.1"}, tag.SOPInstanceUID: []string{"2.25.5"}, tag.StudyInstanceUID: []string{"2.25.1"},
		tag.Rows: []int{2}, tag.Columns: []int{4}, tag.SamplesPerPixel: []int{1}, tag.PhotometricInterpretation: []string{"MONOCHROME2"},
		tag.BitsAllocated: []int{8}, tag.BitsStored: []int{8}, tag.HighBit: []int{7}, tag.PixelRepresentation: []int{0},
		tag.PixelData: dicom.PixelDataInfo{IntentionallyUnprocessed: true, UnprocessedValueData: []byte("abcdefgh")},
	}
	for k, v := range extra {
		values[k] = v
	}
	var ds dicom.Dataset
	for k, v := range values {
		e, err := dicom.NewElement(k, v)
		if err != nil {
			t.Fatal(err)
		}
		ds.Elements = append(ds.Elements, e)
	}
	path := filepath.Join(t.TempDir(), name)
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := dicomfile.Encode(f, ds); err != nil {
		t.Fatal(err)
	}
	return path
}

// imageOf is the set of an image by way of its File.
func imageOf(t *testing.T, name string, extra map[tag.Tag]any) dicomfile.Set {
	t.Helper()
	f, err := dicomfile.Open(film(t, name, extra))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	set, err := f.Set()
	if err != nil {
		t.Fatal(err)
	}
	return set
}

var (
	fluoroTime = tag.Tag{Group: 0x0040, Element: 0x0300}
	areaDose   = tag.Tag{Group: 0x0018, Element: 0x115e}
)

// Of running totals the last stands; products of single images stand each alone.
func TestHeaders(t *testing.T) {
	images := []dicomfile.Set{
		imageOf(t, "a", map[tag.Tag]any{fluoroTime: []int{20}, areaDose: []string{"1.5"}}),
		imageOf(t, "b", map[tag.Tag]any{fluoroTime: []int{45}, areaDose: []string{"2"}}),
		imageOf(t, "c", map[tag.Tag]any{fluoroTime: []int{30}}),
	}
	want := []string{
		"fluoroscopy time 45 s, highest of the images, from the header, Total Time of Fluoroscopy (0040,0300)",
		"dose-area product 1.5 dGy.cm2 (0.15 Gy.cm2), image 1 of 3 alone, from the header, Image and Fluoroscopy Area Dose Product (0018,115E)",
		"dose-area product 2 dGy.cm2 (0.2 Gy.cm2), image 2 of 3 alone, from the header, Image and Fluoroscopy Area Dose Product (0018,115E)",
	}
	rec := Of(images, nil, "2.25.1", "", nil)
	if got := sentences(rec.Figures); !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// The dose report before the headers, those before what was typed in; where what
// was typed in differs, both stand.
func TestPreference(t *testing.T) {
	report := setOf(t, written(t))
	images := []dicomfile.Set{imageOf(t, "a", map[tag.Tag]any{fluoroTime: []int{20}, areaDose: []string{"1.5"}})}
	typed := []Figure{
		{Kind: FluoroscopyTime, Value: 62, Unit: "s", Source: Typed},
		{Kind: AirKerma, Value: 5, Unit: "mGy", Source: Typed},
		{Kind: EntranceDose, Value: 4, Unit: "mGy", Source: Typed},
	}
	rec := Of(images, []dicomfile.Set{report}, "2.25.1", "T-1", typed)
	said := strings.Join(sentences(rec.Figures), "\n")
	if strings.Contains(said, "20 s") || strings.Contains(said, "dGy") || strings.Count(said, "62 s") != 1 {
		t.Errorf("the dose report does not come first:\n%s", said)
	}
	if !strings.Contains(said, "3.5 mGy") || !strings.Contains(said, "reference point 5 mGy, typed in from the console") ||
		!slices.Contains(rec.Notes, "air kerma at the reference point: what was typed in differs from the files") {
		t.Errorf("a difference is not told:\n%s\n%q", said, rec.Notes)
	}
	if !strings.Contains(said, "entrance dose 4 mGy, typed in from the console") {
		t.Errorf("what only the console told is left out:\n%s", said)
	}
	other := Of(images, []dicomfile.Set{report}, "2.25.2", "T-1", nil)
	if s := strings.Join(sentences(other.Figures), "\n"); strings.Contains(s, "Dose SR") || !slices.Contains(other.Notes, "a dose report of another study is left out") {
		t.Errorf("a dose report of another study is read:\n%s\n%q", s, other.Notes)
	}
}

func TestNoReport(t *testing.T) {
	if _, err := Read(imageOf(t, "a", nil)); !errors.Is(err, ErrNoReport) {
		t.Errorf("an image: %v", err)
	}
}

// A report cut anywhere ends in an error or in fewer figures, never in a panic,
// nor in figures that are not in it.
func TestCutReport(t *testing.T) {
	path := written(t)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	full, err := Read(setOf(t, path))
	if err != nil {
		t.Fatal(err)
	}
	known := sentences(full.Figures)
	cut := filepath.Join(t.TempDir(), "cut.dcm")
	for n := 0; n < len(whole); n += 41 {
		var r Report
		if err := os.WriteFile(cut, whole[:n], 0o644); err != nil {
			t.Fatal(err)
		}
		set, err := read(cut)
		if err == nil {
			r, err = Read(set)
		}
		if err != nil {
			if !errors.Is(err, imaging.ErrDamaged) && !errors.Is(err, imaging.ErrNotDICOM) && !errors.Is(err, ErrNoReport) {
				t.Fatalf("%d bytes: %v", n, err)
			}
			continue
		}
		for _, s := range sentences(r.Figures) {
			if !slices.Contains(known, s) {
				t.Fatalf("%d bytes: %s", n, s)
			}
		}
	}
}
