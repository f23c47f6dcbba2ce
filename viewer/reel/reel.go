// Package reel reads the frames of a case aside: what is shown first, then
// what is likely to be shown next, and keeps what was read within a limit of
// memory. Whoever shows frames never waits for one unless he wants to.
package reel

import (
	"context"
	"slices"
	"sync"
	"time"

	"leadline/imaging"
	"leadline/measure/mark"
)

// Read decodes a frame, or the mean of a span; progress is told how many frames
// of the span have been read. It is called from several goroutines at once.
type Read func(ctx context.Context, ref mark.FrameRef, progress func(done int)) (*imaging.Frame, error)

// readers work side by side, so that a long mean does not keep frames waiting.
const readers = 2

// Reel holds frames that were read and reads those that are asked for. Its
// methods may be called from any goroutine.
type Reel struct {
	read  Read
	limit int64
	wake  func()

	sync.Mutex
	work   *sync.Cond // something to read, or the end
	news   *sync.Cond // something was read
	held   map[mark.FrameRef]*print
	bytes  int64
	turn   int
	asked  []mark.FrameRef
	ahead  []mark.FrameRef
	busy   map[mark.FrameRef]*job
	closed bool
	ended  sync.WaitGroup
}

// print is a frame that was read, or why it could not be.
type print struct {
	frame *imaging.Frame
	err   error
	bytes int64
	used  int
}

// job is a frame being read.
type job struct {
	cancel context.CancelFunc
	done   int
	told   time.Time
}

// New makes a reel that keeps at most limit bytes of samples besides what is
// asked for; wake is called when something asked for has come.
func New(read Read, limit int64, wake func()) *Reel {
	r := &Reel{read: read, limit: limit, wake: wake, held: map[mark.FrameRef]*print{}, busy: map[mark.FrameRef]*job{}}
	r.work, r.news = sync.NewCond(r), sync.NewCond(r)
	r.ended.Add(readers)
	for range readers {
		go r.run()
	}
	return r
}

// Ask says what is shown or to be shown now, most wanted first, and what is
// likely to follow. It replaces what was asked before: a mean that nobody asks
// for any more is given up.
func (r *Reel) Ask(now, ahead []mark.FrameRef) {
	r.Lock()
	defer r.Unlock()
	if slices.Equal(now, r.asked) && slices.Equal(ahead, r.ahead) {
		return
	}
	for ref, p := range r.held {
		if p.err != nil && slices.Contains(r.asked, ref) && !slices.Contains(now, ref) {
			delete(r.held, ref) // asked for again it is read again
		}
	}
	r.asked, r.ahead = slices.Clone(now), slices.Clone(ahead)
	for ref, j := range r.busy {
		if ref.Last > ref.First && !slices.Contains(now, ref) {
			j.cancel()
		}
	}
	r.trim()
	r.work.Broadcast()
}

// Take gives a frame that has been read; ok is false while it has not.
func (r *Reel) Take(ref mark.FrameRef) (f *imaging.Frame, err error, ok bool) {
	r.Lock()
	defer r.Unlock()
	return r.take(ref)
}

func (r *Reel) take(ref mark.FrameRef) (*imaging.Frame, error, bool) {
	p := r.held[ref]
	if p == nil {
		return nil, nil, false
	}
	r.turn++
	p.used = r.turn
	return p.frame, p.err, true
}

// Await is Take that waits up to a time for a frame that was asked for.
func (r *Reel) Await(ref mark.FrameRef, most time.Duration) (*imaging.Frame, error, bool) {
	r.Lock()
	defer r.Unlock()
	late := false
	timer := time.AfterFunc(most, func() {
		r.Lock()
		late = true
		r.Unlock()
		r.news.Broadcast()
	})
	defer timer.Stop()
	for r.held[ref] == nil && !late && !r.closed && slices.Contains(r.asked, ref) {
		r.news.Wait()
	}
	return r.take(ref)
}

// Has reports whether a frame has been read and can be shown.
func (r *Reel) Has(ref mark.FrameRef) bool {
	r.Lock()
	defer r.Unlock()
	p := r.held[ref]
	return p != nil && p.err == nil
}

// Reading reports whether a frame is asked for and has not been read yet, and
// how many frames of a span have been.
func (r *Reel) Reading(ref mark.FrameRef) (done int, on bool) {
	r.Lock()
	defer r.Unlock()
	if r.held[ref] != nil || !slices.Contains(r.asked, ref) {
		return 0, false
	}
	if j := r.busy[ref]; j != nil {
		return j.done, true
	}
	return 0, true
}

// Close gives up what is being read and waits for the readers to end.
func (r *Reel) Close() {
	r.Lock()
	r.closed = true
	for _, j := range r.busy {
		j.cancel()
	}
	r.work.Broadcast()
	r.news.Broadcast()
	r.Unlock()
	r.ended.Wait()
}

func (r *Reel) run() {
	defer r.ended.Done()
	r.Lock()
	defer r.Unlock()
	for {
		ref, ok := r.next()
		for !ok && !r.closed {
			r.work.Wait()
			ref, ok = r.next()
		}
		if r.closed {
			return
		}
		r.develop(ref)
	}
}

// next is what to read: what is asked for, then what is likely to follow, as
// far as there is room.
func (r *Reel) next() (mark.FrameRef, bool) {
	for _, list := range [2][]mark.FrameRef{r.asked, r.ahead} {
		for _, ref := range list {
			if r.held[ref] == nil && r.busy[ref] == nil {
				return ref, true
			}
		}
	}
	return mark.FrameRef{}, false
}

// develop reads a frame; the lock is given up meanwhile.
func (r *Reel) develop(ref mark.FrameRef) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	j := &job{cancel: cancel, told: time.Now()}
	r.busy[ref] = j
	r.Unlock()
	f, err := r.read(ctx, ref, func(done int) { r.progress(j, done) })
	given := ctx.Err() != nil
	r.Lock()
	delete(r.busy, ref)
	if given && !r.closed {
		r.work.Broadcast() // it may be asked for again by now
	}
	if given {
		return
	}
	r.turn++
	p := &print{frame: f, err: err, used: r.turn}
	if err == nil {
		p.bytes = size(f)
	}
	r.held[ref] = p
	r.bytes += p.bytes
	r.trim()
	r.news.Broadcast()
	if slices.Contains(r.asked, ref) {
		r.Unlock()
		r.wake()
		r.Lock()
	}
}

// progressEvery is how often a long reading is told of.
const progressEvery = 100 * time.Millisecond

func (r *Reel) progress(j *job, done int) {
	r.Lock()
	j.done = done
	tell := time.Since(j.told) >= progressEvery
	if tell {
		j.told = time.Now()
	}
	r.Unlock()
	if tell {
		r.wake()
	}
}

// trim drops what was not used for longest, but nothing that is asked for.
func (r *Reel) trim() {
	for r.bytes > r.limit {
		var oldest mark.FrameRef
		var found *print
		for ref, p := range r.held {
			if slices.Contains(r.asked, ref) || slices.Contains(r.ahead, ref) {
				continue
			}
			if found == nil || p.used < found.used {
				oldest, found = ref, p
			}
		}
		if found == nil {
			return
		}
		delete(r.held, oldest)
		r.bytes -= found.bytes
	}
}

// size of a frame in memory.
func size(f *imaging.Frame) int64 {
	n := int64(2*len(f.Samples) + len(f.RGB))
	for _, o := range f.Overlays {
		n += int64(len(o.Bits))
	}
	return n
}
