package handout

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/sidecar"
)

// attribute is a tag with a value of the type its representation takes.
type attribute struct {
	tag   tag.Tag
	value any
}

func elements(all []attribute) ([]*dicom.Element, error) {
	var out []*dicom.Element
	for _, a := range all {
		if items, ok := a.value.([][]attribute); ok {
			nested := make([][]*dicom.Element, len(items))
			for i, item := range items {
				var err error
				if nested[i], err = elements(item); err != nil {
					return nil, err
				}
			}
			a.value = nested
		}
		e, err := dicom.NewElement(a.tag, a.value)
		if err != nil {
			return nil, fmt.Errorf("element %s: %w", a.tag, err)
		}
		out = append(out, e)
	}
	return out, nil
}

func dataset(all []attribute) (dicom.Dataset, error) {
	es, err := elements(all)
	return dicom.Dataset{Elements: es}, err
}

// SOP classes (PS3.4 table B.5-1).
const (
	stateClass   = "1.2.840.10008.5.1.4.1.1.11.1"
	captureClass = "1.2.840.10008.5.1.4.1.1.7"
	printedClass = "1.2.840.10008.5.1.4.1.1.104.1"
)

// kinds of object: the series of each is its own (PS3.3 C.7.3.1: one modality a
// series), its number above those that modalities give.
type kind struct{ class, modality, name, description, series string }

var (
	stateKind   = kind{stateClass, "PR", "state", "Leadline marks over the films", "9501"}
	captureKind = kind{captureClass, "OT", "capture", "Leadline annotated films", "9502"}
	printedKind = kind{printedClass, "DOC", "sheet", "Leadline placement sheet", "9503"}
)

func one(s string) []string {
	s = strings.TrimSpace(strings.Map(func(r rune) rune {
		if r < 0x20 || r >= 0x7f && r <= 0x9f || r == '\\' {
			return ' '
		}
		return r
	}, s))
	if s == "" {
		return []string{}
	}
	return []string{s}
}

func whole(v int) []string     { return []string{strconv.Itoa(v)} }
func decimal(v float64) string { return strconv.FormatFloat(v, 'g', 10, 64) }

// common are the modules that all objects share: Patient (PS3.3 C.7.1.1) and
// General Study (C.7.2.1) as the images have them, series, General Equipment
// (C.7.5.1) and SOP Common (C.12.1). number tells objects of a kind apart.
func common(r sidecar.Report, k kind, number int) []attribute {
	h := r.Images[0]
	out := []attribute{
		{tag.SpecificCharacterSet, one("ISO_IR 192")},
		{tag.SOPClassUID, one(k.class)},
		{tag.SOPInstanceUID, one(r.UIDOf(k.name, strconv.Itoa(number)))},
		{tag.PatientName, one(h.PatientName)},
		{tag.PatientID, one(h.PatientID)},
		{tag.PatientBirthDate, one(h.PatientBirthDate)},
		{tag.PatientSex, one(h.PatientSex)},
		{tag.StudyInstanceUID, one(h.Study)},
		{tag.StudyDate, one(h.StudyDate)},
		{tag.StudyTime, one(h.StudyTime)},
		{tag.ReferringPhysicianName, one(h.ReferringName)},
		{tag.StudyID, one(h.StudyID)},
		{tag.AccessionNumber, one(h.AccessionNumber)},
		{tag.Modality, one(k.modality)},
		{tag.SeriesInstanceUID, one(r.UIDOf(k.name, "series"))},
		{tag.SeriesNumber, one(k.series)},
		{tag.SeriesDescription, one(k.description)},
		{tag.Manufacturer, one("Leadline")},
		{tag.InstanceNumber, whole(number)},
	}
	if k != printedKind { // General Series (C.7.3.1): the sacrum is not paired
		out = append(out, attribute{tag.Laterality, []string{}})
	}
	return out
}

// reference to a film's instance, and its frames where it has more than one
// (PS3.3 table 10-3).
func reference(h *imaging.Header, of mark.FrameRef) []attribute {
	out := []attribute{{tag.ReferencedSOPClassUID, one(h.SOPClass)}, {tag.ReferencedSOPInstanceUID, one(h.SOPInstance)}}
	if h.Frames > 1 {
		var frames []string
		for n := of.First; n <= of.Last; n++ {
			frames = append(frames, strconv.Itoa(n))
		}
		out = append(out, attribute{tag.ReferencedFrameNumber, frames})
	}
	return out
}

// sources are the films that a document was made from.
func sources(films []Picture) [][]attribute {
	var out [][]attribute
	for _, f := range films {
		out = append(out, reference(f.Film.Film.Header, f.Film.Film.Ref))
	}
	return out
}

// version says which revision a thing was made of, for its description.
func version(r sidecar.Report) string {
	s := fmt.Sprintf("Marked by %s, revision %d", r.Book.Observer, r.Revision)
	if n := len(r.Predecessors); n > 0 {
		s += fmt.Sprintf(", issue %d", n+1)
	}
	return s
}
