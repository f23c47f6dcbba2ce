package mark

import (
	"fmt"
	"slices"
	"strings"

	"leadline/imaging"
)

// SideBases are the bases that confirm a side when a named observer gives one.
func SideBases() []Basis { return []Basis{LeadMarker, TheatreRecord, KnownNeedle} }

// LevelBases are the bases that confirm a level when a named observer gives
// one. A count from the sacroiliac line alone is not among them.
func LevelBases() []Basis { return []Basis{CountedAbove, CountedBelow, LateralLandmarks} }

// Words of a basis, as a reader is told it.
func (b Basis) Words() string {
	switch b {
	case LeadMarker:
		return "lead marker in the field"
	case TheatreRecord:
		return "theatre record"
	case KnownNeedle:
		return "known first needle"
	case CountedAbove:
		return "counted from above"
	case CountedBelow:
		return "counted from below"
	case LateralLandmarks:
		return "lateral landmarks"
	case SILineOnly:
		return "sacroiliac line only"
	}
	return "stated"
}

// Check tells whether s states something, in known words, about what it can be
// stated about, under a name. The error wraps imaging.ErrBadInput.
func (s Statement) Check() error {
	fault := func(format string, args ...any) error { return &problem{text: fmt.Sprintf(format, args...)} }
	film, device := s.Frame.Instance != "", s.Object != ""
	switch {
	case strings.TrimSpace(s.Observer) == "":
		return fault("no observer: a statement needs the name of who makes it")
	case device && !objectName.MatchString(s.Object):
		return fault("object %s is not a device: use a name such as N1, or N1.2 for its second position", quote(s.Object))
	case !oneOf(s.View, "", imaging.Frontal, imaging.Lateral, imaging.Oblique):
		return fault("view %s is not known: use frontal, lateral or oblique", quote(string(s.View)))
	case !edge(s.Cranial):
		return fault("cranial edge %s is not known: use left, right, top or bottom of the image", quote(string(s.Cranial)))
	case !edge(s.PatientLeft):
		return fault("edge %s of the patient's left is not known: use left, right, top or bottom of the image", quote(string(s.PatientLeft)))
	case !oneOf(s.Side, NoSide, LeftSide, RightSide, MiddleSide):
		return fault("side %s is not known: use left, right or midline (the patient's)", quote(string(s.Side)))
	case s.Level != "" && s.Level.Number() == 0:
		return fault("level %s is not known: use S1 to S5", quote(string(s.Level)))
	case s.SideBasis != "" && s.SideBasis != Stated && !slices.Contains(SideBases(), s.SideBasis):
		return fault("%s is no basis of a side: use lead-marker, theatre-record, known-needle or stated", quote(string(s.SideBasis)))
	case s.LevelBasis != "" && s.LevelBasis != Stated && s.LevelBasis != SILineOnly && !slices.Contains(LevelBases(), s.LevelBasis):
		return fault("%s is no basis of a level: use counted-from-above, counted-from-below, lateral-landmarks, sacroiliac-line or stated", quote(string(s.LevelBasis)))
	case !oneOf(s.Transitional, "", "yes", "no", "not-seen"):
		return fault("transitional anatomy %s is not known: use yes, no or not-seen", quote(s.Transitional))
	case !film && (s.View != "" || s.Cranial != "" || s.PatientLeft != ""):
		return fault("view, cranial direction and the patient's left are stated about a frame: say which")
	case !device && (s.Side != "" || s.Level != ""):
		return fault("side and level are stated about a device: say which, such as N1")
	case s.SideBasis != "" && s.Side == "" && s.PatientLeft == "":
		return fault("a basis of the side without a side: say which side it shows, of which device or at which edge of which frame")
	case same(s.Cranial, s.PatientLeft):
		return fault("the head and the patient's left cannot both lie towards %s: they are at right angles", axis(s.Cranial))
	case s.View == "" && s.Cranial == "" && s.PatientLeft == "" && s.Side == "" && s.Level == "" && s.LevelBasis == "" && s.Transitional == "":
		return fault("nothing is stated")
	}
	return nil
}

