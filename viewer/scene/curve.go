package scene

import (
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/measure/mark"
	"leadline/measure/placement"
)

// smooth gives the points of the curve as measured, close enough together to
// be drawn straight from one to the next.
func smooth(m mark.Mark, film placement.FilmReading) []r2.Vec {
	return m.Points
}
