package mark

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

// SideDecision is the patient's side of a device, with where it is known from.
type SideDecision struct {
	Side      Side   // empty: not known, or in conflict
	Source    string // in words
	Confirmed bool   // a named observer gave a basis that confirms it
	Conflict  string // why the side is withheld, one sentence; empty: no conflict
}

// nearMidline is the distance in pixels below which an entry lies on neither
// side of the marked midline: twice the default standard deviation of the two
// marks together. The dorsal S3 opening lies 15 to 25 mm off the midline
// (doi 10.1097/SPV.0b013e31827bfdb1), several times as far.
var nearMidline = 2 * math.Hypot(DefaultSD(Midline), DefaultSD(Needle))

// DecideSide decides which side of the patient a device (N1, N1.2 …) is on.
//
// film is the reading of the frontal film the device is seen on, the zero
// Reading where there is none. toward is the vector in pixels on that film from
// the marked midline to the device's entry; seen is false where there is no
// frontal film, no midline or no entry. What the observer says is taken from
// book: the side of the object's marks, and statements about the object. A
// statement about a device holds for its other positions (N1 for N1.2) unless
// they have their own.
//
// A named observer's statement about this very object with a basis of SideBases
// confirms its side over the header; about its device it does so where nothing
// else says another side, for another position may lie on it. Else what the film shows and what the
// observer says must agree, and the film's sources among themselves. What is
// confirmed on the film confirms the devices seen on it. Two confirmations that
// differ, and marks of one object on two sides, are always a conflict.
func DecideSide(object string, film Reading, toward r2.Vec, seen bool, book Book) SideDecision {
	marked, twice := book.markedSide(object)
	if twice {
		return conflict("The marks of %s are given both sides: correct the side of its marks.", object)
	}
	own, _, _, _ := book.aboutDevice(object)
	inherited := claim[Side]{}
	if d := Device(object); d != object && !own.known() {
		inherited, _, _, _ = book.aboutDevice(d)
	}
	shown, across := sideOnFilm(film, toward, seen)

	if own.confirms(SideBases()) {
		d := SideDecision{Side: own.value, Confirmed: true, Source: confirmedBy(own)}
		switch {
		case shown != NoSide && film.LeftConfirmed && own.value != MiddleSide && shown != own.value:
			return conflict("%s is %s by %s, but %s by the film (%s): one of the two confirmations is wrong.",
				object, own.value, confirmedBy(own), shown, film.LeftSource)
		case film.LeftConflict != "":
			d.Source += "; the sources on the film disagree"
		case across:
			d.Source += "; the film's left does not fit its midline"
		case shown != NoSide && own.value != MiddleSide && shown != own.value:
			d.Source += "; the film says otherwise: " + string(shown)
		case shown == own.value:
			d.Source += "; the film agrees"
		}
		if marked != NoSide && marked != own.value {
			d.Source += "; the marks say otherwise: " + string(marked)
		}
		return d
	}

	// What the observer says without confirming it, each saying under its name.
	type saying struct {
		side Side
		who  string
	}
	var said []saying
	if marked != NoSide {
		said = append(said, saying{marked, "the side of its marks"})
	}
	for _, c := range []claim[Side]{own, inherited} {
		if c.known() {
			who := statementOf(c.by)
			if c == inherited {
				who += " about " + Device(object)
			}
			said = append(said, saying{c.value, who})
		}
	}
	for _, s := range said {
		if s.side != said[0].side {
			return conflict("%s is %s by %s, but %s by %s: correct one, or confirm its side.", object, said[0].side, said[0].who, s.side, s.who)
		}
	}
	stated := NoSide
	if len(said) > 0 {
		stated = said[0].side
	}
	sure := inherited.confirms(SideBases())
	switch {
	case film.LeftConflict != "" && !sure:
		return SideDecision{Source: bySeveral, Conflict: film.LeftConflict}
	case across && !sure:
		return conflict("The midline marked on the film runs towards the edge where %s puts the patient's left: %s.", sourceOfLeft(film), confirmLeft)
	case shown != NoSide && stated != NoSide && stated != MiddleSide && shown != stated:
		return conflict("%s is %s by %s, but the film shows it on the %s (%s): confirm its side, or the patient's left on the film.",
			object, stated, said[0].who, shown, film.LeftSource)
	case stated == NoSide && shown == NoSide:
		return SideDecision{Source: unknownSide(film, seen)}
	}
	d := SideDecision{Side: stated, Source: "stated, not confirmed"}
	if sure {
		d.Confirmed, d.Source = true, confirmedBy(inherited)+" (about "+Device(object)+")"
	}
	switch {
	case shown == NoSide || stated == MiddleSide:
	case stated == NoSide:
		d = SideDecision{Side: shown, Source: film.LeftSource, Confirmed: film.LeftConfirmed}
	case d.Confirmed:
		d.Source += "; the film agrees"
	default:
		d.Source = film.LeftSource + "; so marked or stated as well"
		d.Confirmed = film.LeftConfirmed
	}
	return d
}

