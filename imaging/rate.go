package imaging

import (
	"fmt"
	"slices"
	"time"
)

// A run whose header gives no rate that can be used is shown at RateAssumed
// frames a second (common practice, no source). Rates beyond RateLeast and
// RateMost, frames a second, are taken as not given: no C-arm makes them.
const (
	RateAssumed = 15.0
	RateLeast   = 0.1
	RateMost    = 240.0
)

// usableRate and usableTime say whether frames a second, or milliseconds a
// frame, are within the limits.
func usableRate(n Number) bool   { return n.Known && n.Value >= RateLeast && n.Value <= RateMost }
func usableTime(ms float64) bool { return ms >= 1000/RateMost && ms <= 1000/RateLeast }

// Interval is how long frame n (from 1) stands before the next, and where that
// is known from, in words. The first of these that gives a time from 1/RateMost
// to 1/RateLeast seconds counts (PS3.3 C.7.6.5, C.12.1, C.7.6.16.2.2):
//
//   - Recommended Display Frame Rate (0008,2144), which is meant for display;
//   - Frame Time (0018,1063) where Frame Increment Pointer names it;
//   - Frame Time Vector (0018,1065), whose entry n is the time from frame n-1 to
//     frame n; the last frame stands as long as the middle one of the others;
//   - Frame Time, the pointer naming neither;
//   - what the functional groups of an enhanced object say of each frame;
//   - Cine Rate (0018,0040).
//
// Else it is 1/RateAssumed, and the source says so.
func (h *Header) Interval(n int) (time.Duration, string) {
	ms := func(v float64) time.Duration { return time.Duration(v * float64(time.Millisecond)) }
	if usableRate(h.RecommendedDisplayRate) {
		return ms(1000 / h.RecommendedDisplayRate.Value), "Recommended Display Frame Rate"
	}
	single := h.FrameTime.Known && usableTime(h.FrameTime.Value)
	if single && h.FrameIncrement == FrameTimeTag {
		return ms(h.FrameTime.Value), "Frame Time"
	}
	if v, ok := vectorTime(h.FrameTimeVector, n); ok {
		return ms(v), "Frame Time Vector"
	}
	if single {
		return ms(h.FrameTime.Value), "Frame Time"
	}
	if v, ok := vectorTime(h.frameTimes(), n); ok {
		return ms(v), "frame times of the functional groups"
	}
	if usableRate(h.CineRate) {
		return ms(1000 / h.CineRate.Value), "Cine Rate"
	}
	return ms(1000 / RateAssumed), fmt.Sprintf("no rate in the header, %g frames a second assumed", RateAssumed)
}

// FrameTimeTag and FrameTimeVectorTag are what Frame Increment Pointer
// (0028,0009) names: group and element.
const (
	FrameTimeTag       = 0x00181063
	FrameTimeVectorTag = 0x00181065
)

// vectorTime is how long frame n (from 1) stands, in milliseconds, by times
// between frames of which entry n is that before frame n, as Frame Time Vector
// has them. A time that cannot be is replaced by the middle one of the others.
func vectorTime(v []float64, n int) (float64, bool) {
	var good []float64
	for _, t := range v[min(1, len(v)):] {
		if usableTime(t) {
			good = append(good, t)
		}
	}
	if len(good) == 0 {
		return 0, false
	}
	if n >= 1 && n < len(v) && usableTime(v[n]) {
		return v[n], true
	}
	slices.Sort(good)
	return good[len(good)/2], true
}

// frameTimes are the times before each frame, in milliseconds, by the functional
// groups of an enhanced object; nil where they do not give them.
func (h *Header) frameTimes() []float64 {
	out := make([]float64, len(h.Each))
	for i := 1; i < len(h.Each); i++ {
		a, b := h.Each[i-1].Time, h.Each[i].Time
		if a.IsZero() || b.IsZero() {
			return nil
		}
		out[i] = float64(b.Sub(a)) / float64(time.Millisecond)
	}
	return out
}
