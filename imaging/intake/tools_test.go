package intake_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging/dicomfile"
)

// tool skips the test where a tool is missing, or fails it where tools are
// required.
func tool(t testing.TB, name string) string {
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

func runIn(dir, name string, args ...string) (string, error) {
	cmd := exec.Command(name, args...)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	return string(out), err
}

// bomb is the head of a film of frames of 2048 columns and 4096 rows of 8 bits,
// up to where its pixel data begin.
func bomb(t testing.TB, frames int) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "film")
	put(t, path, at("2.25.1", "1000"), classXA)
	ds, err := dicom.ParseFile(path, nil)
	if err != nil {
		t.Fatal(err)
	}
	var elements []*dicom.Element
	for _, e := range ds.Elements {
		switch e.Tag {
		case tag.PixelData:
			continue
		case tag.Rows:
			e, err = dicom.NewElement(tag.Rows, []int{4096})
		case tag.Columns:
			e, err = dicom.NewElement(tag.Columns, []int{2048})
		}
		if err != nil {
			t.Fatal(err)
		}
		if e.Tag.Group != tag.MetadataGroup {
			elements = append(elements, e)
		}
	}
	number, err := dicom.NewElement(tag.NumberOfFrames, []string{strconv.Itoa(frames)})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := dicomfile.Encode(&b, dicom.Dataset{Elements: append(elements, number)}); err != nil {
		t.Fatal(err)
	}
	length := uint32(frames) * 2048 * 4096
	b.Write([]byte{0xe0, 0x7f, 0x10, 0, 'O', 'B', 0, 0, byte(length), byte(length >> 8), byte(length >> 16), byte(length >> 24)})
	return b.Bytes()
}
