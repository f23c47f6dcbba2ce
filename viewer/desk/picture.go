package desk

import (
	"context"
	"fmt"
	"time"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/viewer/reel"
)

// keptBytes is how much memory frames that are not shown may take: 16 of 1024
// by 1024, so that a run of hundreds costs no more than that.
const keptBytes = 32 << 20

// readAhead is how many frames are read before they are due, in the direction
// of play, and how many behind the frame shown are kept for stepping back.
const (
	readAhead  = 6
	readBehind = 1
)

// readFrames starts reading frames aside.
func (d *Desk) readFrames() {
	if d.cfg.Frame != nil {
		d.reel = reel.New(d.cfg.Frame, keptBytes, d.cfg.Wake)
	}
}

// Picture gives the samples of what a pane shows, waiting at most so long for
// them; ok is false while they are being read.
func (d *Desk) Picture(p PaneID, most time.Duration) (f *imaging.Frame, err error, ok bool) {
	ref := d.panes[p].Ref
	if d.reel == nil {
		return nil, fmt.Errorf("no frames to read"), true
	}
	d.askFrames()
	if f, err, ok = d.reel.Take(ref); ok || most <= 0 {
		return f, err, ok
	}
	return d.reel.Await(ref, most)
}

// Coming says how many frames of a pane's mean have been read, of how many;
// on is false where the pane's picture is there.
func (d *Desk) Coming(p PaneID) (done, of int, on bool) {
	ref := d.panes[p].Ref
	if d.reel == nil || ref.Instance == "" {
		return 0, 0, false
	}
	done, on = d.reel.Reading(ref)
	return done, max(ref.Last-ref.First+1, 1), on
}

// awaitPoint is how long a point waits for the frame it is set on.
const awaitPoint = 150 * time.Millisecond

// seen reports whether a pane's picture can be shown, or that it cannot be read
// is known: on nothing else is a point set.
func (d *Desk) seen(p PaneID) bool {
	if _, _, coming := d.Coming(p); !coming {
		return true
	}
	_, _, ok := d.Picture(p, awaitPoint)
	return ok
}

// has reports whether a frame can be shown at once.
func (d *Desk) has(ref mark.FrameRef) bool { return d.reel == nil || d.reel.Has(ref) }

// askFrames has the frames read that are shown or due, then those to come.
func (d *Desk) askFrames() {
	if d.reel == nil {
		return
	}
	var now, ahead []mark.FrameRef
	for p := range d.panes {
		if ref := d.panes[p].Ref; ref.Instance != "" {
			now = append(now, ref)
		}
	}
	for p := range d.panes {
		id, ref := PaneID(p), d.panes[p].Ref
		r, ok := d.Run(id)
		if !ok || r.Mean {
			continue
		}
		first, last := r.ends()
		at, behind := r.At, readBehind
		if r.Playing {
			at, behind = d.players[p].head, 0
			if at != r.At {
				now = append(now, mark.One(ref.Instance, at))
			}
		} else {
			first, last = 1, r.Frames
		}
		n := at
		for range min(readAhead, last-first) {
			if n++; n > last {
				if n = first; !r.Playing {
					break
				}
			}
			ahead = append(ahead, mark.One(ref.Instance, n))
		}
		for k := 1; k <= behind && at-k >= first; k++ {
			ahead = append(ahead, mark.One(ref.Instance, at-k))
		}
	}
	d.reel.Ask(now, ahead)
}

// Thumbnail reads a frame apart from those that are shown, for a small picture.
func (d *Desk) read(ctx context.Context, ref mark.FrameRef) (*imaging.Frame, error) {
	if d.cfg.Frame == nil {
		return nil, fmt.Errorf("no frames to read")
	}
	return d.cfg.Frame(ctx, ref, func(int) {})
}
