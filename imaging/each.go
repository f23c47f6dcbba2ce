package imaging

import (
	"math"
	"time"
)

// FrameAttributes are what an enhanced object says of one frame, from its
// shared and per-frame functional groups (PS3.3 C.7.6.16).
type FrameAttributes struct {
	Geometry Geometry

	RescaleSlope, RescaleIntercept Number
	Windows                        []Window

	// Time the frame was acquired, by Frame Reference DateTime or Frame
	// Acquisition DateTime; zero where not given. Zones are left out.
	Time time.Time
	// Anatomy is the meaning of the code in Anatomic Region Sequence, and
	// Laterality is Frame Laterality (0020,9072): R, L, U, B or empty.
	Anatomy, Laterality string
}

// Geometry of frame n (from 1): of an enhanced object by its functional groups,
// of others that of the first with the positioner's increments added.
func (h *Header) Geometry(n int) Geometry {
	if n >= 1 && n <= len(h.Each) {
		return h.Each[n-1].Geometry
	}
	g := h.Base
	step := func(a *Number, inc []float64) {
		if a.Known && n >= 1 && n <= len(inc) {
			a.Value += inc[n-1]
		}
	}
	step(&g.PrimaryAngle, h.PrimaryStep)
	step(&g.SecondaryAngle, h.SecondaryStep)
	return g
}

// Of is the header as it holds for frame n (from 1): itself, but for an enhanced
// object a copy whose Base, windows and rescaling are the frame's.
func (h *Header) Of(n int) *Header {
	if n < 1 || n > len(h.Each) {
		return h
	}
	c, e := *h, &h.Each[n-1]
	c.Base, c.Windows = e.Geometry, e.Windows
	c.RescaleSlope, c.RescaleIntercept = e.RescaleSlope, e.RescaleIntercept
	return &c
}

// TurningMost is how far, in degrees, the beam may turn within frames that are
// taken as one direction.
const TurningMost = 1.0

// Turning is the largest angle, in degrees, between the beams of any two of the
// frames first to last (from 1), by the positioner's angles; 0 where they are
// not given. Above TurningMost the mean of those frames shows no single
// direction, and the geometry of its first frame does not hold for it.
func (h *Header) Turning(first, last int) float64 {
	type beam struct{ x, y, z float64 }
	var beams []beam
	first, last = max(first, 1), min(last, max(h.Frames, 1))
	if len(h.Each) == 0 && len(h.PrimaryStep) == 0 && len(h.SecondaryStep) == 0 {
		return 0
	}
	for n := first; n <= last; n++ {
		g := h.Geometry(n)
		if !g.PrimaryAngle.Known || !g.SecondaryAngle.Known {
			continue
		}
		sa, ca := math.Sincos(g.PrimaryAngle.Value * math.Pi / 180)
		sb, cb := math.Sincos(g.SecondaryAngle.Value * math.Pi / 180)
		b := beam{cb * sa, -cb * ca, sb}
		if len(beams) == 0 || beams[len(beams)-1] != b {
			beams = append(beams, b)
		}
	}
	if len(beams) > turningCompared {
		beams = thinned(beams, turningCompared)
	}
	most := 0.0
	for i, a := range beams {
		for _, b := range beams[:i] {
			// By the chord: exact for small angles, where the cosine is not.
			c := math.Sqrt((a.x-b.x)*(a.x-b.x)+(a.y-b.y)*(a.y-b.y)+(a.z-b.z)*(a.z-b.z)) / 2
			most = max(most, 2*math.Asin(min(c, 1))*180/math.Pi)
		}
	}
	return most
}

// turningCompared directions are compared with each other at most; of more,
// evenly spread ones, the last among them.
const turningCompared = 1024

func thinned[T any](v []T, n int) []T {
	out := make([]T, n)
	for i := range out {
		out[i] = v[i*(len(v)-1)/(n-1)]
	}
	return out
}
