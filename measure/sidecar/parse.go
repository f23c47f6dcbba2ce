package sidecar

import (
	"fmt"
	"strconv"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"
	"gonum.org/v1/gonum/spatial/r2"
)

// Bounds on a content tree that is read.
const (
	maxTreeDepth  = 16
	maxTreeItems  = 200000
	maxPointsMark = 8000 // a Graphic Data value is at most 65534 bytes in explicit VR
)

// parser reads content items, telling fault of what is malformed and going on.
type parser struct {
	fault func(where, rule, what string)
	items int
}

// attributes of one data set or item, by tag.
type attributes map[tag.Tag]*dicom.Element

func attributesOf(es []*dicom.Element) attributes {
	a := make(attributes, len(es))
	for _, e := range es {
		a[e.Tag] = e
	}
	return a
}

// text is the attribute's single value; empty where it is absent or empty.
func (a attributes) text(t tag.Tag) string {
	if v := a.texts(t); len(v) == 1 {
		return v[0]
	}
	return ""
}

func (a attributes) texts(t tag.Tag) []string {
	if e, ok := a[t]; ok {
		if v, ok := e.Value.GetValue().([]string); ok {
			return v
		}
	}
	return nil
}

func (a attributes) has(t tag.Tag) bool { _, ok := a[t]; return ok }

func (a attributes) floats(t tag.Tag) []float64 {
	if e, ok := a[t]; ok {
		if v, ok := e.Value.GetValue().([]float64); ok {
			return v
		}
	}
	return nil
}

// sequence gives the items of a sequence; none where it is absent.
func (a attributes) sequence(t tag.Tag) []attributes {
	e, ok := a[t]
	if !ok {
		return nil
	}
	items, ok := e.Value.GetValue().([]*dicom.SequenceItemValue)
	if !ok {
		return nil
	}
	out := make([]attributes, len(items))
	for i, it := range items {
		out[i] = attributesOf(it.GetValue().([]*dicom.Element))
	}
	return out
}

// codeAt reads the single code of a code sequence (PS3.3 8.8).
func (p *parser) codeAt(a attributes, t tag.Tag, where, what string) code {
	s := a.sequence(t)
	if len(s) != 1 {
		p.fault(where, "PS3.3 8.8", fmt.Sprintf("%s needs one code, has %d", what, len(s)))
		return code{}
	}
	c := code{s[0].text(tag.CodeValue), s[0].text(tag.CodingSchemeDesignator), s[0].text(tag.CodeMeaning)}
	switch {
	case c.value == "" || c.scheme == "" || c.meaning == "":
		p.fault(where, "PS3.3 8.8", what+" lacks Code Value, Coding Scheme Designator or Code Meaning")
	case len([]rune(c.value)) > 16 || len([]rune(c.scheme)) > 16 || len([]rune(c.meaning)) > 64:
		p.fault(where, "PS3.5 6.2", what+" is longer than its value representation allows: "+c.String())
	}
	return c
}

// item reads one content item; root has no relationship.
func (p *parser) item(a attributes, where string, depth int) item {
	if p.items++; p.items > maxTreeItems || depth > maxTreeDepth {
		if p.items <= maxTreeItems+1 {
			p.fault(where, "bounds", fmt.Sprintf("more than %d content items, or nested deeper than %d", maxTreeItems, maxTreeDepth))
		}
		p.items = maxTreeItems + 1
		return item{}
	}
	it := item{
		relation: a.text(tag.RelationshipType),
		kind:     a.text(tag.ValueType),
		observed: a.text(tag.ObservationDateTime),
	}
	if a.has(tag.ConceptNameCodeSequence) {
		it.concept = p.codeAt(a, tag.ConceptNameCodeSequence, where, "concept name")
	}
	if it.concept.value != "" {
		where += "/" + it.concept.meaning
	} else {
		where += "/" + it.kind
	}
	p.value(a, &it, where)
	for i, c := range a.sequence(tag.ContentSequence) {
		it.children = append(it.children, p.item(c, fmt.Sprintf("%s[%d]", where, i+1), depth+1))
	}
	return it
}