// MergeSides joins what two frontal films say of one device. A confirmed side
// stands against an unconfirmed one, which is told; two that differ otherwise
// are a conflict.
func MergeSides(a, b SideDecision) SideDecision {
	if b.Confirmed && !a.Confirmed {
		a, b = b, a
	}
	switch {
	case a.Confirmed && !b.Confirmed && (b.Conflict != "" || b.Side != NoSide && b.Side != a.Side):
		a.Source += "; another film says otherwise"
		return a
	case a.Conflict != "":
		return a
	case b.Conflict != "":
		return b
	case b.Side == NoSide:
		return a
	case a.Side == NoSide:
		return b
	case a.Side != b.Side:
		return conflict("Two films show the device on different sides: %s (%s) and %s (%s): confirm its side.", a.Side, a.Source, b.Side, b.Source)
	}
	if a.Source != b.Source && !strings.Contains(a.Source, b.Source) {
		a.Source += "; another film: " + b.Source
	}
	return a
}

func conflict(format string, args ...any) SideDecision {
	return SideDecision{Source: bySeveral, Conflict: fmt.Sprintf(format, args...)}
}

func confirmedBy(c claim[Side]) string {
	return fmt.Sprintf("%s, confirmed by %s", c.basis.Words(), c.by)
}

// markedSide is the side that the marks of object carry; twice where they
// carry two.
func (b Book) markedSide(object string) (side Side, twice bool) {
	for _, m := range b.Marks {
		info, _ := Info(m.Structure)
		if m.Object != object || m.Side == NoSide || !info.NeedsObject {
			continue
		}
		if side != NoSide && side != m.Side {
			return NoSide, true
		}
		side = m.Side
	}
	return side, false
}

// sideOnFilm gives the side the film shows. across: the midline as marked runs
// more than 60 degrees off the way it must if the film's left were right.
func sideOnFilm(film Reading, toward r2.Vec, seen bool) (side Side, across bool) {
	length := r2.Norm(toward)
	if !seen || film.PatientLeft == imaging.NoEdge || !(length >= nearMidline) || math.IsInf(length, 0) {
		return NoSide, false
	}
	x, y := film.PatientLeft.Direction()
	d := toward.X*x + toward.Y*y
	switch {
	case math.Abs(d) < length/2:
		return NoSide, true
	case d > 0:
		return LeftSide, false
	}
	return RightSide, false
}

func sourceOfLeft(film Reading) string {
	if i := strings.IndexAny(film.LeftSource, ":;,"); i > 0 {
		return film.LeftSource[:i]
	}
	return film.LeftSource
}

func unknownSide(film Reading, seen bool) string {
	switch {
	case !seen:
		return "not known: no frontal film shows its entry and the midline"
	case film.PatientLeft == imaging.NoEdge:
		return "not known: the patient's left on the film is not known"
	}
	return "not known: its entry lies on the marked midline"
}
