package intake_test

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
	"leadline/imaging/intake"
)

const (
	classXA = "1.2.840.10008.5.1.4.1.1.12.1"
	classSR = "1.2.840.10008.5.1.4.1.1.88.33"
)

// film is what matters of an image here.
type film struct {
	instance, study, patient string
	date, time               string
	series, number           string
	name, birth              string // of the patient
}

// put writes a film of four by two pixels; a structured report has none.
func put(t testing.TB, path string, f film, class string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	values := map[tag.Tag]any{
		tag.SOPClassUID: []string{class}, tag.SOPInstanceUID: []string{f.instance}, tag.StudyInstanceUID: []string{f.study},
		tag.Modality: []string{"XA"}, tag.SeriesInstanceUID: []string{f.study + ".1"},
		tag.PatientID: []string{f.patient}, tag.PatientName: []string{f.name}, tag.PatientBirthDate: []string{f.birth}, tag.StudyDate: []string{"20260102"}, tag.StudyTime: []string{"080000"},
		tag.AcquisitionDate: []string{f.date}, tag.AcquisitionTime: []string{f.time},
		tag.SeriesNumber: []string{f.series}, tag.InstanceNumber: []string{f.number},
	}
	if class != classSR {
		for tg, v := range map[tag.Tag]any{
			tag.Rows: []int{2}, tag.Columns: []int{4}, tag.SamplesPerPixel: []int{1}, tag.PhotometricInterpretation: []string{"MONOCHROME2"},
			tag.BitsAllocated: []int{8}, tag.BitsStored: []int{8}, tag.HighBit: []int{7}, tag.PixelRepresentation: []int{0},
			tag.PixelData: dicom.PixelDataInfo{IntentionallyUnprocessed: true, UnprocessedValueData: []byte("abcdefgh")},
		} {
			values[tg] = v
		}
	}
	var ds dicom.Dataset
	for tg, v := range values {
		e, err := dicom.NewElement(tg, v)
		if err != nil {
			t.Fatal(err)
		}
		ds.Elements = append(ds.Elements, e)
	}
	var b bytes.Buffer
	if err := dicomfile.Encode(&b, ds); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

// cut takes n bytes off the end of a file.
func cut(t testing.TB, path string, n int64) {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(path, info.Size()-n); err != nil {
		t.Fatal(err)
	}
}

func at(instance, time string) film {
	return film{instance: instance, study: "2.25.1", patient: "P", date: "20260102", time: time, series: "1", number: "1", name: "FILM^A"}
}

func open(t testing.TB, path string) *intake.Case {
	t.Helper()
	c, err := intake.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	})
	return c
}

