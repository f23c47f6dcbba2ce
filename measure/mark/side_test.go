package mark_test

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
)

// needle is a needle mark as far as side and level go.
func needle(object string, side mark.Side, level mark.Level) mark.Mark {
	return mark.Mark{Frame: film, Structure: mark.Needle, Object: object, Side: side, Level: level,
		Points: []r2.Vec{{X: 1, Y: 1}, {X: 2, Y: 9}}}
}

func with(b mark.Book, marks ...mark.Mark) mark.Book {
	b.Marks = append(b.Marks, marks...)
	return b
}

func TestDecideSide(t *testing.T) {
	var noFilm mark.Reading
	header := mark.Read(film, angled(0, 0), nothing) // patient's left at the right
	disagree := mark.Read(film, oriented(angled(0, 0), "R", "F"), nothing)
	marker := mark.Read(film, angled(0, 0), states(about(mark.Statement{PatientLeft: right, SideBasis: mark.LeadMarker})))
	if header.PatientLeft != right || disagree.LeftConflict == "" || !marker.LeftConfirmed {
		t.Fatal("the films are not what the cases below take them for")
	}
	toLeft, toRight, away := r2.Vec{X: 50}, r2.Vec{X: -50}, r2.Vec{Y: 50}
	const (
		fromHeader = "positioner angles: from header, not confirmed"
		byMarker   = "lead marker in the field, confirmed by Ann; positioner angles agree"
	)
	says := func(object string, side mark.Side, basis mark.Basis) mark.Book {
		return states(mark.Statement{Object: object, Side: side, SideBasis: basis})
	}
	join := func(books ...mark.Book) (b mark.Book) {
		for _, o := range books {
			b.Marks = append(b.Marks, o.Marks...)
			b.Statements = append(b.Statements, o.Statements...)
		}
		return b
	}
	for _, c := range []struct {
		name      string
		object    string
		film      mark.Reading
		toward    r2.Vec
		seen      bool
		book      mark.Book
		side      mark.Side
		source    string
		confirmed bool
		conflict  []string
	}{
		{"nothing known", "N1", noFilm, toLeft, false, nothing, "", "not known: no frontal film shows its entry and the midline", false, nil},
		{"film says nothing of left", "N1", noFilm, toLeft, true, nothing, "", "not known: the patient's left on the film is not known", false, nil},
		{"film alone, left", "N1", header, toLeft, true, nothing, "left", fromHeader, false, nil},
		{"film alone, right", "N1", header, toRight, true, nothing, "right", fromHeader, false, nil},
		{"film there, not seen on it", "N1", header, toLeft, false, nothing, "", "not known: no frontal film shows its entry and the midline", false, nil},
		{"on the midline", "N1", header, r2.Vec{X: 3}, true, nothing, "", "not known: its entry lies on the marked midline", false, nil},
		{"no direction", "N1", header, r2.Vec{X: math.NaN()}, true, nothing, "", "not known: its entry lies on the marked midline", false, nil},
		{"endless", "N1", header, r2.Vec{X: math.Inf(1)}, true, nothing, "", "not known: its entry lies on the marked midline", false, nil},
		{"film confirmed", "N1", marker, toLeft, true, nothing, "left", byMarker, true, nil},
		{"film confirmed, the other side", "N2", marker, toRight, true, nothing, "right", byMarker, true, nil},
		{"film's sources disagree", "N1", disagree, toLeft, true, nothing, "", "sources disagree", false, []string{"Patient Orientation", "positioner angles"}},
		{"film's sources disagree, side marked", "N1", disagree, toLeft, true, with(nothing, needle("N1", "left", "")), "", "sources disagree", false, []string{"Patient Orientation", "positioner angles"}},
		{"midline tilted 50 degrees", "N1", header, r2.Vec{X: 64, Y: 77}, true, nothing, "left", fromHeader, false, nil},
		{"midline tilted 70 degrees", "N1", header, r2.Vec{X: 34, Y: 94}, true, nothing, "", "sources disagree", false, []string{"midline", "positioner angles"}},
		{"midline across the film's left", "N1", header, away, true, nothing, "", "sources disagree", false, []string{"midline", "positioner angles"}},

		{"marked alone", "N1", noFilm, toLeft, false, with(nothing, needle("N1", "right", "")), "right", "stated, not confirmed", false, nil},
		{"marked for another device", "N1", noFilm, toLeft, false, with(nothing, needle("N2", "right", "")), "", "not known: no frontal film shows its entry and the midline", false, nil},
		{"marked for another position", "N1.2", noFilm, toLeft, false, with(nothing, needle("N1", "right", "")), "", "not known: no frontal film shows its entry and the midline", false, nil},
		{"marked midline", "N1", header, toLeft, true, with(nothing, needle("N1", "midline", "")), "midline", "stated, not confirmed", false, nil},
		{"marked as the film", "N1", header, toLeft, true, with(nothing, needle("N1", "left", "")), "left", fromHeader + "; so marked or stated as well", false, nil},
		{"marked against the film", "N1", header, toLeft, true, with(nothing, needle("N1", "right", "")), "", "sources disagree", false, []string{"N1 is right by the side of its marks", "left", "positioner angles"}},
		{"marked against a confirmed film", "N1", marker, toLeft, true, with(nothing, needle("N1", "right", "")), "", "sources disagree", false, []string{"right by the side of its marks", "left", "lead marker"}},
		{"marked as a confirmed film", "N1", marker, toLeft, true, with(nothing, needle("N1", "left", "")), "left", byMarker + "; so marked or stated as well", true, nil},
		{"marked on both sides", "N1", header, toLeft, true, with(nothing, needle("N1", "left", ""), needle("N1", "right", "")), "", "sources disagree", false, []string{"N1", "both sides"}},
		{"marked on both sides, though stated with a basis", "N1", header, toLeft, true, with(says("N1", "left", mark.TheatreRecord), needle("N1", "left", ""), needle("N1", "right", "")), "", "sources disagree", false, []string{"both sides"}},

		{"stated alone", "N1", noFilm, toLeft, false, says("N1", "left", ""), "left", "stated, not confirmed", false, nil},
		{"stated against marks", "N1", noFilm, toLeft, false, with(says("N1", "left", mark.Stated), needle("N1", "right", "")), "", "sources disagree", false, []string{"right by the side of its marks", "left by the statement of Ann"}},
		{"stated against the film", "N1", header, toLeft, true, says("N1", "right", mark.Stated), "", "sources disagree", false, []string{"right by the statement of Ann", "left", "positioner angles"}},
		{"stated with the basis of a level", "N1", noFilm, toLeft, false, says("N1", "left", mark.CountedAbove), "left", "stated, not confirmed", false, nil},

		{"lead marker", "N1", noFilm, toLeft, false, says("N1", "left", mark.LeadMarker), "left", "lead marker in the field, confirmed by Ann", true, nil},
		{"theatre record", "N1", noFilm, toLeft, false, says("N1", "right", mark.TheatreRecord), "right", "theatre record, confirmed by Ann", true, nil},
		{"known needle", "N1", noFilm, toLeft, false, says("N1", "midline", mark.KnownNeedle), "midline", "known first needle, confirmed by Ann", true, nil},
		{"confirmed as the film", "N1", header, toLeft, true, says("N1", "left", mark.TheatreRecord), "left", "theatre record, confirmed by Ann; the film agrees", true, nil},
		{"confirmed against the header", "N1", header, toLeft, true, says("N1", "right", mark.TheatreRecord), "right", "theatre record, confirmed by Ann; the film says otherwise: left", true, nil},
		{"confirmed over disagreeing sources", "N1", disagree, toLeft, true, says("N1", "right", mark.TheatreRecord), "right", "theatre record, confirmed by Ann; the sources on the film disagree", true, nil},
		{"confirmed over a midline across", "N1", header, away, true, says("N1", "right", mark.TheatreRecord), "right", "theatre record, confirmed by Ann; the film's left does not fit its midline", true, nil},
		{"confirmed against marks", "N1", noFilm, toLeft, false, with(says("N1", "right", mark.TheatreRecord), needle("N1", "left", "")), "right", "theatre record, confirmed by Ann; the marks say otherwise: left", true, nil},
		{"two confirmations that differ", "N1", marker, toLeft, true, says("N1", "right", mark.TheatreRecord), "", "sources disagree", false, []string{"right by theatre record", "left by the film", "lead marker"}},
		{"nobody named", "N1", noFilm, toLeft, false, mark.Book{Statements: []mark.Statement{{Object: "N1", Side: "left", SideBasis: mark.LeadMarker}}}, "left", "stated, not confirmed", false, nil},
		{"a later word takes the confirmation away", "N1", noFilm, toLeft, false, join(says("N1", "left", mark.LeadMarker), says("N1", "right", "")), "right", "stated, not confirmed", false, nil},
		{"a confirmation of another device", "N1", header, toLeft, true, says("N2", "right", mark.LeadMarker), "left", fromHeader, false, nil},
		{"a confirmation of N12 is none of N1", "N1", noFilm, toLeft, false, says("N12", "left", mark.LeadMarker), "", "not known: no frontal film shows its entry and the midline", false, nil},
		{"a side without a device", "N1", noFilm, toLeft, false, says("", "left", mark.LeadMarker), "", "not known: no frontal film shows its entry and the midline", false, nil},

		{"second position by its device", "N1.2", noFilm, toLeft, false, says("N1", "left", mark.LeadMarker), "left", "lead marker in the field, confirmed by Ann (about N1)", true, nil},
		{"second position by its device, stated", "N1.2", noFilm, toLeft, false, says("N1", "left", ""), "left", "stated, not confirmed", false, nil},
		{"second position with its own", "N1.2", noFilm, toLeft, false, join(says("N1", "left", mark.LeadMarker), says("N1.2", "right", mark.TheatreRecord)), "right", "theatre record, confirmed by Ann", true, nil},
		{"second position with its own word", "N1.2", noFilm, toLeft, false, join(says("N1", "left", mark.LeadMarker), says("N1.2", "right", "")), "right", "stated, not confirmed", false, nil},
		{"second position on the other side of the film", "N1.2", header, toRight, true, says("N1", "left", mark.LeadMarker), "", "sources disagree", false, []string{"left by the statement of Ann about N1", "right", "positioner angles"}},
		{"second position marked on the other side", "N1.2", noFilm, toLeft, false, with(says("N1", "left", mark.LeadMarker), needle("N1.2", "right", "")), "", "sources disagree", false, []string{"right by the side of its marks", "left by the statement of Ann about N1"}},
		{"second position over disagreeing sources", "N1.2", disagree, toLeft, true, says("N1", "left", mark.LeadMarker), "left", "lead marker in the field, confirmed by Ann (about N1)", true, nil},
		{"first position not by its second", "N1", noFilm, toLeft, false, says("N1.2", "left", mark.LeadMarker), "", "not known: no frontal film shows its entry and the midline", false, nil},
	} {
		d := mark.DecideSide(c.object, c.film, c.toward, c.seen, c.book)
		if d.Side != c.side || d.Source != c.source || d.Confirmed != c.confirmed {
			t.Errorf("%s: %q, confirmed %v (%s), want %q, %v (%s)", c.name, d.Side, d.Confirmed, d.Source, c.side, c.confirmed, c.source)
		}
		checkConflict(t, c.name, d.Conflict, c.conflict)
	}
}

