package scene

import (
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/measure/curve"
	"leadline/measure/mark"
	"leadline/measure/placement"
)

// curveSteps is how many straight stretches stand for the curve between two
// marked points: at 1024 pixels across, less than a fifth of a pixel off.
const curveSteps = 12

// smooth gives the curve as it is measured, laid through the points in the
// millimetre plane (x times column spacing, y times row spacing), in straight
// stretches of image pixels. Points too few for a curve are joined as they are.
func smooth(m mark.Mark, film placement.FilmReading) []r2.Vec {
	s := shape(film)
	plane := make([]r2.Vec, len(m.Points))
	for i, p := range m.Points {
		plane[i] = r2.Vec{X: p.X * s.X, Y: p.Y * s.Y}
	}
	var c *curve.Curve
	var err error
	switch {
	case m.Structure == mark.Foramen && !m.Open():
		c, err = curve.Closed(plane)
	case m.Structure == mark.Lead:
		c, err = curve.InOrder(plane)
	default:
		c, err = curve.New(plane)
	}
	if err != nil {
		return m.Points
	}
	pts := c.Polyline(curveSteps)
	for i, p := range pts {
		pts[i] = r2.Vec{X: p.X / s.X, Y: p.Y / s.Y}
	}
	if m.Structure == mark.Foramen && !m.Open() && len(pts) > 1 {
		pts = pts[:len(pts)-1] // the outline closes itself
	}
	return pts
}
