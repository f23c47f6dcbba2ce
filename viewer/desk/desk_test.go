package desk

import (
	"errors"
	"fmt"
	"math/rand"
	"reflect"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/response"
)

// bench is a desk on two made-up films, frontal and lateral, with a clock that
// is set by hand, a measurement that only reads the films, and a store that
// can be told to fail.
type bench struct {
	*Desk
	clock time.Time

	sync.Mutex
	saved []mark.Book
	kept  []response.Test
	fail  error
}

func header(uid string, primary float64) *imaging.Header {
	h := &imaging.Header{File: "case/" + uid + ".dcm", SOPInstance: uid, Columns: 1000, Rows: 800, Frames: 1}
	h.Base = imaging.Geometry{Columns: 1000, Rows: 800, PrimaryAngle: imaging.Known(primary), SecondaryAngle: imaging.Known(0)}
	return h
}

func newBench(t *testing.T, headers ...*imaging.Header) *bench {
	t.Helper()
	if len(headers) == 0 {
		headers = []*imaging.Header{header("1.1", 0), header("1.2", 90)}
	}
	b := &bench{clock: time.Date(2026, 3, 4, 10, 42, 0, 0, time.UTC)}
	b.Desk = New(Config{
		Name: "made up", Headers: headers, Book: mark.Book{Observer: "reader"}, Acknowledged: true,
		Films: func(mark.Book) []placement.Film {
			var out []placement.Film
			for _, h := range headers {
				out = append(out, placement.Film{Ref: mark.One(h.SOPInstance, 1), Header: h, Geometry: h.Base})
			}
			return out
		},
		Measure: measure,
		Save: func(book mark.Book, tests []response.Test, p placement.Placement) error {
			b.Lock()
			defer b.Unlock()
			if p.Cautions[0] != fmt.Sprint(len(book.Marks)) {
				return errors.New("placement of another book")
			}
			if b.fail != nil {
				return b.fail
			}
			b.saved = append(b.saved, book)
			b.kept = tests
			return nil
		},
		Now: func() time.Time { return b.clock },
	})
	t.Cleanup(b.Stop)
	return b
}

func measure(films []placement.Film, book mark.Book) placement.Placement {
	p := placement.Placement{Cautions: []string{fmt.Sprint(len(book.Marks))}}
	for _, f := range films {
		r := placement.FilmReading{Film: f, Cranial: imaging.Top}
		r.View, _ = f.Geometry.ViewByAngles()
		for _, s := range book.Statements {
			if s.Frame == f.Ref && s.View != "" {
				r.View = s.View
			}
			if s.Frame == f.Ref && s.Cranial != "" {
				r.Cranial = s.Cranial
			}
		}
		p.Films = append(p.Films, r)
	}
	return p
}

// after lets time pass until nothing is measured or saved any more.
func (b *bench) after(d time.Duration) {
	b.clock = b.clock.Add(d)
	for range 400 {
		b.Poll()
		_, current := b.Placement()
		if current && !b.saving.busy {
			b.Poll()
			if !b.saving.busy {
				return
			}
		}
		time.Sleep(time.Millisecond)
	}
}

func (b *bench) press(keys ...string) {
	for _, k := range keys {
		b.Press(k)
	}
}

func (b *bench) click(p PaneID, points ...r2.Vec) {
	for _, q := range points {
		b.AddPoint(p, q)
	}
}

func row(n int) []r2.Vec {
	var out []r2.Vec
	for i := range n {
		out = append(out, r2.Vec{X: 100 + 50*float64(i), Y: 300})
	}
	return out
}

func TestFilmsLieInTheirPanes(t *testing.T) {
	b := newBench(t, header("lat", -90), header("front", 180))
	if got := b.Pane(FrontalPane).Ref.Instance; got != "front" {
		t.Errorf("frontal pane shows %q", got)
	}
	if got := b.Pane(LateralPane).Ref.Instance; got != "lat" {
		t.Errorf("lateral pane shows %q", got)
	}
}

func TestMarkStandsInTheBookFromItsLeastPointsOn(t *testing.T) {
	b := newBench(t)
	b.press("m")
	if b.Focus() != LateralPane {
		t.Fatal("the ventral margin was begun on the frontal film")
	}
	b.click(LateralPane, row(1)...)
	if len(b.Book().Marks) != 0 {
		t.Fatal("one point of a margin stands in the book")
	}
	b.press("Enter")
	if !b.Notice().Trouble || b.Draft() == nil {
		t.Fatalf("one point was taken as a margin: %q", b.Notice().Text)
	}
	b.click(LateralPane, row(4)[1:]...)
	if len(b.Book().Marks) != 1 || len(b.Book().Marks[0].Points) != 4 {
		t.Fatal("four points do not stand in the book: a crash would lose them")
	}
	b.click(LateralPane, r2.Vec{X: 400, Y: 310.123456789})
	b.press("Enter")
	m := b.Book().Marks[0]
	// Graphic Data (0070,0022) has VR FL (PS3.3 table C.18.6-1).
	if want := float64(float32(310.123456789)); m.Points[4].Y != want {
		t.Errorf("the point is kept as %v, not in single precision %v", m.Points[4].Y, want)
	}
	if s, _ := b.Selected(); s.UID != m.UID || b.Draft() != nil {
		t.Error("the finished mark is not selected")
	}
}

