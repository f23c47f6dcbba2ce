package placement

import (
	"fmt"
	"strings"

	"leadline/measure/mark"
	"leadline/measure/pose"
)

// Identity is what both films together say of which of two devices is which:
// the fit as labelled, with the two exchanged on the lateral film, and with the
// frontal film mirrored. That heights agree proves neither side nor needle.
type Identity struct {
	A, B     string
	Readings []IdentityReading
	// Verdict is Labelled, Exchanged or Mirrored where that reading fits and
	// both others are clearly worse, else CannotTell.
	Verdict string
}

// IdentityReading is one way to read the two films.
type IdentityReading struct {
	Name      string
	ChiSquare float64
	Degrees   int
	Fits      bool // it could be adjusted, and chi-square is no larger than it may be
}

// Readings and verdicts.
const (
	Labelled   = "as labelled"
	Exchanged  = "exchanged on the lateral film"
	Mirrored   = "frontal film mirrored"
	CannotTell = "cannot tell"
)

// identities tries every two devices whose tips both films show.
func (w *work) identities(objects []*object) {
	for i, a := range objects {
		for _, b := range objects[i+1:] {
			if a.space == nil || b.space == nil || a.space.couple != b.space.couple || mark.Device(a.name) == mark.Device(b.name) || (a.kind == mark.Lead) != (b.kind == mark.Lead) {
				continue
			}
			c := a.space.couple
			pa, okA := c.points[a.name+"/tip"]
			pb, okB := c.points[b.name+"/tip"]
			if !okA || !okB {
				continue
			}
			w.out.Identities = append(w.out.Identities, w.identity(c, a.name, b.name, pa, pb))
		}
	}
}

func (w *work) identity(c *couple, a, b string, pa, pb int) Identity {
	in := only2(c.in, pa, pb)
	readings := []pose.Reading{{Name: Labelled, Input: in}, {Name: Exchanged, Input: pose.Exchange(in, 1, [2]int{0, 1})}}
	if m, err := pose.Mirror(in, 0, c.front.reading.Film.Geometry.Columns); err == nil {
		readings = append(readings, pose.Reading{Name: Mirrored, Input: m})
	}
	out := Identity{A: a, B: b, Verdict: CannotTell}
	k := pose.Compare(readings...)
	for _, s := range k.Scores {
		out.Readings = append(out.Readings, IdentityReading{s.Name, s.ChiSquare, s.Degrees, s.Err == nil && s.Probability > pose.FitsAbove})
	}
	if k.Told {
		out.Verdict = k.Scores[k.Best].Name
	}
	// Exchanging is worth telling where it alone fits better, whatever a mirror
	// would do.
	if two := pose.Compare(readings[:2]...); two.Told && two.Best == 1 {
		w.gaps = append(w.gaps, fmt.Sprintf("%s and %s do not fit both films as labelled, and do so exchanged on the lateral film: check which is which.", a, b))
	}
	return out
}

// only2 is the input with the sightings of two points alone, as points 0 and 1.
func only2(in pose.Input, a, b int) pose.Input {
	out := pose.Input{Views: in.Views, Points: []string{in.Points[a], in.Points[b]}, ScaleLimit: in.ScaleLimit}
	for _, s := range in.Sightings {
		switch s.Point {
		case a:
			s.Point = 0
		case b:
			s.Point = 1
		default:
			continue
		}
		out.Sightings = append(out.Sightings, s)
	}
	return out
}

// settled reports whether every two needles of a lateral film are told apart as
// labelled by both films.
func (w *work) settled(s *sheet) bool {
	var names []string
	for _, m := range s.marks {
		if isShaft(m.Structure) {
			names = append(names, m.Object)
		}
	}
	for i, a := range names {
		for _, b := range names[i+1:] {
			ok := false
			for _, k := range w.out.Identities {
				ok = ok || k.Verdict == Labelled && (k.A == a && k.B == b || k.A == b && k.B == a)
			}
			if !ok && mark.Device(a) != mark.Device(b) {
				return false
			}
		}
	}
	return true
}

// Said is the verdict as a reader meets it.
func (k Identity) Said() string {
	if k.Verdict == CannotTell {
		return fmt.Sprintf("Which of %s and %s is which on the lateral film: cannot tell.", k.A, k.B)
	}
	return strings.TrimSpace(fmt.Sprintf("%s and %s fit both films %s; the other readings do not. That tells nothing of the side.", k.A, k.B, k.Verdict))
}
