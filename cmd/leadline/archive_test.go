package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"leadline/imaging/phantom"
	"leadline/measure/note"
	"leadline/measure/sidecar"
	"leadline/viewer/handout"
)

// toolkit gives the path of a reference tool, or skips.
func toolkit(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatalf("%s is not installed, and LEADLINE_REQUIRE_TOOLS=1 asks for it", name)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

func commanded(t *testing.T, want int, args ...string) string {
	t.Helper()
	var out, warn bytes.Buffer
	if code := run(args, &out, &warn); code != want {
		t.Fatalf("leadline %s: exit %d, want %d: %s", strings.Join(args, " "), code, want, warn.String())
	}
	return out.String() + warn.String()
}

// practiceCase makes the practice case with its marks taken in.
func practiceCase(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "practice")
	commanded(t, exitDone, "demo", dir)
	return dir
}

// readObject is what pydicom makes of an object that it reads by itself.
const readObject = `
import sys, json, pydicom
ds = pydicom.dcmread(sys.argv[1])
out = {"uid": ds.SOPInstanceUID, "class": ds.SOPClassUID.name, "study": ds.StudyInstanceUID, "patient": str(ds.PatientID),
  "burned": ds.get("BurnedInAnnotation", ""), "lines": [], "words": [], "predecessors": [], "sources": []}
for a in ds.get("GraphicAnnotationSequence", []):
    for g in a.get("GraphicObjectSequence", []):
        d = g.GraphicData
        out["lines"].append([[d[i], d[i+1]] for i in range(0, len(d), 2)])
        assert g.NumberOfGraphicPoints == len(d) // 2
    out["words"] += [x.UnformattedTextValue for x in a.get("TextObjectSequence", [])]
for p in ds.get("PredecessorDocumentsSequence", []):
    for s in p.ReferencedSeriesSequence:
        out["predecessors"] += [i.ReferencedSOPInstanceUID for i in s.ReferencedSOPSequence]
for s in ds.get("ReferencedSeriesSequence", []):
    out["sources"] += [i.ReferencedSOPInstanceUID for i in s.get("ReferencedImageSequence", [])]
for s in ("SourceImageSequence", "SourceInstanceSequence"):
    out["sources"] += [i.ReferencedSOPInstanceUID for i in ds.get(s, [])]
if "PixelData" in ds:
    out["shape"] = list(ds.pixel_array.shape)
if "SoftcopyVOILUTSequence" in ds:
    w = ds.SoftcopyVOILUTSequence[0]
    out["window"] = [float(w.WindowCenter), float(w.WindowWidth)]
print(json.dumps(out))
`

type readBack struct {
	UID, Class, Study, Patient, Burned string
	Lines                              [][][2]float64
	Words, Predecessors, Sources       []string
	Shape                              []int
	Window                             []float64
}

func byPydicom(t *testing.T, path string) (back readBack) {
	t.Helper()
	if _, err := os.Stat("/usr/bin/python3"); err != nil {
		toolkit(t, "/usr/bin/python3")
	}
	out, err := exec.Command("/usr/bin/python3", "-c", readObject, path).CombinedOutput()
	if err == nil {
		err = json.Unmarshal(out, &back)
	}
	if err != nil {
		t.Fatalf("pydicom on %s: %v: %s", path, err, out)
	}
	return back
}

