package sidecar

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leadline/measure/operation"
)

// operation is the record of the operation as a Measurement Group (TID 1501). What
// is blank has no item.
func (b *builder) operation(r operation.Record) item {
	if err := r.Check(); err != nil && b.err == nil {
		b.err = fmt.Errorf("operation: %w", err)
	}
	s := b.group(kindOperation, "operation", b.derived("operation"))
	for _, f := range operation.Fields() {
		value := r[f.Name]
		if value == "" {
			continue
		}
		concept := fieldCodes[f.Name]
		free := strings.HasPrefix(value, "other: ")
		switch {
		case f.Form == operation.OneOf && !free, f.Form == operation.SeveralOf && !free:
			for _, w := range strings.Fields(value) {
				s.word(contains, concept, fieldTerms[f.Name], w)
			}
		case f.Form == operation.Whole:
			s.num(contains, concept, b.decimal(value), unitNone)
		case f.Form == operation.Impedances:
			for _, w := range strings.Fields(value) {
				contact, ohms, _ := strings.Cut(w, ":")
				s.num(contains, concept, b.decimal(ohms), unitOhm)
				inner := sheet{b: b}
				inner.num(hasProperty, contactIndex, b.decimal(contact), unitNone)
				s.items[len(s.items)-1].children = inner.items
			}
		case f.Form == operation.Dose:
			number, unit, _ := strings.Cut(value, " ")
			if unit == "" {
				unit = "1"
			}
			s.num(contains, concept, b.decimal(number), consoleUnits[unit])
		default:
			s.text(contains, concept, value)
		}
	}
	return s.asGroup()
}

func (b *builder) decimal(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		b.fail("%q is not a number", s)
	}
	return v
}

func (rd *reader) operation(rec record) {
	if rd.r.Operation != nil {
		rd.fail("the report holds two records of the operation")
		return
	}
	r := operation.Record{}
	for _, it := range rec.items {
		name := ""
		for n, c := range fieldCodes {
			if it.concept.is(c) {
				name = n
			}
		}
		f, ok := operation.FieldNamed(name)
		if !ok {
			rd.odd(it, "the record of the operation")
			return
		}
		value := ""
		switch {
		case it.kind == typeText:
			value = it.text
		case it.kind == typeCode:
			value = rd.worded(it, fieldTerms[name])
		case f.Form == operation.Impedances && len(it.children) == 1:
			value = strconv.Itoa(rd.whole(it.children[0])) + ":" + strconv.Itoa(rd.whole(it))
		default:
			value = strconv.FormatFloat(it.number, 'f', -1, 64)
			for word, u := range consoleUnits {
				if it.unit.is(u) && word != "1" {
					value += " " + word
				}
			}
		}
		if r[name] != "" {
			value = r[name] + " " + value
		}
		r[name] = value
	}
	rd.r.Operation = r
}

// operation: rows of our own. A field stands in the form and the unit it has.
func (c *checker) operation(g item, where string) {
	for _, it := range g.children {
		if it.concept.is(trackingID) || it.concept.is(trackingUID) || it.concept.is(recordKind) {
			continue
		}
		in := where + "/" + it.concept.meaning
		name := ""
		for n, concept := range fieldCodes {
			if it.concept.is(concept) {
				name = n
			}
		}
		f, ok := operation.FieldNamed(name)
		if !ok {
			c.say(in, "report row: operation", "is no field of the operation")
			continue
		}
		listed := f.Form == operation.OneOf || f.Form == operation.SeveralOf
		number := f.Form == operation.Whole || f.Form == operation.Impedances || f.Form == operation.Dose
		switch {
		case it.relation != contains:
			c.say(in, "report row: operation", "stands in relationship "+it.relation)
		case it.kind == typeNum != number, it.kind == typeCode && !listed:
			c.say(in, "report row: operation", "is a "+it.kind)
		case it.kind == typeCode:
			if _, ok := fieldTerms[name].word(it.value); !ok {
				c.say(in, "report row: operation", it.value.String()+" is no word of this field")
			}
		case it.kind == typeNum && !slices.ContainsFunc(unitsOf(f), it.unit.is):
			c.say(in, "report row: operation", "unit "+it.unit.value+" is none of this field")
		}
	}
}

func unitsOf(f operation.Field) []code {
	switch f.Form {
	case operation.Impedances:
		return []code{unitOhm}
	case operation.Dose:
		var out []code
		for _, w := range f.Units {
			out = append(out, consoleUnits[w])
		}
		return out
	}
	return []code{unitNone}
}
