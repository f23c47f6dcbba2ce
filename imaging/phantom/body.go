package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// The body about the pelvis, prone: an oval trunk, its back a shallow hump
// over the sacrum, with a layer of fat under the skin. Patient mm.
const (
	backTop      = 56.0   // y of the skin in the midline at its highest
	backTopAt    = 14.0   // z of that place
	backFall     = 0.0010 // 1/mm, falling off towards head and feet
	backRound    = 0.0010 // 1/mm, falling off to the sides
	trunkHalf    = 172.0  // half width
	trunkDeep    = 205.0  // front to back in the midline
	fatUnder     = 19.0   // thickness of the fat at the back
	fatAtTheSide = 26.0
)

// skinAt is the y of the back's skin at x, z.
func skinAt(x, z float64) float64 {
	return backTop - backFall*sq(z-backTopAt) - backRound*x*x
}

// within is positive inside the body less a skin-deep layer of depth mm at the
// back and side mm elsewhere; a level function, not a distance.
func within(p r3.Vec, depth, side float64) float64 {
	back := skinAt(p.X, p.Z) - depth - p.Y
	// The trunk proper: a superellipse.
	cy := backTop - trunkDeep*0.52
	u, v := math.Abs(p.X)/(trunkHalf-side), math.Abs(p.Y-cy)/(trunkDeep*0.52-side*0.6)
	e := u*u*u + v*v*v
	return min(back, (1-e)*60)
}

// through is the length in mm of the ray inside the layer's bounds, found by
// halving from the ray's point nearest the middle of the trunk; the body is
// convex there.
func through(origin, direction r3.Vec, depth, side float64) float64 {
	middle := r3.Vec{Y: -40}
	t0 := r3.Dot(r3.Sub(middle, origin), direction)
	at := func(t float64) float64 { return within(r3.Add(origin, r3.Scale(t, direction)), depth, side) }
	if at(t0) <= 0 {
		// The ray may only graze the back: look for a place inside.
		best, where := 0.0, 0.0
		for t := t0 - 200; t <= t0+200; t += 10 {
			if v := at(t); v > best {
				best, where = v, t
			}
		}
		if best <= 0 {
			return 0
		}
		t0 = where
	}
	edge := func(sign float64) float64 {
		in, out := 0.0, 330.0
		for range 17 {
			if mid := (in + out) / 2; at(t0+sign*mid) > 0 {
				in = mid
			} else {
				out = mid
			}
		}
		return in
	}
	return edge(1) + edge(-1)
}

// softIntegral is the attenuation of the body without bone, dimensionless:
// fat outside, soft tissue within.
func softIntegral(origin, direction r3.Vec) float64 {
	whole := through(origin, direction, 0, 0)
	if whole == 0 {
		return 0
	}
	lean := through(origin, direction, fatUnder, fatAtTheSide)
	return (lean*softAttenuation + (whole-lean)*fatAttenuation) / 10
}

// skinSilhouette is the point of the back's skin at height z whose picture lies
// furthest out on a lateral film with the detector at the patient's left (+1) or
// right (-1). That picture lies at y / (D + x), with D the source's distance and
// x counted towards the detector; with y = y0 - k x^2 it is largest where
// k x^2 + 2 k D x + y0 = 0.
func skinSilhouette(z, detector float64) r3.Vec {
	y0 := skinAt(0, z)
	x := -sourceToPatient + math.Sqrt(max(0, sq(sourceToPatient)-y0/backRound))
	return r3.Vec{X: detector * x, Y: skinAt(x, z), Z: z}
}

// midlineSkin is the skin in the midline as a curve (X: z, Y: y), from head to foot.
func midlineSkin() []r2.Vec {
	var out []r2.Vec
	for z := 95.0; z >= -95; z -= 0.5 {
		out = append(out, r2.Vec{X: z, Y: skinAt(0, z)})
	}
	return out
}

// blob of bowel gas.
type blob struct{ centre, radius r3.Vec }

var gas = []blob{
	{r3.Vec{X: -12, Y: -48, Z: -54}, r3.Vec{X: 10, Y: 6, Z: 12}},
	{r3.Vec{X: 4, Y: -48, Z: -66}, r3.Vec{X: 12, Y: 7, Z: 8}},
	{r3.Vec{X: 62, Y: -72, Z: 12}, r3.Vec{X: 12, Y: 7, Z: 18}},
	{r3.Vec{X: 54, Y: -70, Z: -6}, r3.Vec{X: 13, Y: 6, Z: 9}},
	{r3.Vec{X: -50, Y: -78, Z: 36}, r3.Vec{X: 17, Y: 7, Z: 10}},
}

// gasNear tells whether any gas may lie at y, z.
func gasNear(y, z float64) bool {
	for _, b := range gas {
		if math.Abs(y-b.centre.Y) < b.radius.Y*1.5 && math.Abs(z-b.centre.Z) < b.radius.Z*1.5 {
			return true
		}
	}
	return false
}

// gasAt is the part of gas at a point, 0 to 1.
func gasAt(x, y, z float64, g *grain) float64 {
	out := 0.0
	for _, b := range gas {
		e := math.Sqrt(sq((x-b.centre.X)/b.radius.X) + sq((y-b.centre.Y)/b.radius.Y) + sq((z-b.centre.Z)/b.radius.Z))
		if e > 1.5 {
			continue
		}
		lumpy := 0.55*g.octave(x*0.1+b.centre.X, y*0.1, z*0.1) + 0.3*g.octave(x*0.27, y*0.27, z*0.27+9)
		out = max(out, 0.85*step(0.85-e+lumpy, 0.25))
	}
	return out
}
