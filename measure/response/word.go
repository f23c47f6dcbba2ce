package response

import (
	"slices"
	"strings"

	"leadline/measure/mark"
	"leadline/measure/table"
)

// Motor is a movement seen.
type Motor string

// The movements that textbooks name for the sacral roots, and others that are
// noted beside them.
const (
	Bellows       Motor = "bellows"
	Clamp         Motor = "clamp"
	PenileRetract Motor = "penile-retraction"
	GreatToe      Motor = "great-toe"
	OtherToes     Motor = "other-toes"
	LittleToe     Motor = "little-toe"
	LegRotation   Motor = "leg-rotation"
	Calf          Motor = "calf"
	OtherMotor    Motor = "other"
	NoMotor       Motor = "none"
)

var motors = map[Motor]struct {
	kind  Kind // empty: of neither, or not known
	words string
}{
	Bellows:       {PelvicFloor, "bellows"},
	Clamp:         {PelvicFloor, "clamp-like contraction"},
	PenileRetract: {PelvicFloor, "retraction of the penile base"},
	GreatToe:      {LegFoot, "plantar flexion of the great toe"},
	OtherToes:     {LegFoot, "plantar flexion of other toes"},
	LittleToe:     {LegFoot, "movement of the little toe"},
	LegRotation:   {LegFoot, "rotation of leg and heel"},
	Calf:          {LegFoot, "calf contraction"},
	OtherMotor:    {"", "other movement"},
	NoMotor:       {"", "no motor response"},
}

// Motors in the order in which they are offered.
func Motors() []Motor {
	return []Motor{Bellows, Clamp, PenileRetract, GreatToe, OtherToes, LittleToe, LegRotation, Calf, OtherMotor, NoMotor}
}

// Words of a movement.
func (m Motor) Words() string { return motors[m].words }

// Sensation is where the patient felt it.
type Sensation string

// The places.
const (
	Rectum         Sensation = "rectum"
	ScrotumLabia   Sensation = "scrotum-labia"
	Perineum       Sensation = "perineum"
	Buttock        Sensation = "buttock"
	LegSensation   Sensation = "leg"
	FootSensation  Sensation = "foot"
	OtherSensation Sensation = "other"
	NoSensation    Sensation = "none"
)

var sensations = map[Sensation]string{
	Rectum:         "rectum",
	ScrotumLabia:   "scrotum or labia",
	Perineum:       "perineum",
	Buttock:        "buttock",
	LegSensation:   "leg",
	FootSensation:  "foot",
	OtherSensation: "elsewhere",
	NoSensation:    "no sensation",
}

// Sensations in the order in which they are offered.
func Sensations() []Sensation {
	return []Sensation{Rectum, ScrotumLabia, Perineum, Buttock, LegSensation, FootSensation, OtherSensation, NoSensation}
}

// Words of a sensation.
func (s Sensation) Words() string { return sensations[s] }

// MotorWords tells the movements, empty where none is recorded.
func (t Test) MotorWords() string {
	var said []string
	for _, m := range t.Motor {
		said = append(said, m.Words())
	}
	return strings.Join(said, ", ")
}

// SensationWords tells the sensations, empty where none is recorded.
func (t Test) SensationWords() string {
	var said []string
	for _, s := range t.Sensation {
		said = append(said, s.Words())
	}
	return strings.Join(said, ", ")
}

// Settings tells polarity, pulse width, rate and state, as far as recorded:
// "0- case+, 210 µs, 14 Hz, sedated".
func (t Test) Settings() string {
	var said []string
	if t.Polarity != "" {
		said = append(said, t.Polarity)
	}
	if t.PulseWidth.Known {
		said = append(said, Figure(t.PulseWidth.Value)+" µs")
	}
	if t.Rate.Known {
		said = append(said, Figure(t.Rate.Value)+" Hz")
	}
	if t.State != "" {
		said = append(said, string(t.State))
	}
	return strings.Join(said, ", ")
}

// Roots are the sacral roots whose textbook response t fits, and how that is
// known; none where the responses do not settle one. Roots vary from person to
// person: this is set beside the level on the film and never put in its place.
//
// By most textbooks S2 gives a clamp-like contraction or retraction of the penile
// base, rotation of leg and heel, or the calf; S3 bellows with the great toe, at
// times other toes; S4 bellows without leg or foot. A toe without bellows is not
// enough for S3. (From memory of several textbooks, which agree in this.)
func (t Test) Roots() (roots []mark.Level, basis string) {
	if t.Root != "" {
		return []mark.Level{t.Root}, "stated"
	}
	has := func(of ...Motor) bool {
		return slices.ContainsFunc(of, func(m Motor) bool { return slices.Contains(t.Motor, m) })
	}
	second, bellows, toe := has(Clamp, PenileRetract, LegRotation, Calf), has(Bellows), has(GreatToe, OtherToes)
	legTested := t.LegFoot.Amplitude.Known
	switch {
	case second && bellows:
		return []mark.Level{"S2", "S3"}, "signs of both"
	case second:
		return []mark.Level{"S2"}, "by pattern"
	case bellows && toe:
		return []mark.Level{"S3"}, "by pattern"
	case bellows && legTested && t.LegFoot.None:
		return []mark.Level{"S4"}, "by pattern"
	case bellows && !legTested && !has(LittleToe):
		return []mark.Level{"S3", "S4"}, "leg and foot not recorded"
	case toe:
		return nil, "toe without bellows"
	}
	return nil, ""
}

// RootWords tells the roots: "S3 by pattern", "S2 or S3, signs of both", "not
// settled, toe without bellows"; empty where nothing points to one.
func (t Test) RootWords() string {
	roots, basis := t.Roots()
	switch {
	case basis == "":
		return ""
	case len(roots) == 0:
		return "not settled: " + basis
	case len(roots) == 1:
		return string(roots[0]) + " " + basis
	}
	return string(roots[0]) + " or " + string(roots[1]) + ": " + basis
}

// Disagrees reports whether the responses point to roots of which none is that of
// the level on the film.
func (t Test) Disagrees(film mark.Level) bool {
	roots, _ := t.Roots()
	return film != "" && len(roots) > 0 && !slices.Contains(roots, film)
}

func quote(s string) string { return table.Quote(s) }

func list[T ~string](all []T) string {
	words := make([]string, len(all))
	for i, w := range all {
		words[i] = string(w)
	}
	return strings.Join(words, ", ")
}
