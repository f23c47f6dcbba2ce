package desk

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
)

// runHeader is a lateral run of frames at ten a second by Frame Time.
func runHeader(frames int) *imaging.Header {
	h := header("1.3", 90)
	h.Frames, h.FrameTime, h.FrameIncrement = frames, imaging.Known(100), imaging.FrameTimeTag
	return h
}

func newRunBench(t *testing.T, frames int) *bench {
	return newBench(t, header("1.1", 0), runHeader(frames))
}

// pass lets time go by, polling as often as a window would.
func (b *bench) pass(d time.Duration) {
	for end := b.clock.Add(d); b.clock.Before(end); {
		b.clock = b.clock.Add(5 * time.Millisecond)
		b.Poll()
	}
}

func at(b *bench) int { return b.Pane(LateralPane).Ref.First }

func TestARunPlaysAtTheRateOfItsHeader(t *testing.T) {
	b := newRunBench(t, 12)
	if r, ok := b.Run(LateralPane); !ok || r.Frames != 12 || r.Rate != 10 || r.Source != "Frame Time" {
		t.Fatalf("%+v %t", r, ok)
	}
	if _, ok := b.Run(FrontalPane); ok {
		t.Error("a single image is no run")
	}
	b.SetFocus(FrontalPane)
	b.Press("/") // there is one run in sight
	b.pass(time.Second)
	if at(b) != 11 {
		t.Errorf("after a second frame %d, want 11", at(b))
	}
	b.pass(200 * time.Millisecond) // 12, then round to 1
	if at(b) != 1 {
		t.Errorf("it does not go round: frame %d", at(b))
	}
	b.Press(")")
	b.pass(time.Second) // twenty frames on
	if r, _ := b.Run(LateralPane); r.Rate != 20 || at(b) < 8 || at(b) > 10 {
		t.Errorf("twice as fast: %g frames/s, frame %d", r.Rate, at(b))
	}
	b.Press("/")
	here := at(b)
	b.pass(time.Second)
	if at(b) != here {
		t.Error("it plays on after it was stopped")
	}
	if _, next := b.Poll(); !next.IsZero() {
		t.Errorf("a run at rest wakes the window at %v", next)
	}
}

// Frame Time Vector: the second frame stands longer than the others.
func TestARunKeepsTheTimesOfItsFrames(t *testing.T) {
	h := runHeader(4)
	h.FrameTime, h.FrameTimeVector, h.FrameIncrement = imaging.Number{}, []float64{0, 100, 500, 100}, imaging.FrameTimeVectorTag
	b := newBench(t, header("1.1", 0), h)
	b.SetFocus(LateralPane)
	b.Press("Space")
	for _, step := range []struct {
		after time.Duration
		frame int
	}{{95 * time.Millisecond, 1}, {10 * time.Millisecond, 2}, {490 * time.Millisecond, 2}, {10 * time.Millisecond, 3}} {
		if b.pass(step.after); at(b) != step.frame {
			t.Fatalf("frame %d, want %d", at(b), step.frame)
		}
	}
}

func TestStepsAndSpan(t *testing.T) {
	b := newRunBench(t, 12)
	b.SetFocus(LateralPane)
	b.Press("<")
	if at(b) != 1 {
		t.Error("before the first frame there is none")
	}
	b.Press("Ctrl+End")
	b.Press(">")
	if at(b) != 12 {
		t.Errorf("frame %d, want the last", at(b))
	}
	b.GoTo(LateralPane, 5)
	b.Press("Shift+Home")
	b.Press("M")
	if b.Pane(LateralPane).Ref.Last != 5 || !strings.Contains(b.Notice().Text, "Choose a span") {
		t.Errorf("a mean of nothing: %v, %q", b.Pane(LateralPane).Ref, b.Notice().Text)
	}
	b.GoTo(LateralPane, 9)
	b.Press("Shift+End")
	b.Press("M")
	if ref := b.Pane(LateralPane).Ref; ref.First != 5 || ref.Last != 9 {
		t.Fatalf("the mean is of %v", ref)
	}
	if r, _ := b.Run(LateralPane); !r.Mean || r.At != 9 || r.First != 5 || r.Last != 9 {
		t.Errorf("%+v", r)
	}
	// What is marked on the mean belongs to the span.
	b.Press("n")
	b.AddPoint(LateralPane, r2.Vec{X: 700, Y: 300})
	b.AddPoint(LateralPane, r2.Vec{X: 400, Y: 500})
	b.Press("Enter")
	if m := b.Book().Marks[0]; m.Frame != (mark.FrameRef{Instance: "1.3", First: 5, Last: 9}) {
		t.Errorf("marked on %v", m.Frame)
	}
	b.Press("M")
	if ref := b.Pane(LateralPane).Ref; ref != mark.One("1.3", 9) {
		t.Errorf("back at %v", ref)
	}
	if len(b.Marks(b.Pane(LateralPane).Ref)) != 0 {
		t.Error("a mark of the mean stands on a single frame")
	}
	b.Press("/") // over the span alone
	for range 40 {
		b.pass(50 * time.Millisecond)
		if at(b) < 5 || at(b) > 9 {
			t.Fatalf("played outside the span: frame %d", at(b))
		}
	}
	b.Press("/")
	b.Press("Escape") // lets the selection go
	b.Press("Escape")
	if r, _ := b.Run(LateralPane); r.First != 0 {
		t.Errorf("span %d to %d was not let go", r.First, r.Last)
	}
	b.ChooseSpan(LateralPane, 30, -4)
	if r, _ := b.Run(LateralPane); r.First != 1 || r.Last != 12 {
		t.Errorf("span %d to %d, want all", r.First, r.Last)
	}
}

