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

// indexed is a directory of files and what it names.
type indexed struct {
	File       string
	References []Reference
}

// directories are of three images in two folders, written by dcmtk's dcmmkdir
// and re-encoded in every syntax, with explicit and undefined lengths (upon
// which dcmconv puts a class of its own into the file's header), and what
// pydicom reads in each. The first is as dcmmkdir wrote it.
func directories(t testing.TB) (out []indexed) {
	t.Helper()
	dir := t.TempDir()
	paths := []string{"DICOM/A/IM1", "DICOM/A/IM2", "DICOM/B/IM1"}
	for i, p := range paths {
		p = filepath.Join(dir, p)
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := Write(p, sample(t, 4, 2, 1)); err != nil {
			t.Fatal(err)
		}
		modify(t, p, "-m", "(0008,0018)=2.25.4"+itoa(i), "-i", "(0020,0013)="+itoa(i+1), "-i", "(0010,0020)=P-1", "-i", "(0020,0011)=1")
	}
	made := filepath.Join(dir, "DICOMDIR")
	make := exec.Command(tool(t, "dcmmkdir"), append([]string{"-q", "-W", "+I", "-Nxc", "+id", dir, "+D", made}, paths...)...)
	if said, err := make.CombinedOutput(); err != nil {
		t.Fatalf("dcmmkdir: %v: %s", err, said)
	}
	out = append(out, indexed{File: made})
	for _, syntax := range []string{"+te", "+ti", "+tb"} {
		for _, lengths := range []string{"+e", "-e"} {
			other := filepath.Join(dir, "directory"+syntax+lengths)
			convert(t, made, other, syntax, lengths)
			out = append(out, indexed{File: other})
		}
	}
	// Those that pydicom ships for its own tests: edited by hand, so that offsets
	// or the patient are missing, or records in another order.
	shipped := "/usr/lib/python3/dist-packages/pydicom/data/test_files/dicomdirtests/DICOMDIR*"
	found, err := filepath.Glob(shipped)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range found {
		out = append(out, indexed{File: p})
	}
	const list = `
import json, sys, warnings
warnings.simplefilter("ignore")
from pydicom import dcmread
print(json.dumps([[{"Type": r.DirectoryRecordType, "FileID": list(r.ReferencedFileID), "SOPInstance": r.get("ReferencedSOPInstanceUIDInFile", "")}
                   for r in dcmread(path).DirectoryRecordSequence if "ReferencedFileID" in r] for path in sys.argv[1:]]))`
	args := []string{"-c", list}
	for _, d := range out {
		args = append(args, d.File)
	}
	text, err := exec.Command(tool(t, "/usr/bin/python3"), args...).Output()
	if err != nil {
		t.Fatalf("pydicom: %v", err)
	}
	var read [][]Reference
	if err := json.Unmarshal(text, &read); err != nil {
		t.Fatal(err)
	}
	for i := range out {
		out[i].References = read[i]
	}
	if len(read[0]) != 3 {
		t.Fatalf("pydicom reads %d references to 3 images", len(read[0]))
	}
	return out
}

func TestDirectory(t *testing.T) {
	all := directories(t)
	if _, err := Open(all[0].File); !errors.Is(err, ErrDirectory) || !errors.Is(err, ErrNoImage) {
		t.Errorf("opened as an image: %v", err)
	}
	for _, d := range all {
		data, err := os.ReadFile(d.File)
		if err != nil {
			t.Fatal(err)
		}
		got, err := ReadDirectory(bytes.NewReader(data), int64(len(data)), d.File)
		// The last record of one claims the bytes of what was taken out of it.
		if short := strings.HasSuffix(d.File, "-nooffset"); err != nil && !short || short && !errors.Is(err, imaging.ErrDamaged) {
			t.Errorf("%s: %v", d.File, err)
		}
		if !slices.EqualFunc(got, d.References, func(a, b Reference) bool {
			return a.Type == b.Type && a.SOPInstance == b.SOPInstance && slices.Equal(a.FileID, b.FileID)
		}) {
			t.Errorf("%s: %d references, pydicom reads %d", d.File, len(got), len(d.References))
		}
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
