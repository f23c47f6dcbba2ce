package board

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// circle of 24 points.
func circle(c r2.Vec, r float64) []r2.Vec {
	out := make([]r2.Vec, 24)
	for i := range out {
		s, k := math.Sincos(2 * math.Pi * float64(i) / float64(len(out)))
		out[i] = r2.Vec{X: c.X + r*k, Y: c.Y + r*s}
	}
	return out
}

// arc is a quarter of a circle, the first from right to bottom.
func arc(c r2.Vec, r float64, quarter int) []r2.Vec {
	const n = 5
	out := make([]r2.Vec, n+1)
	for i := range out {
		s, k := math.Sincos(math.Pi / 2 * (float64(quarter) + float64(i)/n))
		out[i] = r2.Vec{X: c.X + r*k, Y: c.Y + r*s}
	}
	return out
}