func checkConflict(t *testing.T, name, got string, want []string) {
	t.Helper()
	if (got == "") != (len(want) == 0) {
		t.Errorf("%s: conflict %q", name, got)
	}
	rest := got
	for _, w := range want {
		_, after, ok := strings.Cut(rest, w)
		if !ok {
			t.Errorf("%s: conflict %q does not say %q in its place", name, got, w)
		}
		rest = after
	}
}

// A side is never named while two unconfirmed sources differ, nor ever
// confirmed without a named observer and a basis: over every combination of
// what can be said.
func TestNoSideIsNamedAgainstASource(t *testing.T) {
	sides := []mark.Side{"", "left", "right"}
	bases := []mark.Basis{"", mark.Stated, mark.LeadMarker}
	directions := map[string]r2.Vec{"": {}, "left": {X: 80}, "right": {X: -80}}
	edges := []imaging.Edge{none, right, left} // of the patient's left, as stated on the film
	n := 0
	for _, orientation := range []string{"", "L", "R"} { // L: patient's left at the right
		for _, lies := range []string{"", "HFS", "HFP"} {
			for _, edge := range edges {
				for _, edgeBasis := range bases {
					for where, toward := range directions {
						for _, marked := range sides {
							for _, stated := range sides {
								for _, basis := range bases {
									n++
									b := states(about(mark.Statement{View: imaging.Frontal, PatientLeft: edge, SideBasis: edgeBasis}),
										mark.Statement{Object: "N1", Side: stated, SideBasis: basis})
									if marked != "" {
										b = with(b, needle("N1", marked, ""))
									}
									g := lying(imaging.Geometry{}, lies)
									if orientation != "" {
										g = oriented(g, orientation, "F")
									}
									d := mark.DecideSide("N1", mark.Read(film, g, b), toward, where != "", b)

									// Each thing that says a side, worked out on its own. The
									// drawn direction is of the picture: X 80 is its right.
									said := map[mark.Side]bool{}
									add := func(leftEdge imaging.Edge) {
										if where != "" && leftEdge != none {
											said[map[bool]mark.Side{true: "left", false: "right"}[(leftEdge == right) == (where == "left")]] = true
										}
									}
									filmSure := edge != none && edgeBasis == mark.LeadMarker
									if !filmSure {
										add(map[string]imaging.Edge{"": none, "L": right, "R": left}[orientation])
										add(map[string]imaging.Edge{"": none, "HFS": right, "HFP": left}[lies])
									}
									add(edge)
									if marked != "" {
										said[marked] = true
									}
									if stated != "" {
										said[stated] = true
									}
									sure := stated != "" && basis == mark.LeadMarker
									switch {
									case d.Conflict != "" && (d.Side != "" || d.Confirmed):
										t.Fatalf("a side in spite of a conflict: %+v", d)
									case d.Side != "" && len(said) > 1 && !sure:
										t.Fatalf("%s named though %v are said (%s)", d.Side, said, d.Source)
									case sure && d.Side != "" && d.Side != stated:
										t.Fatalf("%s named though %s is confirmed (%s)", d.Side, stated, d.Source)
									case d.Confirmed && !sure && !(filmSure && where != ""):
										t.Fatalf("confirmed without a basis: %+v", d)
									case d.Side != "" && !said[d.Side]:
										t.Fatalf("%s named though nothing says it (%s)", d.Side, d.Source)
									case len(said) == 1 && d.Side == "" && d.Conflict == "":
										t.Fatalf("one side is said (%v) but none named (%s)", said, d.Source)
									}
								}
							}
						}
					}
				}
			}
		}
	}
	if n != 3*3*3*3*3*3*3*3 {
		t.Errorf("%d combinations", n)
	}
}