func TestStructuresKeepToTheirView(t *testing.T) {
	b := newBench(t, header("1.1", 0))
	b.press("m")
	if b.Draft() != nil || !b.Notice().Trouble {
		t.Errorf("a ventral margin was begun without a lateral film: %q", b.Notice().Text)
	}
	b.press("i")
	b.click(FrontalPane, row(2)...)
	b.click(FrontalPane, r2.Vec{X: -3, Y: 5}, r2.Vec{X: 5, Y: 800.5})
	if n := len(b.Book().Marks[0].Points); n != 2 {
		t.Errorf("points outside the image were taken: %d", n)
	}
}

func TestObjectsFollowTheOtherView(t *testing.T) {
	b := newBench(t)
	for _, want := range []string{"N1", "N2"} {
		b.press("n")
		b.click(FrontalPane, row(2)...)
		b.press("Enter")
		if b.Device() != want {
			t.Fatalf("needle is %s, want %s", b.Device(), want)
		}
	}
	b.press("A") // back to N1
	b.SetFocus(LateralPane)
	for _, want := range []string{"N1", "N2", "N3"} {
		b.press("n")
		b.click(LateralPane, row(2)...)
		b.press("Enter")
		if b.Device() != want {
			t.Errorf("needle on the lateral film is %s, want %s", b.Device(), want)
		}
	}
}

func TestContactsFollowOneAnother(t *testing.T) {
	b := newBench(t)
	b.press("c")
	if !b.Notice().Trouble {
		t.Fatal("a contact without a lead was begun")
	}
	b.SetFocus(LateralPane)
	b.press("l")
	b.click(LateralPane, row(4)...)
	b.press("Enter", "c", "x", "Enter")
	if b.Question() == nil || b.Question().Fault == "" {
		t.Fatal("'x' was taken as a length")
	}
	b.press("Backspace", "3", "Enter")
	b.click(LateralPane, row(4)...)
	b.press("Escape")
	var index []int
	for _, m := range b.Book().Marks {
		if m.Structure == mark.Contact {
			index = append(index, m.Index)
			if m.Detail != "3" || m.Object != "L1" || len(m.Points) != 1 {
				t.Errorf("contact %+v", m)
			}
		}
	}
	if !reflect.DeepEqual(index, []int{0, 1, 2, 3}) {
		t.Errorf("contacts %v", index)
	}
}

// A long row of random actions, undone to the last, must give the book it
// began with, and done again, the book it ended with.
func TestUndoAndRedoWithoutLimit(t *testing.T) {
	b := newBench(t)
	rnd := rand.New(rand.NewSource(3))
	begin := b.Book()
	point := func() r2.Vec { return r2.Vec{X: rnd.Float64() * 1000, Y: rnd.Float64() * 800} }
	keys := []string{"m", "d", "n", "i", "j", "p", "Enter", "Escape", "Delete", "Shift+Delete", ".", ",", "Home", "End",
		"Up", "Shift+Left", "Insert", "Tab", "s", "l", "a", "t", "3", "n", "f", "u"}
	for range 4000 {
		b.clock = b.clock.Add(300 * time.Millisecond)
		switch rnd.Intn(4) {
		case 0:
			b.press(keys[rnd.Intn(len(keys))])
		case 1:
			b.AddPoint(PaneID(rnd.Intn(2)), point())
		case 2:
			if m, ok := b.Selected(); ok {
				b.Grab(m.Points[0])
				b.Move(point())
				b.Move(point())
				b.Drop()
			}
		case 3:
			b.Insert(point())
		}
	}
	b.press("Escape", "Escape")
	end, steps := b.Book(), len(b.undo)
	for _, m := range end.Marks {
		if err := m.Check(1000, 800); err != nil {
			t.Errorf("%s: %v", NameOf(m), err)
		}
	}
	if steps < 300 || len(end.Marks) == 0 {
		t.Fatalf("only %d steps, %d marks: the test tests nothing", steps, len(end.Marks))
	}
	for len(b.undo) > 0 {
		b.Undo()
	}
	if len(b.Book().Marks) != 0 || len(b.Book().Statements) != 0 || b.Book().Observer != begin.Observer {
		t.Errorf("undone: %+v", b.Book())
	}
	for len(b.redo) > 0 {
		b.Redo()
	}
	if !reflect.DeepEqual(b.Book(), end) {
		t.Error("done again, the book is another")
	}
}

