package imaging

import (
	"math"
	"strings"
	"testing"
	"time"
)

// How long a frame stands, by the definitions of PS3.3 C.7.6.5 (Cine module)
// and C.7.6.5.1.2 (Frame Time Vector: the first entry is 0, entry n the time
// from frame n-1 to frame n); the times are worked out by hand.
func TestInterval(t *testing.T) {
	at := func(ms int) time.Time { return time.Date(2026, 1, 3, 10, 0, 0, ms*1e6, time.UTC) }
	for _, c := range []struct {
		name   string
		h      Header
		frame  int
		ms     float64
		source string
	}{
		{"nothing", Header{}, 1, 1000.0 / 15, "assumed"},
		{"cine rate", Header{CineRate: Known(25)}, 3, 40, "Cine Rate"},
		{"frame time before cine rate", Header{CineRate: Known(25), FrameTime: Known(33)}, 1, 33, "Frame Time"},
		{"display rate before all", Header{CineRate: Known(25), FrameTime: Known(33), RecommendedDisplayRate: Known(8), FrameTimeVector: []float64{0, 1, 2}}, 1, 125, "Recommended Display"},
		{"vector, first", Header{FrameTimeVector: []float64{0, 30, 50, 70}}, 1, 30, "Vector"},
		{"vector, third", Header{FrameTimeVector: []float64{0, 30, 50, 70}}, 3, 70, "Vector"},
		{"vector, last", Header{FrameTimeVector: []float64{0, 30, 50, 70}}, 4, 50, "Vector"},
		{"vector and time, pointer to time", Header{FrameTimeVector: []float64{0, 30, 50}, FrameTime: Known(40), FrameIncrement: FrameTimeTag}, 1, 40, "Frame Time"},
		{"vector and time, pointer to vector", Header{FrameTimeVector: []float64{0, 30, 50}, FrameTime: Known(40), FrameIncrement: FrameTimeVectorTag}, 1, 30, "Vector"},
		{"a vector with a gap of an hour", Header{FrameTimeVector: []float64{0, 30, 3.6e6, 30, 50}}, 2, 30, "Vector"},
		{"a vector of zeros", Header{FrameTimeVector: []float64{0, 0, 0}, CineRate: Known(10)}, 1, 100, "Cine Rate"},
		{"absurd rates", Header{RecommendedDisplayRate: Known(5000), CineRate: Known(0.001), FrameTime: Known(1e9)}, 1, 1000.0 / 15, "assumed"},
		{"functional groups", Header{Each: []FrameAttributes{{Time: at(0)}, {Time: at(80)}, {Time: at(140)}}}, 2, 60, "functional groups"},
		{"functional groups, one without", Header{Each: []FrameAttributes{{Time: at(0)}, {}, {Time: at(140)}}, CineRate: Known(4)}, 2, 250, "Cine Rate"},
		{"beyond the end", Header{FrameTimeVector: []float64{0, 30}}, 9, 30, "Vector"},
		{"before the start", Header{FrameTimeVector: []float64{0, 30}}, 0, 30, "Vector"},
	} {
		d, source := c.h.Interval(c.frame)
		if math.Abs(float64(d)/1e6-c.ms) > 1e-3 || !strings.Contains(source, c.source) {
			t.Errorf("%s: %v from %q, want %g ms from %q", c.name, d, source, c.ms, c.source)
		}
	}
}
