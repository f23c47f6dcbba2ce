package dicomfile

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"leadline/imaging"
)

// modify changes a file with dcmtk's dcmodify.
func modify(t testing.TB, path string, args ...string) {
	t.Helper()
	out, err := exec.Command(tool(t, "dcmodify"), append([]string{"-nb", "-imt"}, append(args, path)...)...).CombinedOutput()
	if err != nil {
		t.Fatalf("dcmodify %v: %v: %s", args, err, out)
	}
}

// What cannot be used is refused by kind, in one line with the file's name.
func TestRefusals(t *testing.T) {
	dir, _ := fixtures(t)
	for _, c := range []struct {
		change []string
		kind   error
		says   string
	}{
		{[]string{"-m", "(0008,0016)=1.2.840.10008.5.1.4.1.1.13.1.1"}, imaging.ErrUnsupported, "X-Ray 3D Angiographic"},
		{[]string{"-m", "(0008,0016)=1.2.840.10008.5.1.4.1.1.2"}, imaging.ErrUnsupported, "CT Image"},
		{[]string{"-m", "(0008,0016)=1.2.840.10008.5.1.4.1.1.7.1"}, imaging.ErrUnsupported, "Single Bit"},
		{[]string{"-m", "(0008,0016)=1.2.3.999"}, imaging.ErrUnsupported, "1.2.3.999"},
		{[]string{"-m", "(0008,0018)=no uid"}, imaging.ErrDamaged, "SOP Instance UID"},
		{[]string{"-e", "(0008,0018)"}, imaging.ErrDamaged, "SOP Instance UID"},
		{[]string{"-m", "(0028,0004)=RGB", "-m", "(0028,0002)=3"}, imaging.ErrUnsupported, "colour"},
		{[]string{"-m", "(0028,0004)=PALETTE COLOR"}, imaging.ErrUnsupported, "colour"},
		{[]string{"-e", "(0028,0010)"}, imaging.ErrDamaged, "Rows"},
		{[]string{"-m", "(0028,0011)=0"}, imaging.ErrDamaged, "Columns"},
		{[]string{"-m", "(0028,0100)=32", "-m", "(0028,0101)=32", "-m", "(0028,0102)=31"}, imaging.ErrUnsupported, "32 bits allocated"},
		{[]string{"-m", "(0028,0100)=12"}, imaging.ErrUnsupported, "12 bits allocated"},
		{[]string{"-m", "(0028,0101)=17"}, imaging.ErrDamaged, "do not fit"},
		{[]string{"-m", "(0028,0102)=3"}, imaging.ErrDamaged, "do not fit"},
		{[]string{"-m", "(0028,0103)=2"}, imaging.ErrDamaged, "Pixel Representation"},
		{[]string{"-m", "(0028,0008)=-3"}, imaging.ErrDamaged, "Number of Frames"},
		{[]string{"-m", "(0028,0008)=2000000000"}, imaging.ErrDamaged, "Number of Frames"},
		{[]string{"-m", "(0028,0008)=many"}, imaging.ErrDamaged, "not a number"},
		{[]string{"-m", "(0028,0010)=60000", "-m", "(0028,0011)=60000"}, imaging.ErrUnsupported, "60000 by 60000"},
		{[]string{"-m", "(0028,0010)=300"}, imaging.ErrDamaged, "one frame of 3 by 300 needs 1800"},
		{[]string{"-e", "(7fe0,0010)"}, imaging.ErrDamaged, "no pixel data"},
	} {
		path := filepath.Join(t.TempDir(), "image.dcm")
		convert(t, filepath.Join(dir, "full.dcm"), path, "+te")
		modify(t, path, c.change...)
		f, err := Open(path)
		if err == nil {
			f.Close()
		}
		if !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.says) || !strings.HasPrefix(err.Error(), path) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v: %v", c.change, err)
		}
	}
}

func TestNotDICOM(t *testing.T) {
	dir := t.TempDir()
	for name, c := range map[string]struct {
		content string
		kind    error
		says    string
	}{
		"empty":     {"", imaging.ErrNotDICOM, "empty"},
		"text":      {strings.Repeat("patient list\n", 40), imaging.ErrNotDICOM, "no DICOM header"},
		"short":     {"DICM", imaging.ErrNotDICOM, "no DICOM header"},
		"shot.png":  {"\x89PNG\r\n\x1a\n" + strings.Repeat("x", 300), imaging.ErrNotDICOM, "picture"},
		"cases.zip": {"PK\x03\x04" + strings.Repeat("x", 300), imaging.ErrUnsupported, "unpack"},
		"only head": {strings.Repeat("\x00", 128) + "DICM", imaging.ErrDamaged, "header"},
	} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(c.content), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(path); !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Open(filepath.Join(dir, "not there")); !errors.Is(err, imaging.ErrBadInput) {
		t.Errorf("a path that is not there: %v", err)
	}
	if _, err := Open(dir); !errors.Is(err, imaging.ErrBadInput) {
		t.Errorf("a folder: %v", err)
	}
}

// Headers that lie about how the data set is encoded, or lack a preamble, are
// met in old archives: read as they are, with a note.
func TestMislabelled(t *testing.T) {
	dir, _ := fixtures(t)
	want := values(t, filepath.Join(dir, "xa.values"))
	read := func(what string, data []byte, note string) {
		t.Helper()
		path := filepath.Join(t.TempDir(), "image.dcm")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		f, err := Open(path)
		if err != nil {
			t.Errorf("%s: %v", what, err)
			return
		}
		defer f.Close()
		fr, err := f.Frame(1, 1)
		if err != nil {
			t.Errorf("%s: %v", what, err)
			return
		}
		for i := range want {
			if int(fr.Samples[i]) != want[i] {
				t.Errorf("%s: sample %d is %d, want %d", what, i, fr.Samples[i], want[i])
				return
			}
		}
		if note != "" && !strings.Contains(strings.Join(f.Header.Notes, "\n"), note) {
			t.Errorf("%s: notes %q", what, f.Header.Notes)
		}
	}
	file := func(options ...string) []byte {
		path := filepath.Join(t.TempDir(), "image.dcm")
		convert(t, filepath.Join(dir, "xa.dcm"), path, options...)
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	explicit, implicit := "1.2.840.10008.1.2.1\x00", "1.2.840.10008.1.2\x00\x00\x00"
	read("named implicit, written explicit", []byte(strings.Replace(string(file("+te")), explicit, implicit, 1)), "names implicit VR")
	// The other way round the name is two bytes longer: pad the implicit one.
	b := string(file("+ti"))
	at := strings.Index(b, "1.2.840.10008.1.2\x00")
	if at < 0 {
		t.Fatal("no transfer syntax in the file")
	}
	b = b[:at-2] + "\x14\x00" + explicit + b[at+18:]
	length := strings.Index(b, "UL\x04\x00") + 4
	b = b[:length] + string([]byte{b[length] + 2}) + b[length+1:]
	read("named explicit, written implicit", []byte(b), "names explicit VR")
	read("no file header, implicit", file("+ti", "-F"), "not given")
	read("no file header, explicit", file("+te", "-F"), "not given")
	read("no preamble", file("+te")[128+4:], "")
}
