package placement

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// gaze is how one film sees what lies off the plane that its scale holds in.
// Its frame is the film's own: x along the rows to the right, y along the
// columns downwards, z along the central beam away from the source, in
// millimetres from where that beam meets the scale's plane.
//
// The reference plane is the patient's: the sagittal one of a lateral film, the
// coronal one of a frontal film. It is met by the central beam at depth, and
// turned by what no header tells.
type gaze struct {
	foot        r2.Vec  // of the central beam, SR pixels
	column, row float64 // millimetres a pixel on the scale's plane
	source      float64 // millimetres from the source to the scale's plane
	bulge       float64 // part by which the picture is stretched at reach from the foot
	reach       float64 // millimetres
	depth       float64
	right, down r3.Vec // unit axes of the reference plane, near x and y
	normal      r3.Vec // unit, near z
}

// turned sets the reference plane's axes: turned by long about the patient's
// long axis, the direction cranial of the film, and by cross about the axis
// across it; radians.
func (g gaze) turned(cranial r2.Vec, long, cross float64) gaze {
	g.right, g.down, g.normal = r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}
	if cranial == (r2.Vec{}) || long == 0 && cross == 0 {
		return g
	}
	head := r3.Vec{X: cranial.X, Y: cranial.Y}
	a := r3.NewRotation(cross, r3.Vec{X: -cranial.Y, Y: cranial.X})
	b := r3.NewRotation(long, head)
	for _, v := range []*r3.Vec{&g.right, &g.down, &g.normal} {
		*v = a.Rotate(b.Rotate(*v))
	}
	return g
}

// ray is the direction from the source, at (0, 0, -source), through px.
func (g gaze) ray(px r2.Vec) r3.Vec {
	x, y := (px.X-g.foot.X)*g.column, (px.Y-g.foot.Y)*g.row
	if g.bulge != 0 {
		k := 1 - g.bulge*(x*x+y*y)/(g.reach*g.reach)
		x, y = x*k, y*k
	}
	return r3.Vec{X: x, Y: y, Z: g.source}
}

// at is the point seen at px that lies off millimetres beyond the reference
// plane, as coordinates of that plane in millimetres.
func (g gaze) at(px r2.Vec, off float64) r2.Vec {
	d := g.ray(px)
	origin := r3.Vec{Z: g.depth}
	source := r3.Vec{Z: -g.source}
	t := (off + r3.Dot(g.normal, r3.Sub(origin, source))) / r3.Dot(g.normal, d)
	q := r3.Sub(r3.Add(source, r3.Scale(t, d)), origin)
	return r2.Vec{X: r3.Dot(g.right, q), Y: r3.Dot(g.down, q)}
}

// pixel is where the point p of the plane at off millimetres beyond the
// reference plane is seen.
func (g gaze) pixel(p r2.Vec, off float64) r2.Vec {
	q := r3.Add(r3.Add(r3.Scale(p.X, g.right), r3.Scale(p.Y, g.down)), r3.Scale(off, g.normal))
	m := g.source / (g.source + g.depth + q.Z)
	x, y := q.X*m, q.Y*m
	if g.bulge != 0 {
		// Undo the bulge: three rounds leave nothing of a part in a hundred.
		u, v := x, y
		for range 3 {
			k := 1 - g.bulge*(u*u+v*v)/(g.reach*g.reach)
			u, v = x/k, y/k
		}
		x, y = u, v
	}
	return r2.Vec{X: g.foot.X + x/g.column, Y: g.foot.Y + y/g.row}
}

func finite(v r2.Vec) bool { return !math.IsNaN(v.X) && !math.IsNaN(v.Y) }