// TestObjects: dicom3tools, dcmtk and pydicom take every object, its marks lie
// where the imported table has them, and its UIDs follow the report's.
func TestObjects(t *testing.T) {
	verify, check, list := toolkit(t, "dciodvfy"), toolkit(t, "dcmpschk"), toolkit(t, "dsrdump")
	dir := practiceCase(t)
	first := filepath.Join(t.TempDir(), "first")
	commanded(t, exitDone, "archive", dir, "--out", first)
	names, err := filepath.Glob(filepath.Join(first, "*"))
	if err != nil || len(names) != 6 {
		t.Fatalf("%v: %v", names, err)
	}
	film := byPydicom(t, filepath.Join(dir, "lateral.dcm"))
	for _, name := range names {
		// dciodvfy's exit code tells nothing; it marks breaches as errors.
		out, _ := exec.Command(verify, name).CombinedOutput()
		if strings.Contains(string(out), "Error") || len(out) == 0 {
			t.Errorf("dciodvfy on %s: %s", filepath.Base(name), out)
		}
		back := byPydicom(t, name)
		if back.Study != film.Study || back.Patient != film.Patient {
			t.Errorf("%s is of study %s, patient %s", filepath.Base(name), back.Study, back.Patient)
		}
		switch {
		case strings.HasSuffix(name, "-marks.dcm"):
			if out, err := exec.Command(check, name).CombinedOutput(); err != nil || !strings.Contains(string(out), "Test passed") {
				t.Errorf("dcmpschk: %v: %s", err, out)
			}
		case strings.HasSuffix(name, "-film.dcm"):
			if back.Burned != "YES" || len(back.Shape) != 3 || back.Shape[2] != 3 {
				t.Errorf("capture: burned in %q, shape %v", back.Burned, back.Shape)
			}
		case strings.HasSuffix(name, "report.dcm"):
			if out, err := exec.Command(list, name).CombinedOutput(); err != nil {
				t.Errorf("dsrdump: %v: %s", err, out)
			}
		}
	}
	state := byPydicom(t, filepath.Join(first, "02-lateral-marks.dcm"))
	if !slices.Equal(state.Sources, []string{film.UID}) {
		t.Errorf("the lateral film's marks refer to %v", state.Sources)
	}
	for view, name := range map[string]string{"frontal.dcm": "01-frontal-marks.dcm", "lateral.dcm": "02-lateral-marks.dcm"} {
		marksLie(t, filepath.Join(dir, phantom.MarksName), view, byPydicom(t, filepath.Join(first, name)))
	}

	// Written again they are the same; changed, all are others.
	again := filepath.Join(t.TempDir(), "again")
	commanded(t, exitDone, "archive", dir, "--out", again)
	for _, name := range names {
		if a, b := byPydicom(t, name).UID, byPydicom(t, filepath.Join(again, filepath.Base(name))).UID; a != b {
			t.Errorf("%s: unchanged, but %s became %s", filepath.Base(name), a, b)
		}
	}
	commanded(t, exitDone, "confirm", dir, "--observer", phantom.Observer, "--object", "N2", "--side", "right", "--basis", "theatre-record")
	after := filepath.Join(t.TempDir(), "after")
	commanded(t, exitDone, "archive", dir, "--out", after)
	for _, name := range names {
		a, b := byPydicom(t, name), byPydicom(t, filepath.Join(after, filepath.Base(name)))
		if a.UID == b.UID {
			t.Errorf("%s: changed, but still %s", filepath.Base(name), a.UID)
		}
		if filepath.Base(name) == "report.dcm" && !slices.Contains(b.Predecessors, a.UID) {
			t.Errorf("the report names %v before it, not %s", b.Predecessors, a.UID)
		}
	}
	if said := commanded(t, exitBadInput, "archive", dir, "--out", after); !strings.Contains(said, "is not empty") {
		t.Error(said)
	}

	// A side in conflict is named nowhere.
	commanded(t, exitDone, "confirm", dir, "--observer", phantom.Observer, "--object", "N2", "--side", "left", "--basis", "theatre-record")
	for _, args := range [][]string{{"archive", dir, "--out", filepath.Join(t.TempDir(), "x")}, {"sheet", dir, "--out", filepath.Join(t.TempDir(), "x.pdf")}} {
		if said := commanded(t, exitBadInput, args...); !strings.Contains(said, "sources disagree") {
			t.Errorf("%v: %s", args, said)
		}
		if _, err := os.Stat(args[3]); err == nil {
			t.Errorf("%v left something", args)
		}
	}
}

// marksLie: every vertex of a line in marks.csv has the presentation state's
// graphics within a pixel.
func marksLie(t *testing.T, table, film string, state readBack) {
	t.Helper()
	f, err := os.Open(table)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, row := range rows[1:] {
		if row[0] != film {
			continue
		}
		var at [2]float64
		for i := range at {
			if err := json.Unmarshal([]byte(row[7+i]), &at[i]); err != nil {
				t.Fatal(err)
			}
		}
		near := math.Inf(1)
		for _, l := range state.Lines {
			for i := 1; i < len(l); i++ {
				near = math.Min(near, toStretch(at, l[i-1], l[i]))
			}
		}
		if near > 1 {
			t.Errorf("%s, %s %s vertex %s: nothing nearer than %.2f px", film, row[2], row[5], row[6], near)
		}
		checked++
	}
	if checked < 20 {
		t.Errorf("%s: %d vertices only", film, checked)
	}
}

func toStretch(p, a, b [2]float64) float64 {
	dx, dy := b[0]-a[0], b[1]-a[1]
	s := 0.0
	if n := dx*dx + dy*dy; n > 0 {
		s = math.Max(0, math.Min(1, ((p[0]-a[0])*dx+(p[1]-a[1])*dy)/n))
	}
	return math.Hypot(p[0]-a[0]-s*dx, p[1]-a[1]-s*dy)
}

// inSheet: each figure of a sheet, read back from its print by poppler, is the
// JSON's, in its device's line.
func inSheet(t *testing.T, report sidecar.Report, want map[figureKey]resultJSON, of *reader) {
	reading := toolkit(t, "pdftotext")
	var pdf bytes.Buffer
	if err := handout.WriteSheet(&pdf, report, nil); err != nil {
		t.Fatal(err)
	}
	c := exec.Command(reading, "-raw", "-", "-")
	c.Stdin = &pdf
	out, err := c.Output()
	if err != nil {
		t.Fatal(err)
	}
	all := strings.Join(strings.Fields(string(out)), " ")
	for _, v := range report.Placement.Best() {
		r := want[keyOf(of.resultJSON(v))]
		found := false
		for _, after := range strings.Split(all, " "+v.Object+" "+note.Name(v)+" ")[1:] {
			found = found || printed(after, r.Value)
		}
		if !found {
			t.Errorf("%s %s: %v is not on the sheet", v.Object, v.Quantity, r.Value)
		}
	}
}

// TestSheetRepeats: equal reports give equal bytes, and one page.
func TestSheetRepeats(t *testing.T) {
	info := toolkit(t, "pdfinfo")
	dir := practiceCase(t)
	var made [2][]byte
	for i := range made {
		name := filepath.Join(t.TempDir(), "sheet.pdf")
		commanded(t, exitDone, "sheet", dir, "--out", name)
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		made[i], err = io.ReadAll(f)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(info, name).Output()
		if err != nil || !strings.Contains(string(out), "Pages:           1\n") || !strings.Contains(string(out), "(A4)") {
			t.Errorf("pdfinfo: %v: %s", err, out)
		}
	}
	if !bytes.Equal(made[0], made[1]) {
		t.Error("the same report gave two sheets")
	}
}
