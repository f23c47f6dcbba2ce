package desk

import (
	"errors"
	"reflect"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/measure/mark"
	"leadline/measure/response"
)

func TestSavingWaitsRetriesAndSaysSo(t *testing.T) {
	b := newBench(t)
	b.press("i")
	b.click(FrontalPane, row(2)...)
	b.press("Enter")
	b.after(0)
	if state, _ := b.Saved(); state != Pending || len(b.saved) != 0 {
		t.Fatalf("saved at once: %v", state)
	}
	b.after(saveQuiet)
	if state, text := b.Saved(); state != Kept || text != "saved 10:42:00" {
		t.Errorf("%v %q", state, text)
	}
	b.fail = errors.New("disk full")
	b.press("Up")
	b.after(saveQuiet)
	if state, text := b.Saved(); state != Failed || text != "NOT SAVED: disk full" {
		t.Errorf("%v %q", state, text)
	}
	b.after(retryFirst / 2)
	b.fail = nil
	b.after(retryFirst)
	if state, _ := b.Saved(); state != Kept {
		t.Errorf("not saved after the disk had room again: %v", state)
	}
	if last := b.saved[len(b.saved)-1]; !reflect.DeepEqual(last, b.Book()) {
		t.Error("another book was saved")
	}
}

func TestHeldPointIsSavedInTheEnd(t *testing.T) {
	b := newBench(t)
	b.press("i")
	b.click(FrontalPane, row(2)...)
	b.press("Enter")
	b.after(time.Second)
	m, _ := b.Selected()
	n := len(b.saved)
	b.Grab(m.Points[0])
	for i := range 50 {
		b.Move(r2.Add(m.Points[0], r2.Vec{X: float64(i)}))
		b.after(100 * time.Millisecond)
	}
	if len(b.saved) == n {
		t.Error("nothing saved during five seconds of dragging")
	}
}

func TestQuitSavesFirst(t *testing.T) {
	b := newBench(t)
	b.press("i")
	b.click(FrontalPane, row(2)...)
	b.press("Enter", "Ctrl+q")
	b.after(0)
	b.after(0)
	if !b.Done() || len(b.saved) != 1 || len(b.saved[0].Marks) != 1 {
		t.Fatalf("closed %v with %d saved", b.Done(), len(b.saved))
	}
}

func TestQuitAsksWhereSavingFails(t *testing.T) {
	b := newBench(t)
	var rescued mark.Book
	b.cfg.Rescue = func(book mark.Book, _ []response.Test) (string, error) { rescued = book; return "elsewhere", nil }
	b.fail = errors.New("medium is read-only")
	b.press("i")
	b.click(FrontalPane, row(2)...)
	b.press("Enter", "Ctrl+q")
	b.after(0)
	b.after(0)
	if b.Done() || b.Question() == nil {
		t.Fatal("closed though nothing was saved")
	}
	b.press("Escape")
	b.after(0)
	if b.Done() {
		t.Fatal("closed though told to stay")
	}
	b.press("Ctrl+q")
	b.after(0)
	b.after(0)
	b.press("w")
	b.after(0)
	if !b.Done() || len(rescued.Marks) != 1 {
		t.Errorf("closed %v, %d marks written elsewhere", b.Done(), len(rescued.Marks))
	}
}

func TestQuitAsksAboutATooShortBeginning(t *testing.T) {
	b := newBench(t)
	b.press("m")
	b.click(LateralPane, row(1)...)
	b.press("Ctrl+q")
	b.after(0)
	if b.Done() || b.Question() == nil {
		t.Fatal("closed with a point of a margin lost")
	}
	b.press("Escape")
	if b.Draft() == nil || len(b.Draft().Mark.Points) != 1 {
		t.Fatal("staying lost the points")
	}
	b.press("Ctrl+q", "c")
	b.after(0)
	if !b.Done() {
		t.Error("did not close when told to")
	}
}
