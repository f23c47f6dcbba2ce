package desk

import (
	"context"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/imaging/assist"
	"leadline/measure/mark"
)

// assisted gives the bench frames and an answer to every request.
func assisted(b *bench, answer assist.Answer, err error) {
	b.cfg.Frame = func(context.Context, mark.FrameRef, func(int)) (*imaging.Frame, error) { return &imaging.Frame{}, nil }
	b.cfg.Assist = func(context.Context, *imaging.Frame, r2.Vec) (assist.Answer, error) { return answer, err }
}

// untilAnswered polls till the suggestion asked for has been taken in.
func (b *bench) untilAnswered(t *testing.T) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); b.suggesting.cancel != nil; time.Sleep(time.Millisecond) {
		if b.Poll(); time.Now().After(end) {
			t.Fatal("no answer")
		}
	}
}

var oneNeedle = assist.Answer{Suggestions: []assist.Suggestion{{Structure: "needle", Points: []assist.Point{{X: 100, Y: 100}, {X: 200, Y: 300}}, SD: 0.4, Confidence: 0.9}}}

// A suggestion is nobody's mark till it is accepted; then the mark says so, and
// once it is moved that it was changed. It names neither side nor level.
func TestSuggestionIsAMarkOnlyWhenAccepted(t *testing.T) {
	b := newBench(t)
	assisted(b, oneNeedle, nil)
	b.press("q")
	b.untilAnswered(t)
	if b.Suggestion() == nil || len(b.Book().Marks) != 0 {
		t.Fatalf("%+v, %d marks: %+v", b.Suggestion(), len(b.Book().Marks), b.Notice())
	}
	b.press("Escape")
	if b.Suggestion() != nil || len(b.Book().Marks) != 0 {
		t.Fatal("refused, but there")
	}
	b.press("q")
	b.untilAnswered(t)
	b.press("Enter")
	if len(b.Book().Marks) != 1 || b.Suggestion() != nil {
		t.Fatalf("not accepted: %+v", b.Notice())
	}
	m := b.Book().Marks[0]
	if m.Origin != mark.Suggested || m.Object != "N1" || m.Side != mark.NoSide || m.Level != "" || m.SD != imaging.Known(0.4) || len(m.History) != 1 || !strings.Contains(m.History[0], "accepted by reader") {
		t.Errorf("accepted: %+v", m)
	}
	b.press("Right")
	if m := b.Book().Marks[0]; m.Origin != mark.Changed || len(m.History) != 2 {
		t.Errorf("moved: %+v", m)
	}
	b.press("Ctrl+z", "Ctrl+z")
	if len(b.Book().Marks) != 0 {
		t.Error("undo left the accepted mark")
	}
	b.press("q")
	b.untilAnswered(t)
	b.press("i")
	if b.Draft() == nil || b.Suggestion() != nil {
		t.Error("a suggestion waits while something else is being marked: Enter would speak to both")
	}
}

// Why there is no suggestion is said in a line, and nothing is shown.
func TestNoSuggestionSaysWhy(t *testing.T) {
	for _, c := range []struct {
		answer assist.Answer
		err    error
		want   string
	}{{assist.Answer{Refused: "too little contrast"}, nil, "too little contrast"}, {assist.Answer{}, assist.ErrLacking, "leadline-assist is lacking"}} {
		b := newBench(t)
		assisted(b, c.answer, c.err)
		b.press("q")
		b.untilAnswered(t)
		if b.Suggestion() != nil || !strings.Contains(b.Notice().Text, c.want) {
			t.Errorf("%+v, want %q", b.Notice(), c.want)
		}
	}
}

// An answer that comes after the question was given up is dropped.
func TestSuggestionGivenUpIsDropped(t *testing.T) {
	b := newBench(t)
	assisted(b, oneNeedle, nil)
	hold := make(chan struct{})
	b.cfg.Assist = func(ctx context.Context, _ *imaging.Frame, _ r2.Vec) (assist.Answer, error) {
		<-hold
		return oneNeedle, ctx.Err()
	}
	b.press("q", "Escape")
	close(hold)
	for range 20 {
		b.Poll()
		time.Sleep(time.Millisecond)
	}
	if b.Suggestion() != nil {
		t.Error("a suggestion that was given up is shown")
	}
}
