package carm

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
)

// Orientation predicts Patient Orientation (0020,0020) from the positioner's
// angles, Field of View Rotation (clockwise), then Field of View Horizontal
// Flip: L\F at primary angle 0, R\F at 180, P\F at +90, A\F at -90 before turns.
// A direction that leans more than imaging.ViewTolerance degrees towards another
// carries its letter too, most prominent first (PS3.3 C.7.6.1.1.1). ok is false
// where an angle is not given or a turn cannot be read.
//
// The angles say where the beam went, not what was done to the pixels since:
// the prediction is one source among several, never a confirmation.
func Orientation(g imaging.Geometry) (o imaging.Orientation, ok bool) {
	right, down, _, err := axes(g)
	if err != nil {
		return imaging.Orientation{}, false
	}
	return imaging.Orientation{Row: letters(right), Column: letters(down)}, true
}

// letters of a direction in the patient (x left, y posterior, z head).
func letters(v r3.Vec) string {
	type share struct {
		letter string
		size   float64
	}
	pick := func(c float64, positive, negative string) share {
		if c < 0 {
			return share{negative, -c}
		}
		return share{positive, c}
	}
	shares := []share{pick(v.X, "L", "R"), pick(v.Y, "P", "A"), pick(v.Z, "H", "F")}
	sort.SliceStable(shares, func(i, j int) bool { return shares[i].size > shares[j].size })
	out := shares[0].letter
	for _, s := range shares[1:] {
		if s.size > math.Sin(imaging.ViewTolerance*math.Pi/180)+1e-12 {
			out += s.letter
		}
	}
	return out
}