func TestDragIsOneStepAndCanBePutBack(t *testing.T) {
	b := newBench(t)
	b.press("i")
	b.click(FrontalPane, row(2)...)
	b.press("Enter")
	before, depth := b.Book(), len(b.undo)
	m, _ := b.Selected()
	b.Select(Selection{m.UID, 1})
	b.Grab(m.Points[1])
	for i := range 20 {
		b.Move(r2.Add(m.Points[1], r2.Vec{X: float64(i), Y: 2}))
	}
	b.Move(r2.Vec{X: 5000, Y: 0}) // outside: stays where it was
	b.Drop()
	if len(b.undo) != depth+1 {
		t.Errorf("a drag made %d steps", len(b.undo)-depth)
	}
	got, _ := b.Mark(m.UID)
	if want := r2.Add(m.Points[1], r2.Vec{X: 19, Y: 2}); got.Points[1] != want || got.Points[0] != m.Points[0] {
		t.Errorf("moved to %v, want %v", got.Points, want)
	}
	b.Undo()
	if !reflect.DeepEqual(b.Book(), before) {
		t.Error("undo of a drag gives another book")
	}
	b.Grab(m.Points[1])
	b.Move(r2.Vec{X: 1, Y: 1})
	b.press("Escape")
	if !reflect.DeepEqual(b.Book(), before) || len(b.undo) != depth {
		t.Error("Escape does not put a dragged point back")
	}
}

func TestNudgeFollowsTheScreen(t *testing.T) {
	// With the head at the left edge of the stored image the film is shown
	// turned a quarter clockwise: up on the screen is left in the image.
	for edge, want := range map[imaging.Edge]r2.Vec{
		imaging.Top: {X: 0, Y: -1}, imaging.Left: {X: -1, Y: 0}, imaging.Bottom: {X: 0, Y: 1}, imaging.Right: {X: 1, Y: 0},
	} {
		b := newBench(t)
		b.state("cranial", mark.Statement{Frame: b.Pane(FrontalPane).Ref, Cranial: edge})
		b.settle()
		b.press("i")
		b.click(FrontalPane, row(2)...)
		b.press("Enter", ".")
		before, _ := b.Selected()
		b.press("Up")
		after, _ := b.Selected()
		if got := r2.Sub(after.Points[0], before.Points[0]); got != want {
			t.Errorf("head at %s: up moves by %v, want %v", edge, got, want)
		}
	}
}

func TestStatementsCarryTheirBasis(t *testing.T) {
	b := newBench(t)
	b.press("n")
	b.click(FrontalPane, row(2)...)
	b.press("Enter", "s", "r", "b", "t", "3", "d", "n", "S", "Left", "a")
	s := b.Book().Statements
	if len(s) != 3 {
		t.Fatalf("%d statements", len(s))
	}
	if s[0].Object != "N1" || s[0].Side != mark.RightSide || s[0].SideBasis != mark.TheatreRecord || s[0].Observer != "reader" || s[0].When.IsZero() {
		t.Errorf("side: %+v", s[0])
	}
	if s[1].Level != "S3" || s[1].LevelBasis != mark.SILineOnly || s[1].Transitional != "no" {
		t.Errorf("level: %+v", s[1])
	}
	if s[2].PatientLeft != imaging.Left || s[2].SideBasis != mark.LeadMarker || s[2].Frame != b.Pane(FrontalPane).Ref {
		t.Errorf("patient's left: %+v", s[2])
	}
	b.press("s", "l", "Escape")
	if len(b.Book().Statements) != 3 {
		t.Error("an answer broken off was kept")
	}
}

func TestStatedViewMovesTheFilm(t *testing.T) {
	odd := header("odd", 0)
	odd.Base.PrimaryAngle = imaging.Number{}
	b := newBench(t, header("front", 0), odd)
	if got := b.Pane(LateralPane).Ref.Instance; got != "odd" {
		t.Fatalf("film of unknown view not shown: %q", got)
	}
	b.press("m")
	if b.Draft() != nil {
		t.Fatal("a margin was begun on a film of unknown view")
	}
	b.press("v", "l", "m")
	if b.Draft() == nil || b.Draft().Pane != LateralPane {
		t.Error("the margin cannot be marked after the view was stated")
	}
}

func TestPickPrefersPointsAndReachesLines(t *testing.T) {
	b := newBench(t)
	b.press("i")
	b.click(FrontalPane, r2.Vec{X: 100, Y: 100}, r2.Vec{X: 100, Y: 500})
	b.press("Enter")
	same := func(p r2.Vec) r2.Vec { return p }
	if s, ok := b.Pick(FrontalPane, r2.Vec{X: 104, Y: 103}, same, 8); !ok || s.Vertex != 0 {
		t.Errorf("near its first point: %v %v", s, ok)
	}
	if s, ok := b.Pick(FrontalPane, r2.Vec{X: 95, Y: 300}, same, 8); !ok || s.Vertex != whole {
		t.Errorf("near its line: %v %v", s, ok)
	}
	if _, ok := b.Pick(FrontalPane, r2.Vec{X: 130, Y: 300}, same, 8); ok {
		t.Error("picked from 30 px away")
	}
}

func TestCautionWaitsToBeRead(t *testing.T) {
	b := newBench(t)
	kept := false
	b.caution, b.cfg.Acknowledge = true, func() error { kept = true; return nil }
	b.press("n")
	if b.Draft() != nil || !b.Caution() {
		t.Error("marking began under the caution")
	}
	b.press("Enter")
	if b.Caution() || !kept {
		t.Error("the caution was not acknowledged")
	}
}
