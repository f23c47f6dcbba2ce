package mark

import (
	"fmt"
	"slices"
)

// LevelDecision is the sacral level of a device, with where it is known from.
type LevelDecision struct {
	Level        Level  // empty: not known, or in conflict
	Source       string // in words; ends in ', level not confirmed' where it is not
	Confirmed    bool   // a named observer counted it, or read it off lateral landmarks
	Conflict     string // which sources disagree, one sentence; empty: none
	Transitional string // transitional anatomy: yes, no, not-seen; empty: not said
}

const notConfirmed = ", level not confirmed"

// DecideLevel decides the sacral level of a device (N1, N1.2 …). foramen is the
// level of the marked dorsal opening its axis meets, empty where that is not
// known: never the level its tip has reached.
//
// The level is the foramen's, or that of the object's marks or of a statement
// about the object; they must not differ. How it was counted is what was stated
// about the object, else about its device, else about the case; a level itself
// is never taken over from another position, which may lie in another foramen.
// Counting from above, from below, or lateral landmarks, given by a named
// observer, confirm a level; the sacroiliac line alone does not.
func DecideLevel(object string, foramen Level, book Book) LevelDecision {
	marked, other := book.markedLevel(object)
	if other != "" {
		return levelConflict("The marks of %s are given the levels %s and %s: correct the level of its marks.", object, marked, other)
	}
	_, stated, basis, transitional := book.aboutDevice(object)
	_, _, deviceBasis, deviceTransitional := book.aboutDevice(Device(object))
	caseBasis, caseTransitional := book.aboutCase()
	basis = firstKnown(basis, deviceBasis, caseBasis)
	transitional = firstKnown(transitional, deviceTransitional, caseTransitional)

	d := LevelDecision{Transitional: transitional.value}
	type saying struct {
		level Level
		who   string
	}
	var all []saying
	for _, s := range []saying{{foramen, "the foramen it enters"}, {marked, "the level of its marks"}, {stated.value, statementOf(stated.by)}} {
		if s.level != "" {
			all = append(all, s)
		}
	}
	if len(all) == 0 {
		d.Source = "not known"
		return d
	}
	for _, s := range all {
		if s.level != all[0].level {
			c := levelConflict("%s is at %s by %s, but at %s by %s: correct one of them.", object, all[0].level, all[0].who, s.level, s.who)
			c.Transitional = d.Transitional
			return c
		}
	}
	d.Level = all[0].level
	if basis.value == SILineOnly || slices.Contains(LevelBases(), basis.value) {
		d.Source = basis.value.Words()
	} else {
		d.Source = Stated.Words()
	}
	switch d.Transitional {
	case "yes":
		d.Source += ", transitional anatomy present"
	case "no":
		d.Source += ", no transitional anatomy"
	case "not-seen":
		d.Source += ", transitional anatomy not seen"
	}
	counted := claim[Level]{d.Level, basis.by, basis.value}
	if d.Confirmed = counted.confirms(LevelBases()); d.Confirmed {
		d.Source += " (" + basis.by + ")"
	} else {
		d.Source += notConfirmed
	}
	return d
}

func levelConflict(format string, args ...any) LevelDecision {
	return LevelDecision{Source: bySeveral + notConfirmed, Conflict: fmt.Sprintf(format, args...)}
}

func firstKnown[T ~string](claims ...claim[T]) claim[T] {
	for _, c := range claims {
		if c.known() {
			return c
		}
	}
	return claim[T]{}
}

// markedLevel is the level that the marks of object carry; other is a second
// one where they carry two.
func (b Book) markedLevel(object string) (level, other Level) {
	for _, m := range b.Marks {
		info, _ := Info(m.Structure)
		if m.Object != object || m.Level == "" || !info.NeedsObject {
			continue
		}
		if level != "" && level != m.Level {
			return level, m.Level
		}
		level = m.Level
	}
	return level, ""
}
