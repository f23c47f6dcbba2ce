package sidecar

import (
	"math"
	"strconv"
	"time"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"
	"gonum.org/v1/gonum/spatial/r2"
)

// Relationship types (PS3.3 table C.17.3-8).
const (
	contains     = "CONTAINS"
	hasContext   = "HAS OBS CONTEXT"
	hasAcquired  = "HAS ACQ CONTEXT"
	hasModifier  = "HAS CONCEPT MOD"
	hasProperty  = "HAS PROPERTIES"
	inferredFrom = "INFERRED FROM"
	selectedFrom = "SELECTED FROM"
)

// Value types (PS3.3 table C.17.3-7) that the report uses.
const (
	typeContainer = "CONTAINER"
	typeText      = "TEXT"
	typeCode      = "CODE"
	typeNum       = "NUM"
	typeName      = "PNAME"
	typeDateTime  = "DATETIME"
	typeUID       = "UIDREF"
	typeCoord     = "SCOORD"
	typeImage     = "IMAGE"
)

// item is one content item (PS3.3 C.17.3). Which fields count depends on its
// value type.
type item struct {
	relation string // to its parent; empty for the root
	kind     string // value type
	concept  code   // concept name; zero where it has none
	observed string // Observation DateTime (0040,A032); empty: as the parent's
	template string // TID of a container

	text    string  // TEXT, PNAME, DATETIME, UIDREF
	value   code    // CODE
	number  float64 // NUM
	decimal string  // NUM: Numeric Value as it stands in the data set
	unit    code    // NUM
	graphic string  // SCOORD: POINT or POLYLINE
	points  []r2.Vec
	ref     reference // IMAGE

	children []item
}

// reference names frames of an instance; no frames: the whole instance.
type reference struct {
	class, instance string
	frames          []int
}

// decimalString writes x as a DS value: at most 16 characters (PS3.5 6.2).
// Where that cannot hold x exactly it holds as many digits as fit.
func decimalString(x float64) string {
	s := strconv.FormatFloat(x, 'g', -1, 64)
	for digits := 16; len(s) > 16; digits-- {
		s = strconv.FormatFloat(x, 'g', digits, 64)
	}
	return s
}

// inDecimals is x to 10 significant digits, and in any case to as many as a DS
// value holds.
func inDecimals(x float64) float64 {
	for _, s := range []string{strconv.FormatFloat(x, 'g', 10, 64), decimalString(x)} {
		if y, err := strconv.ParseFloat(s, 64); err == nil && len(s) <= 16 {
			return y
		}
	}
	return x
}

// dateTime writes t as a DT value (PS3.5 6.2) to the microsecond: local time
// with its offset from UTC, without one where the offset is zero, for DCMTK
// 3.6.7 takes +0000 for a fault. Offsets of seconds, which DT cannot hold, are
// written in UTC.
func dateTime(t time.Time) string {
	_, off := t.Zone()
	if off%60 != 0 {
		t, off = t.UTC(), 0
	}
	if off == 0 {
		return t.Format(dateTimeUTC)
	}
	return t.Format(dateTimeLocal)
}

const (
	dateTimeUTC   = "20060102150405.000000"
	dateTimeLocal = dateTimeUTC + "-0700"
)

func readDateTime(s string) (time.Time, error) {
	if len(s) == len(dateTimeUTC) {
		return time.Parse(dateTimeUTC, s)
	}
	t, err := time.Parse(dateTimeLocal, s)
	if err != nil {
		return time.Time{}, err
	}
	_, off := t.Zone()
	return t.In(time.FixedZone("", off)), nil
}

// element makes a DICOM element. The VR must be that of the dictionary (PS3.6).
func element(t tag.Tag, vr string, data any) *dicom.Element {
	value, err := dicom.NewValue(data)
	if err != nil {
		panic(err) // a type this package never passes
	}
	return &dicom.Element{Tag: t, ValueRepresentation: tag.GetVRKind(t, vr), RawValueRepresentation: vr, Value: value}
}

func texts(t tag.Tag, vr string, s ...string) *dicom.Element { return element(t, vr, s) }

func sequence(t tag.Tag, items ...[]*dicom.Element) *dicom.Element { return element(t, "SQ", items) }

func (c code) elements() []*dicom.Element {
	return []*dicom.Element{
		texts(tag.CodeValue, "SH", c.value),
		texts(tag.CodingSchemeDesignator, "SH", c.scheme),
		texts(tag.CodeMeaning, "LO", c.meaning),
	}
}

// elements writes the item by the SR Document Content Module (PS3.3 C.17.3)
// and the content macros (C.18).
func (it item) elements() []*dicom.Element {
	var es []*dicom.Element
	if it.relation != "" {
		es = append(es, texts(tag.RelationshipType, "CS", it.relation))
	}
	es = append(es, texts(tag.ValueType, "CS", it.kind))
	if it.concept != (code{}) {
		es = append(es, sequence(tag.ConceptNameCodeSequence, it.concept.elements()))
	}
	if it.observed != "" {
		es = append(es, texts(tag.ObservationDateTime, "DT", it.observed))
	}
	switch it.kind {
	case typeContainer:
		es = append(es, texts(tag.ContinuityOfContent, "CS", "SEPARATE"))
		if it.template != "" {
			es = append(es, sequence(tag.ContentTemplateSequence, []*dicom.Element{
				texts(tag.MappingResource, "CS", "DCMR"),
				texts(tag.TemplateIdentifier, "CS", it.template),
			}))
		}
	case typeText:
		es = append(es, texts(tag.TextValue, "UT", it.text))
	case typeName:
		es = append(es, texts(tag.PersonName, "PN", it.text))
	case typeDateTime:
		es = append(es, texts(tag.DateTime, "DT", it.text))
	case typeUID:
		es = append(es, texts(tag.UID, "UI", it.text))
	case typeCode:
		es = append(es, sequence(tag.ConceptCodeSequence, it.value.elements()))
	case typeNum:
		value := []*dicom.Element{sequence(tag.MeasurementUnitsCodeSequence, it.unit.elements())}
		text := decimalString(it.number)
		value = append(value, texts(tag.NumericValue, "DS", text))
		// C.18.1: required where the decimal string lacks precision.
		if exact, err := strconv.ParseFloat(text, 64); err != nil || math.Float64bits(exact) != math.Float64bits(it.number) {
			value = append(value, element(tag.FloatingPointValue, "FD", []float64{it.number}))
		}
		es = append(es, sequence(tag.MeasuredValueSequence, value))
	case typeCoord:
		data := make([]float64, 0, 2*len(it.points))
		for _, p := range it.points {
			data = append(data, p.X, p.Y)
		}
		es = append(es, element(tag.GraphicData, "FL", data), texts(tag.GraphicType, "CS", it.graphic))
	case typeImage:
		es = append(es, sequence(tag.ReferencedSOPSequence, it.ref.elements()))
	}
	if len(it.children) > 0 {
		items := make([][]*dicom.Element, len(it.children))
		for i, c := range it.children {
			items[i] = c.elements()
		}
		es = append(es, sequence(tag.ContentSequence, items...))
	}
	return es
}

func (r reference) elements() []*dicom.Element {
	es := []*dicom.Element{
		texts(tag.ReferencedSOPClassUID, "UI", r.class),
		texts(tag.ReferencedSOPInstanceUID, "UI", r.instance),
	}
	if len(r.frames) > 0 {
		frames := make([]string, len(r.frames))
		for i, f := range r.frames {
			frames[i] = strconv.Itoa(f)
		}
		es = append(es, texts(tag.ReferencedFrameNumber, "IS", frames...))
	}
	return es
}