// value reads what the item's value type says it holds (PS3.3 C.17.3.2.1 and C.18).
func (p *parser) value(a attributes, it *item, where string) {
	single := func(t tag.Tag, name string) {
		if it.text = a.text(t); it.text == "" {
			p.fault(where, "PS3.3 C.17.3", it.kind+" item has no "+name)
		}
	}
	switch it.kind {
	case typeContainer:
		if a.text(tag.ContinuityOfContent) == "" {
			p.fault(where, "PS3.3 C.18.8", "container does not say whether its content is continuous")
		}
		if s := a.sequence(tag.ContentTemplateSequence); len(s) > 0 {
			it.template = s[0].text(tag.TemplateIdentifier)
		}
	case typeText:
		single(tag.TextValue, "text")
	case typeName:
		single(tag.PersonName, "name")
	case typeDateTime:
		single(tag.DateTime, "time")
	case typeUID:
		if single(tag.UID, "UID"); it.text != "" && !validUID(it.text) {
			p.fault(where, "PS3.5 9.1", "not a UID: "+strconv.Quote(it.text))
		}
	case typeCode:
		it.value = p.codeAt(a, tag.ConceptCodeSequence, where, "value")
	case typeNum:
		p.number(a, it, where)
	case typeCoord:
		p.coordinates(a, it, where)
	case typeImage:
		p.reference(a, it, where)
	default:
		p.fault(where, "PS3.3 A.35.3.3.1.1", "value type "+strconv.Quote(it.kind)+" is not used in this report")
	}
}

func (p *parser) number(a attributes, it *item, where string) {
	s := a.sequence(tag.MeasuredValueSequence)
	if len(s) != 1 {
		p.fault(where, "PS3.3 C.18.1", "number has no measured value")
		return
	}
	it.unit = p.codeAt(s[0], tag.MeasurementUnitsCodeSequence, where, "unit")
	it.decimal = s[0].text(tag.NumericValue)
	x, err := strconv.ParseFloat(it.decimal, 64)
	if err != nil || len(it.decimal) > 16 {
		p.fault(where, "PS3.5 6.2", "Numeric Value "+strconv.Quote(it.decimal)+" is not a decimal string of at most 16 characters")
		return
	}
	it.number = x
	if s[0].has(tag.FloatingPointValue) {
		v := s[0].floats(tag.FloatingPointValue)
		if len(v) != 1 {
			p.fault(where, "PS3.3 C.18.1", "Floating Point Value needs one value")
			return
		}
		if decimalString(v[0]) != it.decimal {
			p.fault(where, "PS3.3 C.18.1", fmt.Sprintf("Floating Point Value %g and Numeric Value %s differ", v[0], it.decimal))
		}
		it.number = v[0]
	}
}

func (p *parser) coordinates(a attributes, it *item, where string) {
	it.graphic = a.text(tag.GraphicType)
	data := a.floats(tag.GraphicData)
	if len(data)%2 != 0 || len(data) == 0 || len(data) > 2*maxPointsMark+2 {
		p.fault(where, "PS3.3 C.18.6", fmt.Sprintf("%d coordinates are not pairs of column and row", len(data)))
		return
	}
	for i := 0; i < len(data); i += 2 {
		it.points = append(it.points, r2.Vec{X: data[i], Y: data[i+1]})
	}
	if it.graphic == "POINT" && len(it.points) != 1 || it.graphic == "POLYLINE" && len(it.points) < 2 ||
		it.graphic != "POINT" && it.graphic != "POLYLINE" {
		p.fault(where, "PS3.3 C.18.6.1.2", fmt.Sprintf("graphic type %q with %d points", it.graphic, len(it.points)))
	}
}

func (p *parser) reference(a attributes, it *item, where string) {
	s := a.sequence(tag.ReferencedSOPSequence)
	if len(s) != 1 {
		p.fault(where, "PS3.3 C.18.4", "image reference has no Referenced SOP Sequence of one item")
		return
	}
	it.ref.class, it.ref.instance = s[0].text(tag.ReferencedSOPClassUID), s[0].text(tag.ReferencedSOPInstanceUID)
	if !validUID(it.ref.class) || !validUID(it.ref.instance) {
		p.fault(where, "PS3.3 10.8", "image reference lacks the UIDs of class and instance")
	}
	for _, f := range s[0].texts(tag.ReferencedFrameNumber) {
		n, err := strconv.Atoi(f)
		if err != nil || n < 1 {
			p.fault(where, "PS3.3 10.3", "Referenced Frame Number "+strconv.Quote(f)+" is not a frame number from 1")
			continue
		}
		it.ref.frames = append(it.ref.frames, n)
	}
}
