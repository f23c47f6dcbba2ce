package reel

import (
	"context"
	"errors"
	"runtime"
	"sync"
	"testing"
	"time"

	"leadline/imaging"
	"leadline/measure/mark"
)

// book reads frames of 1000 samples and remembers which were read.
type book struct {
	sync.Mutex
	read map[mark.FrameRef]int
	slow chan struct{} // a span waits for it after each frame
}

func (b *book) frame(ctx context.Context, ref mark.FrameRef, progress func(int)) (*imaging.Frame, error) {
	b.Lock()
	if b.read == nil {
		b.read = map[mark.FrameRef]int{}
	}
	b.read[ref]++
	b.Unlock()
	for n := ref.First; n < ref.Last; n++ {
		select {
		case <-b.slow:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
		progress(n - ref.First + 1)
	}
	if ref.First == 113 {
		return nil, errors.New("damaged")
	}
	return &imaging.Frame{First: ref.First, Last: max(ref.First, ref.Last), Samples: make([]uint16, 1000)}, nil
}

func (b *book) times(ref mark.FrameRef) int {
	b.Lock()
	defer b.Unlock()
	return b.read[ref]
}

func one(n int) mark.FrameRef { return mark.One("1.2", n) }

func ones(from, to int) (out []mark.FrameRef) {
	for n := from; n <= to; n++ {
		out = append(out, one(n))
	}
	return out
}

const soon = 20 * time.Second

func TestAskedFramesComeAndAreKeptWithinTheLimit(t *testing.T) {
	b := &book{}
	woken := make(chan struct{}, 1000)
	r := New(b.frame, 10*2000, func() { woken <- struct{}{} })
	defer r.Close()
	for n := 1; n <= 40; n++ {
		r.Ask(ones(n, n), ones(n+1, n+4))
		f, err, ok := r.Await(one(n), soon)
		if !ok || err != nil || f.First != n {
			t.Fatalf("frame %d: %v %v %v", n, f, err, ok)
		}
		r.Lock()
		held := r.bytes
		r.Unlock()
		if held > 10*2000 {
			t.Fatalf("%d bytes kept, more than the limit", held)
		}
	}
	if _, _, ok := r.Await(one(44), soon); ok {
		t.Error("a frame that was not asked for was waited for")
	}
	if r.Has(one(1)) {
		t.Error("the first of 40 frames is still kept where 10 may be")
	}
	if b.times(one(20)) != 1 {
		t.Errorf("frame 20 was read %d times", b.times(one(20)))
	}
	if len(woken) == 0 {
		t.Error("nobody was woken")
	}
}

func TestWhatIsAskedForIsNeverDropped(t *testing.T) {
	b := &book{}
	r := New(b.frame, 0, func() {})
	defer r.Close()
	r.Ask(ones(1, 3), nil)
	for n := 1; n <= 3; n++ {
		if _, _, ok := r.Await(one(n), soon); !ok {
			t.Fatalf("frame %d is not there", n)
		}
	}
	r.Ask(ones(4, 4), nil)
	if _, _, ok := r.Await(one(4), soon); !ok || r.Has(one(1)) {
		t.Errorf("frame 4 there: %t; frame 1 kept without room: %t", ok, r.Has(one(1)))
	}
}

func TestAMeanIsFollowedAndGivenUp(t *testing.T) {
	b := &book{slow: make(chan struct{})}
	r := New(b.frame, 1<<20, func() {})
	defer r.Close()
	span := mark.FrameRef{Instance: "1.2", First: 5, Last: 9}
	r.Ask([]mark.FrameRef{span}, nil)
	b.slow <- struct{}{}
	b.slow <- struct{}{}
	for end := time.Now().Add(soon); ; time.Sleep(time.Millisecond) {
		if done, on := r.Reading(span); on && done == 2 {
			break
		} else if time.Now().After(end) {
			t.Fatalf("after two frames: %d, %t", done, on)
		}
	}
	// Meanwhile frames come.
	r.Ask([]mark.FrameRef{span, one(1)}, nil)
	if _, _, ok := r.Await(one(1), soon); !ok {
		t.Fatal("a frame waits for the mean")
	}
	r.Ask(ones(2, 2), nil)
	if _, _, ok := r.Await(one(2), soon); !ok {
		t.Fatal("frame 2")
	}
	if _, _, ok := r.Take(span); ok {
		t.Error("a mean that was given up is there")
	}
	if _, on := r.Reading(span); on {
		t.Error("it is still being read")
	}
	// Asked for again it is made from the start.
	r.Ask([]mark.FrameRef{span}, nil)
	close(b.slow)
	if f, err, ok := r.Await(span, soon); !ok || err != nil || f.First != 5 || f.Last != 9 {
		t.Errorf("%v %v %t", f, err, ok)
	}
}

func TestAFrameThatCannotBeReadSaysWhyAndIsTriedAgain(t *testing.T) {
	b := &book{}
	r := New(b.frame, 1<<20, func() {})
	defer r.Close()
	r.Ask(ones(113, 113), nil)
	if _, err, ok := r.Await(one(113), soon); !ok || err == nil || r.Has(one(113)) {
		t.Errorf("%v %t", err, ok)
	}
	r.Ask(ones(1, 1), nil)
	r.Ask(ones(113, 113), nil)
	if _, err, ok := r.Await(one(113), soon); !ok || err == nil || b.times(one(113)) != 2 {
		t.Errorf("%v %t, read %d times", err, ok, b.times(one(113)))
	}
}

func TestCloseEndsTheReaders(t *testing.T) {
	before := runtime.NumGoroutine()
	b := &book{slow: make(chan struct{})}
	r := New(b.frame, 1<<20, func() {})
	r.Ask([]mark.FrameRef{{Instance: "1.2", First: 1, Last: 3}}, nil)
	r.Close()
	if now := runtime.NumGoroutine(); now > before {
		t.Errorf("%d goroutines before, %d after", before, now)
	}
}
