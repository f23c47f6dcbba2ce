package pose

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging/carm"
)

// degree in radians.
const degree = math.Pi / 180

// body is a view's nominal camera, ready to be moved.
type body struct {
	pinhole carm.Pinhole
	axes    [3]r3.Vec // turns are about these
	fx, fy  float64   // nominal focal length in columns and rows
}

func bodyOf(c carm.Camera) body {
	p := c.Pinhole()
	b := body{pinhole: p, fx: p.SourceToDetector / p.Spacing.Column, fy: p.SourceToDetector / p.Spacing.Row}
	z := r3.Vec{Z: 1}
	cross := r3.Cross(z, p.Beam)
	if r3.Norm(cross) < 1e-3 { // looking along the patient, the rows have to do
		cross = p.Right
	}
	b.axes = [3]r3.Vec{z, r3.Unit(cross), p.Beam}
	return b
}

// stance is a body at given parameters, with what its derivatives need.
type stance struct {
	*body
	rot        [3]r3.Vec // rows of R': patient to body
	turns      [3]r3.Vec // right Jacobian times each axis, times degree
	shift      r3.Vec
	source     r3.Vec // of the body, moved along the beam
	fx, fy     float64
	footX, foY float64
}

// at sets the view's parameters p, in their units.
func (b *body) at(p *[kinds]float64) stance {
	s := stance{body: b, shift: r3.Vec{X: p[ShiftX], Y: p[ShiftY], Z: p[ShiftZ]}}
	var w r3.Vec
	for i, a := range b.axes {
		w = r3.Add(w, r3.Scale(p[i]*degree, a))
	}
	angle := r3.Norm(w)
	// Rodrigues' formula, with series where the angle is too small to divide by.
	sin, cos1, sin3 := 1-angle*angle/6, 0.5-angle*angle/24, 1.0/6-angle*angle/120
	if angle > 1e-3 {
		sin = math.Sin(angle) / angle
		cos1 = (1 - math.Cos(angle)) / (angle * angle)
		sin3 = (1 - sin) / (angle * angle)
	}
	inverse := func(v r3.Vec) r3.Vec { // exp(-[w]) v
		wv := r3.Cross(w, v)
		return r3.Add(v, r3.Add(r3.Scale(-sin, wv), r3.Scale(cos1, r3.Cross(w, wv))))
	}
	ex, ey, ez := inverse(r3.Vec{X: 1}), inverse(r3.Vec{Y: 1}), inverse(r3.Vec{Z: 1})
	s.rot = [3]r3.Vec{{X: ex.X, Y: ey.X, Z: ez.X}, {X: ex.Y, Y: ey.Y, Z: ez.Y}, {X: ex.Z, Y: ey.Z, Z: ez.Z}}
	for i, a := range b.axes {
		// Right Jacobian of the rotation group at -w.
		wa := r3.Cross(w, a)
		s.turns[i] = r3.Scale(degree, r3.Add(a, r3.Add(r3.Scale(cos1, wa), r3.Scale(sin3, r3.Cross(w, wa)))))
	}
	s.source = r3.Scale(math.Exp(p[Isocentre]), b.pinhole.Source)
	g := math.Exp(p[Detector])
	s.fx, s.fy = g*b.fx, g*b.fy
	s.footX, s.foY = b.pinhole.Foot.X+p[FootX], b.pinhole.Foot.Y+p[FootY]
	return s
}

func (s *stance) toBody(v r3.Vec) r3.Vec {
	return r3.Vec{X: r3.Dot(s.rot[0], v), Y: r3.Dot(s.rot[1], v), Z: r3.Dot(s.rot[2], v)}
}

func (s *stance) toPatient(v r3.Vec) r3.Vec {
	return r3.Add(r3.Scale(v.X, s.rot[0]), r3.Add(r3.Scale(v.Y, s.rot[1]), r3.Scale(v.Z, s.rot[2])))
}

// least depth, in mm from the source along the beam, that a point is given.
const leastDepth = 1.0

// seen is a point's picture with its derivatives.
type seen struct {
	x, y  float64
	depth float64 // mm from the source along the beam
	// Derivatives of x, y and depth, by the view's parameters and by the point's
	// coordinates.
	dx, dy, dz [kinds]float64
	px, py, pz [3]float64
}

// project a point; ok is false where it does not lie before the source.
func (s *stance) project(p r3.Vec, out *seen) (ok bool) {
	d := r3.Sub(p, s.shift)
	q := r3.Sub(s.toBody(d), s.source)
	right, down, beam := s.pinhole.Right, s.pinhole.Down, s.pinhole.Beam
	z := r3.Dot(q, beam)
	if !(z >= leastDepth) {
		return false
	}
	u, v := s.fx*r3.Dot(q, right)/z, s.fy*r3.Dot(q, down)/z
	out.x, out.y, out.depth = s.footX+u, s.foY+v, z
	// Gradients of x and y by q, in the body.
	gx := r3.Scale(1/z, r3.Sub(r3.Scale(s.fx, right), r3.Scale(u, beam)))
	gy := r3.Scale(1/z, r3.Sub(r3.Scale(s.fy, down), r3.Scale(v, beam)))
	// The same by the point, in the patient.
	hx, hy, hz := s.toPatient(gx), s.toPatient(gy), s.toPatient(beam)
	out.px, out.py, out.pz = [3]float64{hx.X, hx.Y, hx.Z}, [3]float64{hy.X, hy.Y, hy.Z}, [3]float64{hz.X, hz.Y, hz.Z}
	for i, t := range s.turns {
		turned := r3.Cross(d, t) // R' (d x J a) is how the point moves in the body
		out.dx[i], out.dy[i], out.dz[i] = r3.Dot(hx, turned), r3.Dot(hy, turned), r3.Dot(hz, turned)
	}
	for i := range 3 {
		k := int(ShiftX) + i
		out.dx[k], out.dy[k], out.dz[k] = -out.px[i], -out.py[i], -out.pz[i]
	}
	out.dx[Detector], out.dy[Detector], out.dz[Detector] = u, v, 0
	out.dx[Isocentre], out.dy[Isocentre], out.dz[Isocentre] = -r3.Dot(gx, s.source), -r3.Dot(gy, s.source), -r3.Dot(beam, s.source)
	out.dx[FootX], out.dy[FootX], out.dz[FootX] = 1, 0, 0
	out.dx[FootY], out.dy[FootY], out.dz[FootY] = 0, 1, 0
	return true
}

// camera is the moved camera in patient coordinates. Its pixels keep their
// size: a focal length is told as a distance.
func (s *stance) camera() (carm.Camera, error) {
	p := s.pinhole
	p.Source = r3.Add(s.shift, s.toPatient(s.source))
	p.Right, p.Down, p.Beam = s.toPatient(p.Right), s.toPatient(p.Down), s.toPatient(p.Beam)
	p.SourceToDetector = s.fx * p.Spacing.Column
	p.Foot = r2.Vec{X: s.footX, Y: s.foY}
	return p.Camera()
}
