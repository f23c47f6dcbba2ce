package sidecar

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/big"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// tool gives the path of a reference tool, or skips; with LEADLINE_REQUIRE_TOOLS=1
// a missing tool fails the test.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatalf("%s is not installed", name)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

// reports are what the reference tools are asked about: the sample, and random
// ones.
func reports() map[string]Report {
	out := map[string]Report{"sample": sample()}
	succeeding := sample()
	succeeding.Predecessors = []string{derivedUID("a"), derivedUID("b")}
	succeeding.Issued = succeeding.Revision
	out["successor"] = succeeding
	for seed := range uint64(6) {
		c := random(seed, 11)
		c.filed = true
		out[fmt.Sprintf("random%d", seed)] = c.report()
	}
	return out
}

// written writes the report as a DICOM file and gives its JSON beside it.
func written(t *testing.T, r Report) (path string, doc []byte) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "report.dcm")
	if err := WriteDICOM(path, r); err != nil {
		t.Fatal(err)
	}
	doc, err := Encode(r)
	if err != nil {
		t.Fatal(err)
	}
	return path, doc
}

// dcm2json (DCMTK) of the file equals the sidecar: FL as single precision, DS and
// IS as decimals. Reports are as Save keeps them, their numbers in decimals that
// DS holds: what needs FD besides, DCMTK 3.6.7 prints wrong in the 17th digit
// (pydicom, below, compares those to the last bit).
func TestFileEqualsSidecarByDCMTK(t *testing.T) {
	dcm2json := tool(t, "dcm2json")
	for name, r := range reports() {
		r.Book, r.Placement = tidy(r.Book), rounded(r.Placement)
		r.Responses = tidyTests(r.Responses)
		path, doc := written(t, r)
		if bytes.Contains(doc, []byte("0040A161")) {
			t.Errorf("%s: a saved report needs Floating Point Value", name)
		}
		theirs, err := exec.Command(dcm2json, "-fc", path).Output()
		if err != nil {
			t.Fatalf("%s: dcm2json: %v", name, err)
		}
		a, b := parsed(t, doc), parsed(t, theirs)
		for tag := range b {
			if strings.HasPrefix(tag, "0002") {
				delete(b, tag) // the file's own header, which JSON does not have
			}
		}
		if d := unlike("", "", a, b); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

func parsed(t *testing.T, doc []byte) map[string]any {
	t.Helper()
	dec := json.NewDecoder(bytes.NewReader(doc))
	dec.UseNumber()
	var v map[string]any
	if err := dec.Decode(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

// unlike says where two DICOM JSON values differ; vr is that of the attribute
// they stand in.
func unlike(path, vr string, a, b any) string {
	differ := fmt.Sprintf("%s (%s): ours %v, theirs %v", path, vr, a, b)
	switch x := a.(type) {
	case map[string]any:
		y, ok := b.(map[string]any)
		if !ok || len(x) != len(y) {
			return differ
		}
		if v, ok := x["vr"].(string); ok {
			vr = v
		}
		for k := range x {
			if d := unlike(path+"/"+k, vr, x[k], y[k]); d != "" {
				return d
			}
		}
		return ""
	case []any:
		y, ok := b.([]any)
		if !ok || len(x) != len(y) {
			return differ
		}
		for i := range x {
			if d := unlike(fmt.Sprintf("%s[%d]", path, i), vr, x[i], y[i]); d != "" {
				return d
			}
		}
		return ""
	case json.Number:
		s := string(x)
		o, ok := b.(json.Number)
		other := string(o)
		if !ok {
			if other, ok = b.(string); !ok {
				return differ
			}
		}
		switch vr {
		case "FL":
			p, err1 := strconv.ParseFloat(s, 32)
			q, err2 := strconv.ParseFloat(strings.TrimSpace(other), 32)
			if err1 != nil || err2 != nil || p != q {
				return differ
			}
		default:
			p, ok1 := new(big.Rat).SetString(s)
			q, ok2 := new(big.Rat).SetString(strings.TrimSpace(other))
			if !ok1 || !ok2 || p.Cmp(q) != 0 {
				return differ
			}
		}
		return ""
	}
	if a != b {
		return differ
	}
	return ""
}

// dsrdump (DCMTK) and dciodvfy (dicom3tools) accept the file without an error,
// dsrdump without a warning.
func TestFileIsAcceptedByValidators(t *testing.T) {
	dsrdump, dciodvfy := tool(t, "dsrdump"), tool(t, "dciodvfy")
	// DCMTK checks only single-byte character sets, and says so.
	expected := strings.NewReplacer("W: The VR checker does not support this Specific Character Set: ISO_IR 192\n", "")
	for name, r := range reports() {
		path, _ := written(t, r)
		out, err := exec.Command(dsrdump, path).CombinedOutput()
		if bad := regexp.MustCompile(`(?m)^[EWF]: .*$`).FindAllString(expected.Replace(string(out)), -1); err != nil || len(bad) > 0 {
			t.Errorf("%s: dsrdump: %v\n%s", name, err, strings.Join(bad, "\n"))
		}
		out, _ = exec.Command(dciodvfy, path).CombinedOutput()
		if bad := regexp.MustCompile(`(?m)^Error.*$`).FindAllString(string(out), -1); len(bad) > 0 {
			t.Errorf("%s: dciodvfy:\n%s", name, strings.Join(bad, "\n"))
		}
		if !strings.Contains(string(out), "Comprehensive") {
			t.Errorf("%s: dciodvfy does not recognise a Comprehensive SR:\n%s", name, out)
		}
	}
}

// pydicom loads the sidecar as a data set, and writes a file that dcm2json finds
// to be the same again.
func TestSidecarIsLoadedByPydicom(t *testing.T) {
	const python = "/usr/bin/python3"
	if exec.Command(python, "-c", "import pydicom").Run() != nil {
		tool(t, "pydicom for "+python)
	}
	// What the file holds is what the sidecar holds, element by element: text as
	// it stands, decimal strings and floats to the last bit.
	script := `
import sys, warnings
warnings.simplefilter("error")
import pydicom
with open(sys.argv[1], encoding="utf-8") as f:
    ds = pydicom.Dataset.from_json(f.read())
filed = pydicom.dcmread(sys.argv[2])
def compare(a, b, path):
    if list(a.keys()) != list(b.keys()):
        sys.exit("%s: attributes differ" % path)
    for x, y in zip(a, b):
        if x.VR == "SQ":
            if len(x.value) != len(y.value):
                sys.exit("%s %s: items differ" % (path, x.keyword))
            for i, (p, q) in enumerate(zip(x.value, y.value)):
                compare(p, q, "%s/%s[%d]" % (path, x.keyword, i))
        elif x.VR != y.VR or (x.value or "") != (y.value or ""):
            sys.exit("%s/%s: %r in the sidecar, %r in the file" % (path, x.keyword, x.value, y.value))
compare(ds, filed, "")
groups = [g for c in ds.ContentSequence if c.ValueType == "CONTAINER" and c.ConceptNameCodeSequence[0].CodeValue == "126010" for g in c.ContentSequence]
points = 0
for g in groups:
    for c in g.ContentSequence:
        for s in getattr(c, "ContentSequence", []):
            if s.ValueType == "SCOORD":
                points += len(s.GraphicData) // 2
print(ds.SOPClassUID.name, "|", str(ds.PatientName), "|", len(groups), "|", points)
`
	for name, r := range reports() {
		file, doc := written(t, r)
		path := filepath.Join(t.TempDir(), "sidecar.json")
		if err := os.WriteFile(path, doc, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(python, "-c", script, path, file).CombinedOutput()
		if err != nil {
			t.Errorf("%s: pydicom: %v\n%s", name, err, out)
		}
		// 6 marks, 3 statements, the operation, 2 responses, 2 films, 2 devices, 2 placements; 11 points of the
		// margin, 4 of the outline and its first again, 2, 2, 2 and 1.
		if want := "Comprehensive SR Storage | PRACTICE^CASE | 18 | 23\n"; name == "sample" && string(out) != want {
			t.Errorf("pydicom read %q, want %q", out, want)
		}
	}
}
