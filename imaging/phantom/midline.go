package phantom

import (
	"math"

	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Places along the midline, as arc length s in mm along the ventral margin from
// the promontory (0) to the tip of the coccyx.
const (
	sacrumEnd  = 108.0 // the sacrococcygeal joint
	coccyxEnd  = 131.0
	cranialEnd = -30.0 // as far as the frame of the sacrum is used above S1
	midStep    = 0.25  // between the nodes of the tabulated curve
)

// fusionAt is where the fused discs lie: S1/S2, S2/S3, S3/S4, S4/S5.
var fusionAt = []float64{30, 53, 71, 87}

// midline is the sacrum in the sagittal plane: ventral margin and dorsal
// surface (the laminae, without the spinous crest) as curves in patient
// millimetres, r2.Vec{X: z, Y: y}: towards the head, towards the back.
//
// The shape is ours: concave forwards, most curved below S3, as every anatomy
// textbook has it.
type midline struct {
	s       []float64
	lean    []float64 // radians from +z towards +y of the cranial tangent
	bend    []float64 // d lean / ds, 1/mm
	thick   []float64 // mm from ventral margin to dorsal surface, along the normal
	ventral []r2.Vec
	dorsal  []r2.Vec
	leanAt  curveTable
	thickAt curveTable
	lamina  curveTable // thickness of the laminae by s, mm
	canal   curveTable // half height of the sacral canal by s, mm
}

// curveTable is a smooth function of s through tabulated values, without bulges
// between them.
type curveTable struct{ interp.FritschButland }

// tabulated makes the table of values ys at ascending s.
func tabulated(s, ys []float64) curveTable {
	var t curveTable
	if err := t.Fit(s, ys); err != nil {
		panic("phantom: a table of the anatomy does not ascend: " + err.Error())
	}
	return t
}

func newMidline() *midline {
	m := &midline{
		leanAt: tabulated(
			[]float64{cranialEnd, 0, 30, 53, 62, 70, 78, 87, 95, 102, 112, 125, coccyxEnd},
			[]float64{-42.5, -42, -38.5, -29.5, -25, -18, -9, 2, 12, 21, 33, 44, 54}),
		thickAt: tabulated(
			[]float64{cranialEnd, 0, 15, 30, 42, 53, 66, 78, 90, 102, 108, 114, coccyxEnd},
			[]float64{51, 50, 46.5, 40.5, 35, 30.5, 26, 21.8, 17.5, 12.5, 9.5, 8, 5}),
		lamina: tabulated([]float64{cranialEnd, 12, 66, 90, coccyxEnd}, []float64{6, 5.5, 4, 3, 2}),
		canal:  tabulated([]float64{cranialEnd, 0, 30, 66, 90, coccyxEnd}, []float64{7.5, 7, 5.5, 3.2, 2.2, 1.5}),
	}
	n := int((coccyxEnd-cranialEnd)/midStep) + 1
	p := r2.Vec{}
	for i := range n {
		s := cranialEnd + float64(i)*midStep
		lean := m.leanAt.Predict(s) * math.Pi / 180
		if i > 0 { // Simpson's rule for the step towards the feet
			mid := m.leanAt.Predict(s-midStep/2) * math.Pi / 180
			last := m.lean[i-1]
			p.X -= midStep / 6 * (math.Cos(last) + 4*math.Cos(mid) + math.Cos(lean))
			p.Y -= midStep / 6 * (math.Sin(last) + 4*math.Sin(mid) + math.Sin(lean))
		}
		m.s = append(m.s, s)
		m.lean = append(m.lean, lean)
		m.bend = append(m.bend, m.leanAt.PredictDerivative(s)*math.Pi/180)
		m.thick = append(m.thick, m.thickAt.Predict(s))
		m.ventral = append(m.ventral, p)
	}
	// The isocentre lies 14 mm in front of the dorsal surface at the S3
	// foramen and 2 mm headwards of it.
	shift := r2.Sub(r2.Vec{X: -2, Y: 14}, m.at(s3Dorsal, m.thickAt.Predict(s3Dorsal)))
	for i := range m.ventral {
		m.ventral[i] = r2.Add(m.ventral[i], shift)
		m.dorsal = append(m.dorsal, r2.Add(m.ventral[i], r2.Scale(m.thick[i], m.normal(i))))
	}
	return m
}

// normal at node i, pointing dorsal: the cranial tangent turned from z to y.
func (m *midline) normal(i int) r2.Vec {
	return r2.Vec{X: -math.Sin(m.lean[i]), Y: math.Cos(m.lean[i])}
}

// index of the node below s and the fraction to the next.
func (m *midline) index(s float64) (int, float64) {
	f := (s - cranialEnd) / midStep
	i := int(max(0, min(math.Floor(f), float64(len(m.s)-2))))
	return i, f - float64(i)
}

// at gives the point at arc length s, n mm dorsal of the ventral margin.
func (m *midline) at(s, n float64) r2.Vec {
	i, f := m.index(s)
	lerp := func(a, b float64) float64 { return a + f*(b-a) }
	lean := lerp(m.lean[i], m.lean[i+1])
	return r2.Vec{
		X: lerp(m.ventral[i].X, m.ventral[i+1].X) - n*math.Sin(lean),
		Y: lerp(m.ventral[i].Y, m.ventral[i+1].Y) + n*math.Cos(lean),
	}
}

// bodyDepth is how deep the vertebral body is at s, from the ventral margin to
// the canal, in mm.
func (m *midline) bodyDepth(s float64) float64 {
	return m.thickAt.Predict(s) - m.lamina.Predict(s) - 2*m.canal.Predict(s)
}

// point in the patient at x mm to the left, arc length s, n mm dorsal.
func (m *midline) point(x, s, n float64) r3.Vec {
	p := m.at(s, n)
	return r3.Vec{X: x, Y: p.Y, Z: p.X}
}

// locate gives arc length and dorsal distance of a point of the sagittal
// plane: the foot on the ventral margin whose normal runs through it. Points
// far in front of the sacrum, near the margin's centre of curvature, have no
// single foot: they get the nearest.
func (m *midline) locate(p r2.Vec) (s, n float64) {
	best, at := math.Inf(1), 0
	for i := 0; i < len(m.ventral); i += 8 {
		if d := r2.Norm2(r2.Sub(p, m.ventral[i])); d < best {
			best, at = d, i
		}
	}
	for i := max(0, at-8); i <= min(len(m.ventral)-1, at+8); i++ {
		if d := r2.Norm2(r2.Sub(p, m.ventral[i])); d < best {
			best, at = d, i
		}
	}
	q := r2.Sub(p, m.ventral[at])
	caudal := r2.Vec{X: -math.Cos(m.lean[at]), Y: -math.Sin(m.lean[at])}
	along := r2.Dot(q, caudal)
	n = r2.Dot(q, m.normal(at))
	if stretch := 1 + m.bend[at]*n; stretch > 0.2 {
		along /= stretch
	}
	return m.s[at] + along, n
}