func oneOf[T comparable](v T, words ...T) bool { return slices.Contains(words, v) }

func edge(e imaging.Edge) bool {
	return oneOf(e, imaging.NoEdge, imaging.Left, imaging.Right, imaging.Top, imaging.Bottom)
}

// same reports whether two known edges lie on one axis of the image.
func same(a, b imaging.Edge) bool {
	return a != imaging.NoEdge && b != imaging.NoEdge && (a == b || a == b.Opposite())
}

// axis names the two edges of an edge's axis.
func axis(e imaging.Edge) string {
	if e == imaging.Left || e == imaging.Right {
		return "left or right"
	}
	return "top or bottom"
}

// claim is something stated, by whom and on what basis.
type claim[T ~string] struct {
	value T
	by    string
	basis Basis
}

func (c claim[T]) known() bool { return c.value != "" }

// confirms reports whether a named observer gave one of bases for the claim.
func (c claim[T]) confirms(bases []Basis) bool {
	return c.known() && c.by != "" && slices.Contains(bases, c.basis)
}

// stated is 'stated by NAME', or 'stated' where nobody is named.
func (c claim[T]) stated() string {
	if c.by == "" {
		return "stated"
	}
	return "stated by " + c.by
}

// put replaces c where v says something: a basis goes with the value it was
// given for, so a later value never inherits an earlier one's confirmation.
func (c *claim[T]) put(v T, by string, basis Basis) {
	if v != "" {
		*c = claim[T]{v, strings.TrimSpace(by), basis}
	}
}

// filmClaims is what was stated about one frame.
type filmClaims struct {
	view          claim[imaging.View]
	cranial, left claim[imaging.Edge]
}

// aboutFilm gathers what holds for ref: what was stated about it, about a span
// that holds it, or about its whole instance (a statement whose frame number
// is 0).
func (b Book) aboutFilm(ref FrameRef) (c filmClaims) {
	for _, s := range b.Statements {
		if s.Frame.covers(ref) {
			c.view.put(s.View, s.Observer, "")
			c.cranial.put(s.Cranial, s.Observer, "")
			c.left.put(s.PatientLeft, s.Observer, s.SideBasis)
		}
	}
	return c
}

func (r FrameRef) covers(ref FrameRef) bool {
	if r.Instance == "" || r.Instance != ref.Instance {
		return false
	}
	return r.First == 0 || r.First <= ref.First && max(r.First, r.Last) >= max(ref.First, ref.Last)
}

// aboutDevice gathers what was stated about exactly this object.
func (b Book) aboutDevice(object string) (side claim[Side], level claim[Level], basis claim[Basis], transitional claim[string]) {
	if object == "" {
		return
	}
	for _, s := range b.Statements {
		if s.Object == object {
			side.put(s.Side, s.Observer, s.SideBasis)
			level.put(s.Level, s.Observer, "")
			if s.Level != "" {
				// The basis goes with the level it was given for.
				basis = claim[Basis]{}
			}
			basis.put(s.LevelBasis, s.Observer, "")
			transitional.put(s.Transitional, s.Observer, "")
		}
	}
	return
}

// aboutCase gathers how levels were counted on this case.
func (b Book) aboutCase() (basis claim[Basis], transitional claim[string]) {
	for _, s := range b.Statements {
		if s.Object == "" && s.Frame.Instance == "" {
			basis.put(s.LevelBasis, s.Observer, "")
			transitional.put(s.Transitional, s.Observer, "")
		}
	}
	return
}

// words joins a list as a sentence does.
func words(list []string) string {
	switch n := len(list); n {
	case 0:
		return ""
	case 1:
		return list[0]
	default:
		return strings.Join(list[:n-1], ", ") + " and " + list[n-1]
	}
}