func TestMergeSides(t *testing.T) {
	l := mark.SideDecision{Side: "left", Source: "A"}
	l2 := mark.SideDecision{Side: "left", Source: "B"}
	r := mark.SideDecision{Side: "right", Source: "B"}
	sureL := mark.SideDecision{Side: "left", Source: "S", Confirmed: true}
	sureR := mark.SideDecision{Side: "right", Source: "T", Confirmed: true}
	open := mark.SideDecision{Source: "not known"}
	torn := mark.SideDecision{Source: "sources disagree", Conflict: "A but B."}
	for _, c := range []struct {
		name             string
		a, b             mark.SideDecision
		side             mark.Side
		confirmed, fight bool
	}{
		{"agree", l, l2, "left", false, false},
		{"differ", l, r, "", false, true},
		{"one open", open, r, "right", false, false},
		{"both open", open, open, "", false, false},
		{"one torn", l, torn, "", false, true},
		{"torn and open", open, torn, "", false, true},
		{"confirmed and the same", sureL, l2, "left", true, false},
		{"confirmed and the other", sureL, r, "left", true, false},
		{"confirmed and torn", sureL, torn, "left", true, false},
		{"two confirmations differ", sureL, sureR, "", false, true},
	} {
		for i, d := range []mark.SideDecision{mark.MergeSides(c.a, c.b), mark.MergeSides(c.b, c.a)} {
			if d.Side != c.side || d.Confirmed != c.confirmed || (d.Conflict != "") != c.fight {
				t.Errorf("%s, order %d: %+v", c.name, i, d)
			}
		}
	}
	if d := mark.MergeSides(r, sureL); d.Source != "S; another film says otherwise" {
		t.Errorf("the other film's word is lost: %q", d.Source)
	}
	if d := mark.MergeSides(l, l2); d.Source != "A; another film: B" {
		t.Errorf("sources of both films: %q", d.Source)
	}
}
