package dicomfile

import (
	"encoding/binary"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
)

// tool skips a test whose outside tool is absent, or fails it where tools are
// required.
func tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatalf("%s is required and not installed", name)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

// python with pydicom and numpy is the system's.
func python(t testing.TB, args ...string) []byte {
	t.Helper()
	cmd := exec.Command(tool(t, "/usr/bin/python3"), args...)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		if exec.Command("/usr/bin/python3", "-c", "import pydicom, numpy").Run() != nil && os.Getenv("LEADLINE_REQUIRE_TOOLS") != "1" {
			t.Skip("pydicom and numpy are not installed")
		}
		t.Fatalf("%v: %v", args, err)
	}
	return out
}

type manifest struct {
	Images []struct {
		Name                                string
		Rows, Columns, Frames, High, Stored int
	}
	Charsets []struct{ File, Terms, Name string }
}

var (
	fixtureOnce   sync.Once
	fixtureFolder string
	fixtureList   manifest
)

func TestMain(m *testing.M) {
	code := m.Run()
	if fixtureFolder != "" {
		os.RemoveAll(fixtureFolder)
	}
	os.Exit(code)
}

// fixtures are written by pydicom once for all tests.
func fixtures(t testing.TB) (string, manifest) {
	t.Helper()
	tool(t, "/usr/bin/python3")
	fixtureOnce.Do(func() {
		dir, err := os.MkdirTemp("", "leadline-fixtures-")
		if err != nil {
			t.Fatal(err)
		}
		fixtureFolder = dir
		python(t, filepath.Join("testdata", "fixtures.py"), dir)
		python(t, filepath.Join("testdata", "enhanced.py"), dir)
		python(t, filepath.Join("testdata", "display.py"), dir)
		data, err := os.ReadFile(filepath.Join(dir, "manifest.json"))
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(data, &fixtureList); err != nil {
			t.Fatal(err)
		}
	})
	if len(fixtureList.Images) == 0 {
		t.Skip("the fixtures could not be made")
	}
	return fixtureFolder, fixtureList
}

// values are the numbers that went into a fixture.
func values(t testing.TB, path string) []int {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	out := make([]int, len(data)/4)
	for i := range out {
		out[i] = int(int32(binary.LittleEndian.Uint32(data[4*i:])))
	}
	return out
}

// syntaxes are the ways dcmconv encodes a fixture.
var syntaxes = map[string]string{
	"explicit little endian": "+te",
	"implicit little endian": "+ti",
	"explicit big endian":    "+tb",
	"deflated":               "+td",
}

// convert re-encodes a file with dcmtk's dcmconv.
func convert(t testing.TB, from, to string, options ...string) {
	t.Helper()
	out, err := exec.Command(tool(t, "dcmconv"), append(options, from, to)...).CombinedOutput()
	if err != nil {
		t.Fatalf("dcmconv %v: %v: %s", options, err, out)
	}
}
