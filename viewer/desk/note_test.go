package desk

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// Without a program for the clipboard the note is found in a new file of the
// case's folder, and an earlier one stays as it was.
func TestNoteGoesIntoAFileWithoutAClipboard(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	t.Setenv("PATH", t.TempDir())
	dir := writeCase(t)
	o, err := Open(dir, "reader", "", func() {})
	if err != nil {
		t.Fatal(err)
	}
	defer o.Close()
	o.Press("Enter")
	o.Press("Escape") // the views stay as the header has them
	o.Press("Ctrl+c")
	if n := o.Notice(); !n.Trouble || !strings.Contains(n.Text, "mark a needle") {
		t.Fatalf("a note of nothing: %+v", n)
	}
	o.Press("n")
	o.AddPoint(FrontalPane, r2.Vec{X: 3, Y: 1})
	o.AddPoint(FrontalPane, r2.Vec{X: 3, Y: 3})
	o.Press("Enter")
	for _, want := range []int{1, 2} {
		o.settle()
		o.Press("Ctrl+c")
		if !o.noting.busy {
			t.Fatalf("not begun: %+v", o.Notice())
		}
		n := <-o.noting.result
		if n.err != nil {
			t.Fatal(n.err)
		}
		o.noting.busy = false
		found, err := filepath.Glob(filepath.Join(dir, "note-*.txt"))
		if err != nil || len(found) != want {
			t.Fatalf("%d notes, want %d (%v)", len(found), want, err)
		}
		for _, f := range found {
			text, err := os.ReadFile(f)
			if err != nil || !strings.Contains(string(text), "N1 (needle)") {
				t.Errorf("%s: %v %q", f, err, text)
			}
		}
	}
}
