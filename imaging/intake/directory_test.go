package intake_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"leadline/imaging/intake"
)

// disc is a folder as dcmtk's dcmmkdir indexes it: three films in the order
// named, of one moment and without numbers, so that nothing but the DICOMDIR
// says which came first.
func disc(t testing.TB) string {
	t.Helper()
	mkdir := tool(t, "dcmmkdir")
	dir := filepath.Join(t.TempDir(), "disc")
	paths := []string{"DICOM/C", "DICOM/A", "DICOM/B"}
	for i, p := range paths {
		f := at("2.25.1"+string('0'+rune(i)), "1000")
		f.series, f.number = "", ""
		put(t, filepath.Join(dir, p), f, classXA)
	}
	// The numbers that dcmmkdir invents for the index are not in the files.
	if out, err := runIn(dir, mkdir, append([]string{"-q", "-W", "+I", "-Nxc", "-Nec"}, paths...)...); err != nil {
		t.Fatalf("dcmmkdir: %v: %s", err, out)
	}
	return dir
}

func names(c *intake.Case) (out []string) {
	for _, h := range c.Headers() {
		out = append(out, c.Relative(h.File))
	}
	return out
}

func TestDirectory(t *testing.T) {
	dir := disc(t)
	c := open(t, dir)
	if got, want := names(c), []string{"DICOM/C", "DICOM/A", "DICOM/B"}; !slices.Equal(got, want) {
		t.Errorf("films %v, want %v", got, want)
	}
	if len(c.Told) > 0 || len(c.Refused) > 0 || passed(t, c)["DICOMDIR"] != intake.Directory {
		t.Errorf("told %q, refused %v, passed over %v", c.Told, c.Refused, c.Passed)
	}
	// The DICOMDIR itself stands for its folder.
	if c := open(t, filepath.Join(dir, "DICOMDIR")); c.Path != dir || c.Dir != dir || c.Name != "disc" || len(c.Files) != 3 {
		t.Errorf("of the DICOMDIR: path %q, folder %q, name %q, %d films", c.Path, c.Dir, c.Name, len(c.Files))
	}
	// In an archive it counts as well, with the small letters that some systems
	// show a disc's names in.
	var entries []packed
	for _, p := range []string{"DICOMDIR", "DICOM/A", "DICOM/B", "DICOM/C"} {
		b, err := os.ReadFile(filepath.Join(dir, p))
		if err != nil {
			t.Fatal(err)
		}
		entries = append(entries, deflated("disc/"+strings.ToLower(p)+";1", b))
	}
	archive := filepath.Join(t.TempDir(), "disc.zip")
	pack(t, archive, entries...)
	c = open(t, archive)
	if got, want := names(c), []string{"disc/dicom/c;1", "disc/dicom/a;1", "disc/dicom/b;1"}; !slices.Equal(got, want) || len(c.Told) > 0 {
		t.Errorf("films %v, want %v; told %q", got, want, c.Told)
	}
}

// A DICOMDIR that does not fit its folder is told, and the folder counts.
func TestDirectoryThatDoesNotFit(t *testing.T) {
	dir := disc(t)
	if err := os.Remove(filepath.Join(dir, "DICOM", "A")); err != nil {
		t.Fatal(err)
	}
	put(t, filepath.Join(dir, "DICOM", "D"), at("2.25.14", "0900"), classXA)
	if err := os.Rename(filepath.Join(dir, "DICOM", "C"), filepath.Join(dir, "DICOM", "B")); err != nil {
		t.Fatal(err)
	}
	c := open(t, dir)
	if got, want := names(c), []string{"DICOM/D", "DICOM/B"}; !slices.Equal(got, want) {
		t.Errorf("films %v, want %v", got, want)
	}
	told := strings.Join(c.Told, "\n")
	for _, want := range []string{
		"names 2 files that are not there (such as DICOM/C)",
		"names 1 file that is other images than it says (DICOM/B)",
		"2 files beside a DICOMDIR are not named by it (such as DICOM/B): used all the same",
	} {
		if !strings.Contains(told, want) {
			t.Errorf("not told: %q; but %q", want, told)
		}
	}
}

// What a DICOMDIR names outside its folder is not looked for, even where it is
// there: the film beside the folder is none of the case.
func TestDirectoryReachesNowhere(t *testing.T) {
	base := t.TempDir()
	dir := filepath.Join(base, "disc")
	put(t, filepath.Join(base, "OUT"), at("2.25.99", "0800"), classXA)
	if err := os.Rename(disc(t), dir); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "DICOMDIR")
	for _, id := range []string{`..\OUT`, `DICOM\..\..\OUT`, `\OUT`, `..`, `/OUT`, `DICOM\.\A`, `C:\OUT`} {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if out, err := runIn(dir, tool(t, "dcmodify"), "-nb", "-m", "(0004,1220)[3].(0004,1500)="+id, "DICOMDIR"); err != nil {
			t.Fatalf("dcmodify: %v: %s", err, out)
		}
		c := open(t, dir)
		if len(c.Files) != 3 || c.File("2.25.99") != nil {
			t.Errorf("%s: films %v", id, names(c))
		}
		if told := strings.Join(c.Told, "\n"); !strings.Contains(told, "names 1 file by what is no path within its folder") {
			t.Errorf("%s: told %q", id, told)
		}
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	// Damaged, it is told and the folder is searched without it.
	if err := os.Truncate(path, 600); err != nil {
		t.Fatal(err)
	}
	c := open(t, dir)
	if len(c.Files) != 3 || len(c.Told) == 0 || !strings.Contains(c.Told[0], "searched without it") {
		t.Errorf("films %v, told %q", names(c), c.Told)
	}
}