// A mean over a beam that turns shows no direction.
func TestNoMeanWhileTheBeamTurns(t *testing.T) {
	h := runHeader(3)
	h.PrimaryStep, h.SecondaryStep = []float64{0, 4, 8}, []float64{0, 0, 0}
	b := newBench(t, header("1.1", 0), h)
	b.ChooseSpan(LateralPane, 1, 3)
	b.ShowMean(LateralPane)
	if ref := b.Pane(LateralPane).Ref; ref.Last != ref.First || !b.Notice().Trouble || !strings.Contains(b.Notice().Text, "8 degrees") {
		t.Errorf("%v, %q", ref, b.Notice().Text)
	}
}

func TestPlayingDoesNotTouchMarkingOnTheOtherFilm(t *testing.T) {
	b := newRunBench(t, 12)
	b.Play(LateralPane)
	b.SetFocus(FrontalPane)
	b.Press("i")
	b.AddPoint(FrontalPane, r2.Vec{X: 500, Y: 100})
	b.pass(350 * time.Millisecond)
	b.AddPoint(FrontalPane, r2.Vec{X: 500, Y: 600})
	b.pass(350 * time.Millisecond)
	b.Press("Enter")
	if n := at(b); n != 8 {
		t.Errorf("frame %d after 0.7 s, want 8", n)
	}
	if m, ok := b.Selected(); !ok || len(m.Points) != 2 || m.Frame.Instance != "1.1" {
		t.Errorf("marked: %+v", m)
	}
	b.pass(300 * time.Millisecond)
	if _, ok := b.Selected(); !ok {
		t.Error("the run that plays takes the selection away from the other film")
	}
	// A mark on the run itself stops it: it belongs to the frame it was begun on.
	b.SetFocus(LateralPane)
	b.Press("m")
	here := b.Pane(LateralPane).Ref
	b.pass(time.Second)
	b.AddPoint(LateralPane, r2.Vec{X: 500, Y: 100})
	if dr := b.Draft(); b.Pane(LateralPane).Ref != here || dr == nil || dr.Mark.Frame != here {
		t.Errorf("shown %v, begun on %v, marked on %+v", b.Pane(LateralPane).Ref, here, dr)
	}
}

// A statement about a run holds for all its frames, unless the beam turns.
func TestAStatementHoldsForTheRun(t *testing.T) {
	b := newRunBench(t, 12)
	b.GoTo(LateralPane, 4)
	b.SetFocus(LateralPane)
	b.Press("h")
	b.Press("Up")
	want := mark.FrameRef{Instance: "1.3", First: 1, Last: 12}
	if s := b.Book().Statements; len(s) != 1 || s[0].Frame != want {
		t.Fatalf("%+v", s)
	}
	b.GoTo(LateralPane, 7)
	if r := mark.Read(b.Pane(LateralPane).Ref, imaging.Geometry{}, b.Book()); r.Cranial != imaging.Top {
		t.Errorf("frame 7 is read as %+v", r)
	}
}

// slowFrames gives frames only as far as they are let.
type slowFrames struct {
	sync.Mutex
	let  map[int]bool
	news *sync.Cond
}

