package imaging

import (
	"math"
	"testing"
)

// Angles between beams: along one great circle they are the difference of the
// angles; at secondary 60 a primary step of 10 degrees turns the beam by
// 2 asin(sin 5 cos 60) (chord on a small circle).
func TestTurning(t *testing.T) {
	angles := func(p, s []float64) *Header {
		h := &Header{Frames: len(p)}
		for i := range p {
			h.Each = append(h.Each, FrameAttributes{Geometry: Geometry{PrimaryAngle: Known(p[i]), SecondaryAngle: Known(s[i])}})
		}
		return h
	}
	for _, c := range []struct {
		h           *Header
		first, last int
		want        float64
	}{
		{angles([]float64{0, 10, 25}, []float64{0, 0, 0}), 1, 3, 25},
		{angles([]float64{0, 10, 25}, []float64{0, 0, 0}), 1, 2, 10},
		{angles([]float64{0, 10, 25}, []float64{0, 0, 0}), 2, 2, 0},
		{angles([]float64{179, -179}, []float64{0, 0}), 1, 2, 2},
		{angles([]float64{0, 10}, []float64{60, 60}), 1, 2, 2 * math.Asin(math.Sin(5*math.Pi/180)*0.5) * 180 / math.Pi},
		{angles([]float64{90, -90}, []float64{0, 0}), 1, 2, 180},
		{&Header{Frames: 3, Base: Geometry{PrimaryAngle: Known(5), SecondaryAngle: Known(0)}, PrimaryStep: []float64{0, 0.5, 4}}, 1, 3, 4},
		{&Header{Frames: 3, Base: Geometry{PrimaryAngle: Known(5), SecondaryAngle: Known(0)}}, 1, 3, 0},
		{&Header{Frames: 2, PrimaryStep: []float64{0, 9}}, 1, 2, 0}, // no angle is known
		{angles([]float64{0, 10, 25}, []float64{0, 0, 0}), -4, 99, 25},
	} {
		if got := c.h.Turning(c.first, c.last); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("frames %d to %d: %g, want %g", c.first, c.last, got, c.want)
		}
	}
	long := &Header{Frames: 5000, Base: Geometry{PrimaryAngle: Known(0), SecondaryAngle: Known(0)}}
	for i := range long.Frames {
		long.PrimaryStep = append(long.PrimaryStep, 100*float64(i)/4999)
	}
	if got := long.Turning(1, 5000); math.Abs(got-100) > 1e-9 {
		t.Errorf("a long turn: %g", got)
	}
}

// The header of a frame has the frame's values and leaves the whole as it is.
func TestHeaderOfFrame(t *testing.T) {
	h := &Header{Frames: 2, Windows: []Window{{Center: 1, Width: 2}}, Each: []FrameAttributes{
		{Geometry: Geometry{Columns: 1}, Windows: []Window{{Center: 1, Width: 2}}},
		{Geometry: Geometry{Columns: 2}, Windows: []Window{{Center: 5, Width: 6}}, RescaleSlope: Known(3)},
	}}
	of := h.Of(2)
	if of.Windows[0].Center != 5 || of.RescaleSlope.Value != 3 || of.Base.Columns != 2 || of.Geometry(1).Columns != 1 || h.Windows[0].Center != 1 {
		t.Errorf("%+v", of)
	}
	if plain := (&Header{}); plain.Of(1) != plain {
		t.Error("a header without functional groups is the header of all its frames")
	}
}
