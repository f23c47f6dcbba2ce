package pose

import "math"

// Basis is what fixed an estimate.
type Basis string

// The three bases.
const (
	ByMarks Basis = "from what is marked"
	Partly  Basis = "partly from what is marked"
	Assumed Basis = "assumed: what is marked does not tell"
)

// An estimate whose standard deviation fell below a third of the prior's owes
// nine tenths of its weight to the marks; above four fifths it owes them less
// than four tenths, and is called assumed.
const (
	markedBelow  = 1.0 / 3
	assumedAbove = 0.8
)

func basis(prior, posterior float64) Basis {
	switch r := posterior / prior; {
	case r < markedBelow:
		return ByMarks
	case r < assumedAbove:
		return Partly
	}
	return Assumed
}

// Judgement says of a view's scale or parameter what fixed it.
type Judgement struct {
	View             int
	Name             string
	Unit             string  // of prior and posterior; 1 for relative
	Prior, Posterior float64 // standard deviations
	Basis            Basis
}

// Determined says for each view of its scale (at the marked points, the best
// known) and of each free parameter whether the marks or only the prior fixed
// it.
func (f *Fit) Determined() []Judgement {
	out := f.scales()
	for _, p := range f.Parameters() {
		out = append(out, Judgement{p.View, p.Kind.String(), p.Kind.Unit(), p.Prior, p.SD, basis(p.Prior, p.SD)})
	}
	return out
}

// scales judges the scale of every view in which something free is seen.
func (f *Fit) scales() []Judgement {
	var out []Judgement
	for v := range f.in.Views {
		best := Judgement{View: v, Name: "scale", Unit: "1", Posterior: math.Inf(1)}
		for p := range f.Points {
			if !f.in.sees(v, p) {
				continue
			}
			_, _, relative := f.Scale(v, p)
			if relative >= best.Posterior {
				continue
			}
			best.Posterior = relative
			// Before anything was marked, with the point where it is.
			_, _, g := f.scale(v, f.Points[p])
			best.Prior = 0
			for _, s := range g {
				best.Prior += s * s
			}
			best.Prior = math.Sqrt(best.Prior)
		}
		if math.IsInf(best.Posterior, 1) {
			continue
		}
		best.Basis = ByMarks
		if best.Prior > 0 {
			best.Basis = basis(best.Prior, best.Posterior)
		}
		out = append(out, best)
	}
	return out
}

func (in *Input) sees(view, point int) bool {
	for _, s := range in.Sightings {
		if s.View == view && s.Point == point {
			return true
		}
	}
	for _, l := range in.OnLines {
		if l.View == view && (l.A == point || l.B == point) {
			return true
		}
	}
	return false
}
