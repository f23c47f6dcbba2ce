package scene

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/placement"
)

// View says where an image lies in a pane of the output. It turns by quarter
// turns, zooms and pans; it cannot mirror.
type View struct {
	Pane Rect // output pixels
	// Shape is the size of an image pixel in units of its own width: X is 1, Y
	// the height.
	Shape r2.Vec
	// Quarter turns clockwise, 0 to 3, from the image as stored.
	Quarter int
	// Zoom is output pixels per width of an image pixel.
	Zoom float64
	// Centre is the image point (SR pixels) shown in the middle of the pane.
	Centre r2.Vec
	// Unit is output pixels per design unit, for strokes and words: 1 on an
	// ordinary screen, 2 on one of double density.
	Unit float64
}

// NewView fits the film's whole frame into the pane with cranial up, where the
// cranial direction is known, else as stored.
func NewView(film placement.FilmReading, pane Rect, unit float64) View {
	v := View{Pane: pane, Shape: shape(film), Quarter: UpQuarter(film.Cranial), Unit: unit}
	c, r := size(film)
	return v.Fit(c, r)
}

// UpQuarter is how many quarter turns clockwise bring the edge to the top; 0
// where the edge is not known.
func UpQuarter(up imaging.Edge) int {
	switch up {
	case imaging.Left:
		return 1
	case imaging.Bottom:
		return 2
	case imaging.Right:
		return 3
	}
	return 0
}

// Fit zooms so that the whole frame of columns by rows is just seen.
func (v View) Fit(columns, rows int) View {
	w, h := float64(columns)*v.Shape.X, float64(rows)*v.Shape.Y
	if v.Quarter%2 != 0 {
		w, h = h, w
	}
	v.Centre = r2.Vec{X: float64(columns) / 2, Y: float64(rows) / 2}
	v.Zoom = 1
	if w > 0 && h > 0 {
		v.Zoom = math.Min(v.Pane.W()/w, v.Pane.H()/h)
	}
	return v
}

// turn rotates clockwise (y downwards) by quarter turns.
func turn(p r2.Vec, quarter int) r2.Vec {
	switch ((quarter % 4) + 4) % 4 {
	case 1:
		return r2.Vec{X: -p.Y, Y: p.X}
	case 2:
		return r2.Vec{X: -p.X, Y: -p.Y}
	case 3:
		return r2.Vec{X: p.Y, Y: -p.X}
	}
	return p
}

// ToPane takes an image point (SR pixels) to the output (pixels).
func (v View) ToPane(p r2.Vec) r2.Vec {
	d := r2.Sub(p, v.Centre)
	d = turn(r2.Vec{X: d.X * v.Shape.X * v.Zoom, Y: d.Y * v.Shape.Y * v.Zoom}, v.Quarter)
	return r2.Add(v.Pane.Centre(), d)
}

// ToImage takes an output point (pixels) to the image (SR pixels).
func (v View) ToImage(p r2.Vec) r2.Vec {
	d := turn(r2.Sub(p, v.Pane.Centre()), -v.Quarter)
	return r2.Vec{X: v.Centre.X + d.X/(v.Shape.X*v.Zoom), Y: v.Centre.Y + d.Y/(v.Shape.Y*v.Zoom)}
}

// Affine gives ToPane as x' = a x + b y + c, y' = d x + e y + f.
func (v View) Affine() (a, b, c, d, e, f float64) {
	o := v.ToPane(r2.Vec{})
	x := r2.Sub(v.ToPane(r2.Vec{X: 1}), o)
	y := r2.Sub(v.ToPane(r2.Vec{Y: 1}), o)
	return x.X, y.X, o.X, x.Y, y.Y, o.Y
}

// ZoomAbout multiplies the zoom and keeps the image point under the output
// point where it is.
func (v View) ZoomAbout(at r2.Vec, factor float64) View {
	keep := v.ToImage(at)
	v.Zoom *= factor
	v.Centre = r2.Add(v.Centre, r2.Sub(keep, v.ToImage(at)))
	return v
}

// Pan moves the image by d output pixels.
func (v View) Pan(d r2.Vec) View {
	v.Centre = v.ToImage(r2.Sub(v.Pane.Centre(), d))
	return v
}

// EdgeShown says at which edge of the pane an edge of the stored image is seen.
func (v View) EdgeShown(e imaging.Edge) imaging.Edge {
	order := []imaging.Edge{imaging.Top, imaging.Right, imaging.Bottom, imaging.Left}
	for i, o := range order {
		if o == e {
			return order[(i+((v.Quarter%4)+4)%4)%4]
		}
	}
	return imaging.NoEdge
}

// shape is the pixel's height in units of its width, from the scale (which
// holds the shape where it holds no millimetres).
func shape(film placement.FilmReading) r2.Vec {
	s := film.Scale
	if s.Row > 0 && s.Column > 0 {
		return r2.Vec{X: 1, Y: s.Row / s.Column}
	}
	return r2.Vec{X: 1, Y: 1}
}

func size(film placement.FilmReading) (columns, rows int) {
	if h := film.Film.Header; h != nil && h.Columns > 0 {
		return h.Columns, h.Rows
	}
	return film.Film.Geometry.Columns, film.Film.Geometry.Rows
}
