package pose

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
	"leadline/imaging/carm"
)

// most views and points of one adjustment: its work grows with the cube of
// their number.
const (
	mostViews  = 32
	mostPoints = 400
)

func finite(v ...float64) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// check refuses what is not an adjustment at all, by an error that wraps
// imaging.ErrBadInput.
func (in *Input) check() error {
	bad := func(format string, a ...any) error {
		return fmt.Errorf("%w: "+format, append([]any{imaging.ErrBadInput}, a...)...)
	}
	if len(in.Views) == 0 || len(in.Views) > mostViews || len(in.Points) == 0 || len(in.Points) > mostPoints {
		return bad("an adjustment takes 1 to %d views and 1 to %d points, not %d and %d", mostViews, mostPoints, len(in.Views), len(in.Points))
	}
	if in.ScaleLimit < 0 || math.IsNaN(in.ScaleLimit) {
		return bad("the limit of the scale's uncertainty is %g; it must not be less than 0", in.ScaleLimit)
	}
	for i, v := range in.Views {
		if v.Nominal == (carm.Camera{}) {
			return bad("%s has no camera", in.viewName(i))
		}
		if s := v.Nominal.Pinhole().Source; !(r3.Norm(s) >= leastDepth) {
			return bad("the source of %s lies at the isocentre", in.viewName(i))
		}
		for k := range kinds {
			if sd := v.prior(k); !finite(sd) || sd < 0 {
				return bad("the standard deviation of the %s of %s is %g; it must not be less than 0", k, in.viewName(i), sd)
			}
		}
	}
	view := func(v int) bool { return v >= 0 && v < len(in.Views) }
	point := func(p int) bool { return p >= 0 && p < len(in.Points) }
	for i, s := range in.Sightings {
		if !view(s.View) || !point(s.Point) {
			return bad("%s names view %d and point %d, which are not there", in.sightingName(i), s.View, s.Point)
		}
		if !finite(s.X, s.Y, s.SD) || s.SD <= 0 {
			return bad("%s is at %g, %g with a standard deviation of %g px; it must be a place, and more than 0", in.sightingName(i), s.X, s.Y, s.SD)
		}
	}
	for i, l := range in.OnLines {
		if !view(l.View) || !point(l.A) || !point(l.B) || l.A == l.B {
			return bad("%s names view %d and points %d and %d, which are not there or not two", in.onLineName(i), l.View, l.A, l.B)
		}
		if !finite(l.X, l.Y, l.SD) || l.SD <= 0 {
			return bad("%s is at %g, %g with a standard deviation of %g px; it must be a place, and more than 0", in.onLineName(i), l.X, l.Y, l.SD)
		}
	}
	for i, l := range in.Lengths {
		if !point(l.A) || !point(l.B) || l.A == l.B {
			return bad("%s names points %d and %d, which are not there or not two", in.lengthName(i), l.A, l.B)
		}
		if !finite(l.MM, l.SD) || l.MM <= 0 || l.SD <= 0 {
			return bad("%s is %g mm with a standard uncertainty of %g mm; both must be more than 0", in.lengthName(i), l.MM, l.SD)
		}
	}
	for i, r := range in.Relations {
		if len(r.Terms) == 0 || !finite(r.Equals, r.SD) || r.SD <= 0 {
			return bad("%s needs terms, a value and a standard deviation above 0", in.relationName(i))
		}
		for _, t := range r.Terms {
			there := point(t.Of.of) && t.Of.n >= 0 && t.Of.n < 3
			if t.Of.view {
				there = view(t.Of.of) && t.Of.n >= 0 && t.Of.n < int(kinds)
			}
			if !there || !finite(t.By) {
				return bad("%s names something that is not there", in.relationName(i))
			}
		}
	}
	return nil
}

// Names as errors and inputs give them, where the caller gave none.

func named(name, standIn string, n int) string {
	if name != "" {
		return name
	}
	return fmt.Sprintf("%s %d", standIn, n+1)
}

func (in *Input) viewName(i int) string     { return named(in.Views[i].Name, "view", i) }
func (in *Input) pointName(i int) string    { return named(in.Points[i], "point", i) }
func (in *Input) sightingName(i int) string { return named(in.Sightings[i].Name, "sighting", i) }
func (in *Input) onLineName(i int) string   { return named(in.OnLines[i].Name, "point on a line", i) }
func (in *Input) lengthName(i int) string   { return named(in.Lengths[i].Name, "known length", i) }
func (in *Input) relationName(i int) string { return named(in.Relations[i].Name, "relation", i) }