func (s *slowFrames) read(ctx context.Context, ref mark.FrameRef, progress func(int)) (*imaging.Frame, error) {
	stop := context.AfterFunc(ctx, func() { s.Lock(); s.news.Broadcast(); s.Unlock() })
	defer stop()
	s.Lock()
	defer s.Unlock()
	for ref.Instance == "1.3" && !s.let[ref.First] && ctx.Err() == nil {
		s.news.Wait()
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	return &imaging.Frame{First: ref.First, Last: ref.Last, Samples: []uint16{1}}, nil
}

func (s *slowFrames) allow(frames ...int) {
	s.Lock()
	for _, n := range frames {
		s.let[n] = true
	}
	s.news.Broadcast()
	s.Unlock()
}

// Frames that have not been read are left out, and the run keeps its time.
func TestFramesAreDroppedRatherThanLate(t *testing.T) {
	s := &slowFrames{let: map[int]bool{1: true, 2: true, 7: true, 8: true}}
	s.news = sync.NewCond(s)
	b := &bench{clock: time.Date(2026, 3, 4, 10, 42, 0, 0, time.UTC)}
	headers := []*imaging.Header{header("1.1", 0), runHeader(40)}
	b.Desk = New(Config{Headers: headers, Acknowledged: true, Frame: s.read, Measure: measure,
		Films: func(mark.Book) []placement.Film {
			return []placement.Film{{Ref: mark.One("1.1", 1), Header: headers[0], Geometry: headers[0].Base},
				{Ref: mark.One("1.3", 1), Header: headers[1], Geometry: headers[1].Base}}
		},
		Now: func() time.Time { return b.clock }})
	defer func() { s.allow(3, 4, 5, 6); b.Stop() }()
	wait := func(n int) {
		for end := time.Now().Add(20 * time.Second); !b.has(mark.One("1.3", n)); time.Sleep(time.Millisecond) {
			if time.Now().After(end) {
				t.Fatalf("frame %d does not come", n)
			}
		}
	}
	wait(1)
	wait(2)
	b.Play(LateralPane)
	b.pass(250 * time.Millisecond) // frame 3 is due and not there
	if at(b) != 2 {
		t.Errorf("shown is %d, want 2: no later frame is there", at(b))
	}
	if n := b.players[LateralPane].head; n != 3 {
		t.Errorf("due is %d, want 3", n)
	}
	b.pass(500 * time.Millisecond) // 8 is due; 3 and 4 hold the two readers up
	s.allow(3)
	wait(8)
	b.pass(5 * time.Millisecond)
	if at(b) != 8 {
		t.Errorf("shown is %d, want 8 at once", at(b))
	}
}

// A point is set on nothing that cannot be seen yet.
func TestNoPointOnAFrameThatIsNotThere(t *testing.T) {
	s := &slowFrames{let: map[int]bool{1: true}}
	s.news = sync.NewCond(s)
	headers := []*imaging.Header{header("1.1", 0), runHeader(9)}
	d := New(Config{Headers: headers, Acknowledged: true, Frame: s.read, Measure: measure,
		Films: func(mark.Book) []placement.Film {
			return []placement.Film{{Ref: mark.One("1.1", 1), Header: headers[0], Geometry: headers[0].Base},
				{Ref: mark.One("1.3", 1), Header: headers[1], Geometry: headers[1].Base}}
		}})
	defer func() { s.allow(1, 2, 3, 4, 5, 6, 7, 8, 9); d.Stop() }()
	d.GoTo(LateralPane, 5)
	d.SetFocus(LateralPane)
	d.Press("p")
	d.AddPoint(LateralPane, r2.Vec{X: 5, Y: 5})
	if len(d.Book().Marks) != 0 || !d.Notice().Trouble {
		t.Errorf("marked %+v; %q", d.Book().Marks, d.Notice().Text)
	}
	// A mean that takes long can be given up.
	d.Press("Escape")
	d.GoTo(LateralPane, 1)
	d.ChooseSpan(LateralPane, 2, 6)
	d.ShowMean(LateralPane)
	d.Poll()
	if _, of, on := d.Coming(LateralPane); !on || of != 5 {
		t.Fatalf("the mean is not being made: %d %t", of, on)
	}
	d.Press("Escape")
	if ref := d.Pane(LateralPane).Ref; ref != mark.One("1.3", 1) {
		t.Errorf("given up, shown is %v", ref)
	}
}

func TestAFrameThatCannotBeReadSaysSo(t *testing.T) {
	bad := errors.New("damaged")
	headers := []*imaging.Header{header("1.1", 0)}
	d := New(Config{Headers: headers, Acknowledged: true, Measure: measure,
		Frame: func(context.Context, mark.FrameRef, func(int)) (*imaging.Frame, error) { return nil, bad },
		Films: func(mark.Book) []placement.Film {
			return []placement.Film{{Ref: mark.One("1.1", 1), Header: headers[0], Geometry: headers[0].Base}}
		}})
	defer d.Stop()
	if _, err, ok := d.Picture(FrontalPane, 20*time.Second); !ok || !errors.Is(err, bad) {
		t.Errorf("%v %t", err, ok)
	}
}