// A folder as it comes from a C-arm: subfolders, names without extension,
// reports and pictures between the images, and what Leadline left there before.
func TestFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "case 7")
	put(t, filepath.Join(dir, "IM0001"), at("2.25.11", "101502"), classXA)
	put(t, filepath.Join(dir, "run", "b.dcm"), at("2.25.12", "101501.5"), classXA)
	put(t, filepath.Join(dir, "run", "copy of b"), at("2.25.12", "101501.5"), classXA)
	put(t, filepath.Join(dir, "twin 1"), at("2.25.16", "101506"), classXA)
	put(t, filepath.Join(dir, "twin 2"), at("2.25.16", "101507"), classXA)
	put(t, filepath.Join(dir, "report.dcm"), at("2.25.13", "101503"), classSR)
	put(t, filepath.Join(dir, "ct"), at("2.25.17", "101504"), "1.2.840.10008.5.1.4.1.1.2")
	put(t, filepath.Join(dir, "cut"), at("2.25.15", "101505"), classXA)
	cut(t, filepath.Join(dir, "cut"), 3)
	for name, content := range map[string]string{
		"notes.txt": "invented", "dr.leadline.json": "{}", "dr.leadline.json.lock": "", ".DS_Store": "x", "marks.csv": "instance", ".hidden/IM0009": "x", "empty": "",
	} {
		p := filepath.Join(dir, name)
		os.MkdirAll(filepath.Dir(p), 0o755)
		if err := os.WriteFile(p, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	// A pipe would hold a reader up for ever; a link to the folder itself would never end.
	if err := syscall.Mkfifo(filepath.Join(dir, "pipe"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(dir, filepath.Join(dir, "run", "loop")); err != nil {
		t.Fatal(err)
	}
	// Of links, what they lead to is read where it lies, or not at all.
	beside := filepath.Join(filepath.Dir(dir), "beside")
	put(t, beside, at("2.25.18", "101508"), classXA)
	for name, end := range map[string]string{
		"dangling": "no such file", "to a film": "IM0001", "out": beside, "up": "..", "to hidden": ".hidden/IM0009", "twice": "to a film", "run/back": "../IM0001",
	} {
		if err := os.Symlink(end, filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	c := open(t, dir)
	if c.Path != dir || c.Dir != dir || c.Name != "case 7" {
		t.Errorf("path %q, folder %q, name %q", c.Path, c.Dir, c.Name)
	}
	var got []string
	for _, h := range c.Headers() {
		got = append(got, h.SOPInstance)
	}
	if want := []string{"2.25.12", "2.25.11"}; !slices.Equal(got, want) {
		t.Errorf("files %v, want %v", got, want)
	}
	if got, want := passed(t, c), map[string]intake.Reason{
		"dangling": intake.LinkOut, "out": intake.LinkOut, "up": intake.LinkOut, "to hidden": intake.LinkOut,
		"to a film": intake.Link, "twice": intake.Link, "run/back": intake.Link, "empty": intake.NotDICOM, "notes.txt": intake.NotDICOM, "pipe": intake.NoFile,
		"report.dcm": intake.NoImage, "ct": intake.OtherKind, "run/loop": intake.Link, "run/copy of b": intake.Copy,
	}; !maps.Equal(got, want) {
		t.Errorf("passed over %v, want %v", got, want)
	}
	if len(c.Refused) != 2 || !errors.Is(c.Refused[0], imaging.ErrDamaged) || !strings.Contains(c.Refused[0].Error(), "cut") ||
		!errors.Is(c.Refused[1], imaging.ErrConflict) || !strings.Contains(c.Refused[1].Error(), "twin 1 and twin 2") {
		t.Errorf("refused %v", c.Refused)
	}
}

// passed is what was passed over, by path in the folder.
func passed(t testing.TB, c *intake.Case) map[string]intake.Reason {
	t.Helper()
	out := map[string]intake.Reason{}
	for _, p := range c.Passed {
		out[c.Relative(p.Path)] = p.Why
	}
	n := 0
	for _, tally := range c.Tallies() {
		n += tally.Count
	}
	if n != len(c.Passed) {
		t.Errorf("%d passed over, %d tallied", len(c.Passed), n)
	}
	return out
}

func TestOrder(t *testing.T) {
	dir := t.TempDir()
	taken := func(instance, date, time, series, number string) film {
		return film{instance: instance, study: "2.25.9", patient: "P", date: date, time: time, series: series, number: number}
	}
	films := []film{
		taken("2.25.1", "20251231", "235959", "9", "9"),
		taken("2.25.2", "20260102", "0900", "2", "1"),
		taken("2.25.3", "20260102", "09:00:00.4", "1", "1"),
		taken("2.25.4", "20260102", "090000.45", "1", "1"),
		taken("2.25.5", "20260102", "090001", "2", "10"),
		taken("2.25.6", "20260102", "090001", "10", "2"),
		taken("2.25.7", "20260102", "090001", "10", "9"),
		taken("2.25.8", "20260102", "090001", "10", ""),
	}
	for i, f := range films {
		put(t, filepath.Join(dir, fmt.Sprint(9-i)), f, classXA)
	}
	c := open(t, dir)
	for i, h := range c.Headers() {
		if h.SOPInstance != films[i].instance {
			t.Errorf("place %d: %s, want %s", i, h.SOPInstance, films[i].instance)
		}
	}
}

func TestFind(t *testing.T) {
	dir := t.TempDir()
	put(t, filepath.Join(dir, "a", "IM1"), at("2.25.1", "1000"), classXA)
	put(t, filepath.Join(dir, "b", "IM1"), at("2.25.2", "1001"), classXA)
	put(t, filepath.Join(dir, "b", "IM2"), at("2.25.3", "1002"), classXA)
	c := open(t, dir)
	for name, want := range map[string]string{
		"2.25.1": "2.25.1", "IM2": "2.25.3", "b/IM1": "2.25.2", "./a/IM1": "2.25.1", "IM1": "", "IM9": "", "": "",
	} {
		f, ok := c.Find(name)
		switch {
		case ok != (want != ""):
			t.Errorf("%q: found %t", name, ok)
		case ok && f.Header.SOPInstance != want:
			t.Errorf("%q: %s", name, f.Header.SOPInstance)
		}
	}
	if c.File("2.25.3") == nil || c.File("IM2") != nil {
		t.Error("File goes by SOP Instance UID alone")
	}
}

func TestSingleFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "IM1")
	put(t, path, at("2.25.1", "1000"), classXA)
	put(t, filepath.Join(dir, "IM2"), at("2.25.2", "1000"), classXA)
	c := open(t, path)
	if len(c.Files) != 1 || c.Dir != dir || c.Name != "IM1" {
		t.Errorf("%d files, folder %q, name %q", len(c.Files), c.Dir, c.Name)
	}
	if f, ok := c.Find("IM1"); !ok || f != c.Files[0] {
		t.Error("the file is not found by its name")
	}
}

func TestNoCase(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"empty", "texts", "damaged"} {
		if err := os.Mkdir(filepath.Join(dir, name), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	os.WriteFile(filepath.Join(dir, "texts", "a.txt"), []byte("text"), 0o644)
	put(t, filepath.Join(dir, "damaged", "IM1"), at("2.25.1", "1000"), classXA)
	cut(t, filepath.Join(dir, "damaged", "IM1"), 60)
	pack(t, filepath.Join(dir, "case.zip"), deflated("IM1", nil))
	if err := os.Mkdir(filepath.Join(dir, "packed"), 0o755); err != nil {
		t.Fatal(err)
	}
	pack(t, filepath.Join(dir, "packed", "in.zip"), stored("IM1", nil))
	for name, c := range map[string]struct {
		kind error
		says string
	}{
		"nowhere": {imaging.ErrBadInput, "no such file"}, "empty": {imaging.ErrNotDICOM, "empty"},
		"texts": {imaging.ErrNotDICOM, "none of its files is a DICOM image (1 not in DICOM)"}, "damaged": {imaging.ErrDamaged, "IM1"},
		"packed":   {imaging.ErrNotDICOM, "open the archive, such as " + filepath.Join(dir, "packed", "in.zip")},
		"case.zip": {imaging.ErrNotDICOM, "none of its files"}, "texts/a.txt": {imaging.ErrNotDICOM, "a.txt"},
	} {
		if _, err := intake.Open(filepath.Join(dir, name)); !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A folder of something else is given up before it is all read.
func TestTooMany(t *testing.T) {
	dir := t.TempDir()
	deep := filepath.Join(dir, "deep", strings.Repeat("x/", 40))
	if err := os.MkdirAll(deep, 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := intake.Open(filepath.Join(dir, "deep")); !errors.Is(err, imaging.ErrBadInput) || !strings.Contains(err.Error(), "nested") {
		t.Errorf("deep folders: %v", err)
	}
	wide := filepath.Join(dir, "wide")
	if err := os.Mkdir(wide, 0o755); err != nil {
		t.Fatal(err)
	}
	for i := range 5001 {
		if err := os.Symlink("nothing", filepath.Join(wide, fmt.Sprint(i))); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := intake.Open(wide); !errors.Is(err, imaging.ErrBadInput) || !strings.Contains(err.Error(), "5000") {
		t.Errorf("many files: %v", err)
	}
}

// A folder of 200 images holds no file open until frames are read.
func TestManyFilesHeldClosed(t *testing.T) {
	dir := t.TempDir()
	for i := range 200 {
		put(t, filepath.Join(dir, fmt.Sprint(i)), at(fmt.Sprintf("2.25.%d", i+1), "1000"), classXA)
	}
	before := descriptors(t)
	c := open(t, dir)
	if now := descriptors(t); now > before+8 {
		t.Errorf("%d files held open", now-before)
	}
	fr, err := c.Files[150].Frame(1, 1)
	if err != nil || fr.Value(3, 1) != 'h' {
		t.Errorf("a frame: %v", err)
	}
}

func descriptors(t *testing.T) int {
	list, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Skip("no list of open files here")
	}
	return len(list)
}
