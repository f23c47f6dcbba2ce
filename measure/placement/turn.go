package placement

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/quantity"
	"leadline/measure/scale"
)

// Assumptions about the greater sciatic notches, standard uncertainties; common
// practice, no source. They mirror each other in the sagittal plane.
const (
	// NotchHalf in millimetres is half their distance, NotchHalfU how far it may
	// be off.
	NotchHalf, NotchHalfU = 50.0, 10.0
	// NotchUneven in millimetres is how far, along and across the patient, one
	// may lie from the other's mirror image.
	NotchUneven = 2.0
)

// turn is how the patient lay against the header's axes, by what is marked.
type turn struct {
	known      bool
	roll, tilt float64 // radians, about the patient's long and front-back axis
	// u are standard uncertainties, radians.
	uRoll, uTilt float64
}

// axes of a patient turned by roll and tilt.
func axes(roll, tilt float64) sagittal {
	g := sagittal{normal: r3.Vec{X: 1}, back: r3.Vec{Y: 1}, head: r3.Vec{Z: 1}}
	if roll != 0 || tilt != 0 {
		a, b := r3.NewRotation(tilt, g.back), r3.NewRotation(roll, g.head)
		for _, v := range []*r3.Vec{&g.normal, &g.back, &g.head} {
			*v = b.Rotate(a.Rotate(*v))
		}
	}
	return g
}

// turned finds the turn from the two sciatic notches of a lateral film whose
// geometry is known: those of a patient who lies true fall on each other but
// for their unequal magnification. Both must be marked and told apart by side.
func (w *work) turned(s *sheet) turn {
	if t, ok := w.turns[s]; ok {
		return t
	}
	if w.turns == nil {
		w.turns = map[*sheet]turn{}
	}
	t := w.notches(s)
	w.turns[s] = t
	return t
}

func (w *work) notches(s *sheet) turn {
	var at [2]r2.Vec // left, right
	var seen [2]int
	var sd float64
	for _, m := range s.marks {
		if m.Structure != mark.SciaticNotch || m.Side != mark.LeftSide && m.Side != mark.RightSide {
			continue
		}
		i := 0
		if m.Side == mark.RightSide {
			i = 1
		}
		at[i], sd = m.Points[0], math.Max(sd, w.sd(m))
		seen[i]++
	}
	if s.camera == nil || s.reading.View != imaging.Lateral || seen != [2]int{1, 1} {
		return turn{}
	}
	// apart is how far the left notch lies from the right one's mirror image on
	// the sagittal plane.
	apart := func(roll, tilt, half, middle float64, l, r r2.Vec) r2.Vec {
		g := axes(roll, tilt)
		return r2.Sub(g.of(g.seen(*s.camera, l, middle+half)), g.of(g.seen(*s.camera, r, middle-half)))
	}
	solve := func(half, middle float64, l, r, uneven r2.Vec) (roll, tilt float64) {
		const h = 1e-4
		for range 20 {
			f := r2.Sub(apart(roll, tilt, half, middle, l, r), uneven)
			a := r2.Scale(1/h, r2.Sub(apart(roll+h, tilt, half, middle, l, r), r2.Add(f, uneven)))
			b := r2.Scale(1/h, r2.Sub(apart(roll, tilt+h, half, middle, l, r), r2.Add(f, uneven)))
			d := r2.Cross(a, b)
			if d == 0 {
				return math.NaN(), math.NaN()
			}
			x, y := -r2.Cross(f, b)/d, -r2.Cross(a, f)/d
			roll, tilt = roll+x, tilt+y
			if math.Hypot(x, y) < 1e-12 {
				break
			}
		}
		return roll, tilt
	}
	t := turn{known: true}
	t.roll, t.tilt = solve(NotchHalf, 0, at[0], at[1], r2.Vec{})
	var vr, vt float64
	add := func(roll, tilt float64) {
		vr += (roll - t.roll) * (roll - t.roll)
		vt += (tilt - t.tilt) * (tilt - t.tilt)
	}
	for _, v := range []r2.Vec{{X: 1}, {Y: 1}} {
		add(solve(NotchHalf, 0, r2.Add(at[0], r2.Scale(sd, v)), at[1], r2.Vec{}))
		add(solve(NotchHalf, 0, at[0], r2.Add(at[1], r2.Scale(sd, v)), r2.Vec{}))
		add(solve(NotchHalf, 0, at[0], at[1], r2.Scale(NotchUneven, v)))
	}
	add(solve(NotchHalf+NotchHalfU, 0, at[0], at[1], r2.Vec{}))
	add(solve(NotchHalf, quantity.Rectangular(scale.OffPlaneHalf), at[0], at[1], r2.Vec{}))
	t.uRoll, t.uTilt = math.Sqrt(vr), math.Sqrt(vt)
	// Where they tell less than what is supposed anyway, they tell nothing.
	supposed := quantity.Radians(quantity.Rectangular(RotationHalf))
	if !(t.uRoll < supposed && t.uTilt < supposed) || math.Abs(t.roll) > turnMost || math.Abs(t.tilt) > turnMost {
		return turn{}
	}
	return t
}

// turnMost in radians, some 23 degrees: notches further apart than that are not
// those of a lateral film.
const turnMost = 0.4

// draw is the turn of a patient under two numbers drawn from 0 to 1.
func (t turn) draw(u, v float64) (roll, tilt float64) {
	if t.known {
		return t.roll + t.uRoll*quantity.Normal(u), t.tilt + t.uTilt*quantity.Normal(v)
	}
	half := quantity.Radians(RotationHalf)
	return half * (2*u - 1), half * (2*v - 1)
}

// against is how a patient so turned lies against a film: the sagittal plane
// against a lateral one, the coronal plane against a frontal one, turned about the long axis and about the one across it, radians.
func (t turn) against(s *sheet) (long, cross float64) {
	p := s.camera.Pinhole()
	n := axes(t.roll, t.tilt).normal
	if s.reading.View == imaging.Frontal {
		n = axes(t.roll, t.tilt).back
	}
	if r3.Dot(n, p.Beam) < 0 {
		n = r3.Scale(-1, n)
	}
	head := r3.Add(r3.Scale(s.cranial.X, p.Right), r3.Scale(s.cranial.Y, p.Down))
	// The direction about which gaze.turned counts, in a frame of rows, columns
	// and beam that may be of either hand.
	across := r3.Add(r3.Scale(s.cranial.Y, p.Right), r3.Scale(-s.cranial.X, p.Down))
	return math.Asin(r3.Dot(n, across)), math.Asin(r3.Dot(n, head))
}
