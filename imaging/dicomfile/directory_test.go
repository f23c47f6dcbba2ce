package dicomfile

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"leadline/imaging"
)

// View Code Sequence as dcmtk writes it: one item, a sequence within it, and
// two items, of which the first is read.
func TestViewCode(t *testing.T) {
	dir, _ := fixtures(t)
	path := filepath.Join(t.TempDir(), "image.dcm")
	convert(t, filepath.Join(dir, "full.dcm"), path, "+te")
	modify(t, path, "-i", "(0054,0220)[0].(0008,0100)=399198007", "-i", "(0054,0220)[0].(0008,0102)=SCT", "-i", "(0054,0220)[0].(0008,0104)=right lateral",
		"-i", "(0054,0220)[0].(0054,0222)[0].(0008,0100)=399161006")
	want := imaging.Code{Value: "399198007", Scheme: "SCT", Meaning: "right lateral"}
	for _, syntax := range syntaxes {
		other := filepath.Join(t.TempDir(), "other.dcm")
		convert(t, path, other, syntax)
		f, err := Open(other)
		if err != nil {
			t.Fatal(err)
		}
		f.Close()
		if f.Header.Base.ViewCode != want || len(f.Header.Notes) != 0 {
			t.Errorf("%s: %+v, notes %q", syntax, f.Header.Base.ViewCode, f.Header.Notes)
		}
	}
	modify(t, path, "-i", "(0054,0220)[1].(0008,0100)=399033003")
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	f.Close()
	if f.Header.Base.ViewCode != want || !strings.Contains(strings.Join(f.Header.Notes, "\n"), "2 codes where one is due") {
		t.Errorf("of two codes: %+v, notes %q", f.Header.Base.ViewCode, f.Header.Notes)
	}
}

// directories are those that pydicom ships for its own tests, in every
// encoding of lengths and syntax, and what pydicom reads in each.
func directories(t testing.TB) (out []struct {
	File       string
	References []Reference
}) {
	t.Helper()
	const list = `
import json, warnings
warnings.simplefilter("ignore")
from pydicom import dcmread
from pydicom.data import get_testdata_files
out = []
for path in sorted(get_testdata_files("*DICOMDIR*")):
    ds = dcmread(path)
    refs = []
    for r in ds.DirectoryRecordSequence:
        if r.get("ReferencedFileID"):
            id = r.ReferencedFileID
            refs.append({"Type": r.DirectoryRecordType, "FileID": [id] if isinstance(id, str) else list(id),
                         "SOPInstance": r.get("ReferencedSOPInstanceUIDInFile", "")})
    out.append({"File": path, "References": refs})
print(json.dumps(out))`
	text, err := exec.Command(tool(t, "/usr/bin/python3"), "-c", list).Output()
	if err != nil {
		t.Fatalf("pydicom: %v", err)
	}
	if err := json.Unmarshal(text, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

func TestDirectory(t *testing.T) {
	all := directories(t)
	if len(all) == 0 {
		t.Skip("pydicom ships no DICOMDIR here")
	}
	named := 0
	for _, d := range all {
		data, err := os.ReadFile(d.File)
		if err != nil {
			t.Fatal(err)
		}
		got, err := ReadDirectory(bytes.NewReader(data), int64(len(data)), d.File)
		if err != nil {
			t.Errorf("%v", err)
		}
		if !slices.EqualFunc(got, d.References, func(a, b Reference) bool {
			return a.Type == b.Type && a.SOPInstance == b.SOPInstance && slices.Equal(a.FileID, b.FileID)
		}) {
			t.Errorf("%s: %d references, pydicom reads %d", d.File, len(got), len(d.References))
		}
		named += len(got)
		if _, err := Open(d.File); !errors.Is(err, ErrDirectory) || !errors.Is(err, ErrNoImage) {
			t.Errorf("opened as an image: %v", err)
		}
	}
	if named == 0 {
		t.Error("no reference in any of them")
	}
}

// Cut at each of 500 lengths it gives what comes before, or an error of a
// known kind.
func TestDirectoryCut(t *testing.T) {
	for _, d := range directories(t) {
		data, err := os.ReadFile(d.File)
		if err != nil {
			t.Fatal(err)
		}
		for i := range 500 {
			n := len(data) * i / 500
			got, err := ReadDirectory(bytes.NewReader(data[:n]), int64(n), "cut")
			if err != nil && !errors.Is(err, imaging.ErrDamaged) && !errors.Is(err, imaging.ErrNotDICOM) && !errors.Is(err, imaging.ErrUnsupported) {
				t.Fatalf("%s at %d: %v", d.File, n, err)
			}
			if len(got) > len(d.References) {
				t.Fatalf("%s at %d: %d references of %d", d.File, n, len(got), len(d.References))
			}
		}
	}
}

// FuzzReadDirectory: whatever the bytes, references or an error of a known
// kind.
func FuzzReadDirectory(f *testing.F) {
	for _, d := range directories(f) {
		if data, err := os.ReadFile(d.File); err == nil && len(data) < 1<<14 {
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		_, err := ReadDirectory(bytes.NewReader(data), int64(len(data)), "fuzz")
		if err != nil && !errors.Is(err, imaging.ErrDamaged) && !errors.Is(err, imaging.ErrNotDICOM) && !errors.Is(err, imaging.ErrUnsupported) {
			t.Fatalf("error of no kind: %v", err)
		}
	})
}
