package sidecar

import (
	"math"
	"strings"
	"time"
)

// sheet gathers content items under one parent, in order.
type sheet struct {
	b     *builder
	items []item
}

func (s *sheet) add(it item) { s.items = append(s.items, it) }

func (s *sheet) code(relation string, concept, value code) {
	s.add(item{relation: relation, kind: typeCode, concept: concept, value: value})
}

// text adds a TEXT item; none where t is empty.
func (s *sheet) text(relation string, concept code, t string) {
	if t != "" {
		s.line(relation, concept, t, concept.meaning)
	}
}

// line adds a TEXT item that must have text, as one of a list or a name.
func (s *sheet) line(relation string, concept code, t, what string) {
	if t == "" || !plainText(t) {
		s.b.fail("%s: text %q is empty or holds control characters and cannot be kept", what, t)
	}
	s.add(item{relation: relation, kind: typeText, concept: concept, text: t})
}

// word adds a coded value; as text where the vocabulary lacks it, and nothing
// where it is empty.
func (s *sheet) word(relation string, concept code, v vocabulary, w string) {
	if c, ok := v[w]; ok {
		s.code(relation, concept, c)
		return
	}
	s.text(relation, concept, w)
}

// settled adds a word under one concept while it is open and under another once
// it is confirmed, so that the two cannot be mistaken for each other.
func (s *sheet) settled(relation string, open, confirmed code, v vocabulary, w string, isConfirmed bool) {
	switch {
	case !isConfirmed:
		s.word(relation, open, v, w)
	case w == "":
		s.code(relation, confirmed, none)
	default:
		s.word(relation, confirmed, v, w)
	}
}

func (s *sheet) num(relation string, concept code, x float64, unit code) {
	s.finite(x, concept)
	s.add(item{relation: relation, kind: typeNum, concept: concept, number: x, unit: unit})
}

// nonzero adds a number that means nothing when it is 0.
func (s *sheet) nonzero(relation string, concept code, x float64, unit code) {
	if x != 0 {
		s.num(relation, concept, x, unit)
	}
}

func (s *sheet) finite(x float64, concept code) {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		s.b.fail("%s: %g is not a number that can be kept", concept.meaning, x)
	}
}

func (s *sheet) time(concept code, t time.Time) {
	if !t.IsZero() {
		s.add(item{relation: hasContext, kind: typeDateTime, concept: concept, text: s.b.dateTime(t)})
	}
}

func (b *builder) dateTime(t time.Time) string {
	if t.Year() < 1 || t.Year() > 9999 {
		b.fail("the year %d cannot be kept", t.Year())
	}
	return dateTime(t)
}

// observer names a person by TID 1002 row 1 and TID 1003 row 1. A name that PN
// cannot hold as it stands is kept beside it as text.
func (s *sheet) observer(name string) {
	s.code(hasContext, observerType, observerPerson)
	pn := personNameOf(name)
	s.add(item{relation: hasContext, kind: typeName, concept: personName, text: pn})
	if pn != name {
		s.line(hasContext, observerAsIs, name, "name of the observer")
	}
}

// personNameOf makes a PN value (PS3.5 6.2) of a name: one component group of at
// most 64 bytes (the limit is 64 characters, which some toolkits count in
// bytes), without the delimiters of groups and values.
func personNameOf(name string) string {
	pn := strings.Map(func(r rune) rune {
		if r < 0x20 || r >= 0x7f && r <= 0x9f || strings.ContainsRune(`\=^`, r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(name, " "))
	if len(pn) > 64 {
		pn = strings.ToValidUTF8(pn[:64], "")
	}
	if pn = strings.TrimSpace(pn); pn == "" {
		pn = "Unnamed"
	}
	return pn
}

// finding says what a mark or device is (TID 1501, Finding: a code); a structure
// without a code stands as text under a concept of its own.
func (s *sheet) finding(structure string) {
	if c, ok := structures[structure]; ok {
		s.code(contains, finding, c)
		return
	}
	s.text(contains, structureName, structure)
}
