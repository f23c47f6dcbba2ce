package mark

import (
	"fmt"
	"slices"
	"strings"

	"leadline/imaging"
)

// edges groups sources by the edge they name, in the order they came.
type edges []edgeNames

type edgeNames struct {
	edge  imaging.Edge
	names []string
}

func (e *edges) add(edge imaging.Edge, name string) {
	i := slices.IndexFunc(*e, func(g edgeNames) bool { return g.edge == edge })
	if i < 0 {
		*e = append(*e, edgeNames{edge: edge})
		i = len(*e) - 1
	}
	(*e)[i].names = append((*e)[i].names, name)
}

// String is 'at the right edge by A and B, at the left edge by C'.
func (e edges) String() string {
	var out []string
	for _, g := range e {
		out = append(out, fmt.Sprintf("at the %s edge by %s", g.edge, words(g.names)))
	}
	return strings.Join(out, ", ")
}

func list(names []string) string { return strings.Join(names, ", ") }

const confirmLeft = "confirm the patient's left on this film with a lead marker, the theatre record or a known first needle"

func (f *film) readLeft() {
	if f.View != imaging.Frontal {
		f.LeftSource = "not known: not a frontal film"
		if f.View == imaging.NoView {
			f.LeftSource = "not known: the view is not known"
		}
		return
	}
	var header, belied edges // of the patient's left; of the head, where the film shows it elsewhere
	var names, unused []string
	for _, s := range f.sources {
		if s.view != imaging.NoView && s.view != f.View {
			unused = append(unused, fmt.Sprintf("%s %s and were not used", say(s.name), s.view))
			continue
		}
		left, head := s.EdgeOf('L'), s.EdgeOf('H')
		if left == imaging.NoEdge {
			continue
		}
		header.add(left, s.name)
		names = append(names, s.name)
		if f.belies(head) {
			belied.add(head, s.name)
		}
	}
	said := f.said.left
	if said.known() && same(said.value, f.said.cranial.value) {
		f.LeftSource = bySeveral
		f.LeftConflict = fmt.Sprintf("The head is stated at the %s edge and the patient's left at the %s edge, which are not at right angles: state both again.",
			f.said.cranial.value, said.value)
		return
	}
	if said.confirms(SideBases()) {
		f.PatientLeft, f.LeftConfirmed = said.value, true
		f.LeftSource = fmt.Sprintf("%s, confirmed by %s", said.basis.Words(), said.by)
		var otherwise edges
		for _, g := range header {
			if g.edge == said.value {
				f.LeftSource += "; " + agree(g.names)
			} else {
				otherwise = append(otherwise, g)
			}
		}
		if len(otherwise) > 0 {
			f.LeftSource += "; the header says otherwise: " + otherwise.String()
		}
		f.note(unused)
		if same(f.PatientLeft, f.Cranial) {
			// Confirmed left outweighs a head that was read, not stated.
			f.CranialConflict = fmt.Sprintf("The head lies at the %s edge by %s, but the patient's left is confirmed at the %s edge: state the cranial direction.",
				f.Cranial, f.CranialSource, f.PatientLeft)
			f.Cranial, f.CranialSource = imaging.NoEdge, bySeveral
		}
		return
	}
	all := slices.Clone(header)
	if said.known() {
		all.add(said.value, statementOf(said.by))
	}
	switch {
	case len(all) > 1:
		f.LeftConflict = "The patient's left lies " + all.String() + ": " + confirmLeft + "."
	case len(belied) > 0:
		f.witness(&belied)
		f.LeftConflict = "The head lies " + belied.String() + ", so the header cannot tell the patient's left: " + confirmLeft + "."
	case len(all) == 1 && same(all[0].edge, f.Cranial):
		f.LeftConflict = fmt.Sprintf("The patient's left lies %s, but the head at the %s edge (%s), and the two are not at right angles: %s.",
			all, f.Cranial, f.CranialSource, confirmLeft)
	}
	switch {
	case f.LeftConflict != "":
		f.LeftSource = bySeveral
	case len(all) == 0:
		f.LeftSource = byNone
	case len(names) == 0:
		f.PatientLeft, f.LeftSource = said.value, said.stated()+", not confirmed"
	default:
		f.PatientLeft, f.LeftSource = all[0].edge, list(names)+": from header, not confirmed"
		if said.known() {
			f.LeftSource += "; " + said.stated() + " as well"
		}
	}
	f.note(unused)
}

func (f *film) note(unused []string) {
	for _, u := range unused {
		f.LeftSource += "; " + u
	}
}

func agree(names []string) string {
	if len(names) == 1 && names[0] != byAngles {
		return names[0] + " agrees"
	}
	return words(names) + " agree"
}

// belies reports whether the observer's statement or the marks show the head at
// another edge than a source does: that source does not describe these pixels.
func (f *film) belies(head imaging.Edge) bool {
	switch {
	case head == imaging.NoEdge:
		return false
	case f.said.cranial.known():
		return f.said.cranial.value != head
	}
	return f.headKnown && f.head != (heading{}) && !f.head.bears(head)
}

// witness adds what belies the header, and where it shows the head.
func (f *film) witness(e *edges) {
	if c := f.said.cranial; c.known() {
		e.add(c.value, statementOf(c.by))
		return
	}
	e.add(f.head.edge(), "the "+byMarks)
}

func statementOf(by string) string {
	if by == "" {
		return "the observer's statement"
	}
	return "the statement of " + by
}
