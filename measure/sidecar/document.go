package sidecar

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
)

const (
	comprehensiveSR = "1.2.840.10008.5.1.4.1.1.88.33"
	seriesNumber    = "9500" // above the numbers modalities give
)

// Encode gives the report as DICOM JSON. Equal reports give equal bytes.
//
// Of the images it keeps the UIDs, modality, size and number of frames, and
// once for all what the Patient and General Study modules hold. Of a film it
// leaves out File, Header and Geometry: they are the image's own.
//
// A report that was never saved (see Store), has no observer or image, refers
// to a frame that is not there, or holds something a structured report cannot,
// gives imaging.ErrBadInput naming it.
func Encode(r Report) ([]byte, error) {
	ds, err := dataset(r)
	if err != nil {
		return nil, err
	}
	return dicomfile.EncodeJSON(ds)
}

func dataset(r Report) (dicom.Dataset, error) {
	var none dicom.Dataset
	bad := func(format string, args ...any) (dicom.Dataset, error) {
		return none, fmt.Errorf("%w: report: "+format, append([]any{imaging.ErrBadInput}, args...)...)
	}
	switch {
	case len(r.Images) == 0:
		return bad("has no image")
	case strings.TrimSpace(r.Book.Observer) == "":
		return bad("does not say who marked; name the observer")
	case !validUID(r.SOPInstance) || r.Changed.IsZero():
		return bad("was never saved")
	case r.Revision < 0 || r.Issued < 0 || r.Issued > r.Revision:
		return bad("revision %d, issued %d", r.Revision, r.Issued)
	}
	b := builder{r: r, images: map[string]*imaging.Header{}}
	first := r.Images[0]
	for _, h := range r.Images {
		switch {
		case h.Study != first.Study || h.PatientID != first.PatientID:
			return bad("images %s and %s are of different patients or studies", nameOf(first), nameOf(h))
		case b.images[h.SOPInstance] != nil:
			return bad("image %s is there twice", nameOf(h))
		}
		for _, uid := range []string{h.SOPClass, h.SOPInstance, h.Series, h.Study} {
			if !validUID(uid) {
				return bad("image %s: %q is not a UID", nameOf(h), uid)
			}
		}
		b.images[h.SOPInstance] = h
	}
	for _, uid := range r.Predecessors {
		if !validUID(uid) {
			return bad("predecessor %q is not a UID", uid)
		}
	}
	content := b.tree()
	if b.err != nil {
		return none, fmt.Errorf("report: %w", b.err)
	}
	return dicom.Dataset{Elements: append(b.modules(), content.elements()...)}, nil
}

// modules are the attributes outside the content tree (PS3.3 table A.35.3-1).
func (b *builder) modules() []*dicom.Element {
	h, r := b.r.Images[0], b.r
	series := b.derived("series")
	es := []*dicom.Element{
		// Patient (C.7.1.1), General Study (C.7.2.1): as the images have them.
		optional(tag.PatientName, "PN", h.PatientName),
		optional(tag.PatientID, "LO", h.PatientID),
		optional(tag.PatientBirthDate, "DA", date(h.PatientBirthDate)),
		optional(tag.PatientSex, "CS", sex(h.PatientSex)),
		texts(tag.StudyInstanceUID, "UI", h.Study),
		optional(tag.StudyDate, "DA", date(h.StudyDate)),
		optional(tag.StudyTime, "TM", timeOfDay(h.StudyTime)),
		optional(tag.ReferringPhysicianName, "PN", h.ReferringName),
		optional(tag.StudyID, "SH", h.StudyID),
		optional(tag.AccessionNumber, "SH", h.AccessionNumber),
		// SR Document Series (C.17.1).
		texts(tag.Modality, "CS", "SR"),
		texts(tag.SeriesInstanceUID, "UI", series),
		texts(tag.SeriesNumber, "IS", seriesNumber),
		texts(tag.SeriesDescription, "LO", "Leadline measurement report"),
		sequence(tag.ReferencedPerformedProcedureStepSequence),
		// General Equipment (C.7.5.1).
		texts(tag.Manufacturer, "LO", "Leadline"),
		// SR Document General (C.17.2).
		texts(tag.InstanceNumber, "IS", strconv.Itoa(r.Revision)),
		texts(tag.CompletionFlag, "CS", "PARTIAL"),
		texts(tag.VerificationFlag, "CS", "UNVERIFIED"),
		texts(tag.ContentDate, "DA", r.Changed.Format("20060102")),
		texts(tag.ContentTime, "TM", r.Changed.Format("150405.000000")),
		sequence(tag.PerformedProcedureCodeSequence),
		b.evidence(),
		// SOP Common (C.12.1).
		texts(tag.SpecificCharacterSet, "CS", "ISO_IR 192"),
		texts(tag.SOPClassUID, "UI", comprehensiveSR),
		texts(tag.SOPInstanceUID, "UI", r.SOPInstance),
		sequence(tag.CodingSchemeIdentificationSequence, []*dicom.Element{
			texts(tag.CodingSchemeDesignator, "SH", ownScheme),
			texts(tag.CodingSchemeUID, "UI", ownSchemeUID),
			texts(tag.CodingSchemeName, "ST", ownSchemeName),
			texts(tag.CodingSchemeResponsibleOrganization, "ST", ownSchemeOrg),
		}),
	}
	if s := clean(h.StudyDescription); s != "" {
		es = append(es, texts(tag.StudyDescription, "LO", s))
	}
	if len(r.Predecessors) > 0 {
		refs := make([][]*dicom.Element, len(r.Predecessors))
		for i, uid := range r.Predecessors {
			refs[i] = reference{class: comprehensiveSR, instance: uid}.elements()
		}
		es = append(es, sequence(tag.PredecessorDocumentsSequence, hierarchy(h.Study, []string{series}, map[string][][]*dicom.Element{series: refs})))
	}
	return es
}

// evidence refers to every image of the case (PS3.3 C.17.2.3), by series.
func (b *builder) evidence() *dicom.Element {
	var order []string
	bySeries := map[string][][]*dicom.Element{}
	for _, h := range b.r.Images {
		if bySeries[h.Series] == nil {
			order = append(order, h.Series)
		}
		bySeries[h.Series] = append(bySeries[h.Series], reference{class: h.SOPClass, instance: h.SOPInstance}.elements())
	}
	return sequence(tag.CurrentRequestedProcedureEvidenceSequence, hierarchy(b.study(), order, bySeries))
}

// hierarchy is the Hierarchical SOP Instance Reference Macro (PS3.3 table C.17-3).
func hierarchy(study string, order []string, bySeries map[string][][]*dicom.Element) []*dicom.Element {
	var series [][]*dicom.Element
	for _, uid := range order {
		series = append(series, []*dicom.Element{
			sequence(tag.ReferencedSOPSequence, bySeries[uid]...),
			texts(tag.SeriesInstanceUID, "UI", uid),
		})
	}
	return []*dicom.Element{
		sequence(tag.ReferencedSeriesSequence, series...),
		texts(tag.StudyInstanceUID, "UI", study),
	}
}

// optional is a type 2 attribute: there, but empty where nothing is known.
func optional(t tag.Tag, vr, s string) *dicom.Element {
	if s = clean(s); s == "" {
		return texts(t, vr)
	}
	return texts(t, vr, s)
}

// clean makes text copied from an image's header fit for one value: without
// control characters and without the backslash that separates values.
func clean(s string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if r < 0x20 || r >= 0x7f && r <= 0x9f || r == '\\' {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, " ")))
}

// date is s where it is a DA value, else empty.
func date(s string) string {
	if len(s) == 8 && strings.Trim(s, "0123456789") == "" {
		return s
	}
	return ""
}

// timeOfDay is s where it is a TM value, else empty.
func timeOfDay(s string) string {
	whole, fraction, dot := strings.Cut(s, ".")
	digits := func(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }
	if !digits(whole) || len(whole) > 6 || len(whole)%2 != 0 || dot && (len(whole) != 6 || !digits(fraction) || len(fraction) > 6) {
		return ""
	}
	return s
}

// sex is s where it is one of the enumerated values of C.7.1.1, else empty.
func sex(s string) string {
	if s == "M" || s == "F" || s == "O" {
		return s
	}
	return ""
}

// Decode reads a report from DICOM JSON. Its films have no Geometry, and their
// headers hold what the report keeps of an image (see Encode); Load completes
// both from the images themselves.
//
// What is not a report of this program, or holds something Encode would not
// write again, gives imaging.ErrBadInput: nothing is dropped in silence.
func Decode(doc []byte) (Report, error) {
	ds, err := dicomfile.DecodeJSON(doc)
	if err != nil {
		return Report{}, err
	}
	r, err := readDataset(ds)
	if err != nil {
		return Report{}, err
	}
	again, err := Encode(r)
	if err != nil {
		return Report{}, err
	}
	given, err := dicomfile.EncodeJSON(ds)
	if err != nil {
		return Report{}, err
	}
	if !bytes.Equal(given, again) {
		return Report{}, fmt.Errorf("%w: the report holds something this program would not keep; was it changed by hand, or written by a newer version?", imaging.ErrBadInput)
	}
	return r, nil
}

func readDataset(ds dicom.Dataset) (Report, error) {
	a := attributesOf(ds.Elements)
	bad := func(format string, args ...any) (Report, error) {
		return Report{}, fmt.Errorf("%w: "+format, append([]any{imaging.ErrBadInput}, args...)...)
	}
	if class := a.text(tag.SOPClassUID); class != comprehensiveSR {
		return bad("not a Comprehensive SR document: SOP Class UID %q", class)
	}
	var fault error
	p := parser{fault: func(where, rule, what string) {
		if fault == nil {
			fault = fmt.Errorf("%w: %s: %s (%s)", imaging.ErrBadInput, where, what, rule)
		}
	}}
	root := p.item(a, "", 0)
	if fault != nil {
		return Report{}, fault
	}
	if !root.concept.is(documentTitle) || root.template != "1500" {
		return bad("not an Imaging Measurement Report by TID 1500")
	}
	r := Report{SOPInstance: a.text(tag.SOPInstanceUID)}
	revision, err := strconv.Atoi(a.text(tag.InstanceNumber))
	if err != nil {
		return bad("Instance Number %q is not a revision", a.text(tag.InstanceNumber))
	}
	r.Revision = revision
	for _, study := range a.sequence(tag.PredecessorDocumentsSequence) {
		for _, series := range study.sequence(tag.ReferencedSeriesSequence) {
			for _, sop := range series.sequence(tag.ReferencedSOPSequence) {
				r.Predecessors = append(r.Predecessors, sop.text(tag.ReferencedSOPInstanceUID))
			}
		}
	}
	rd := reader{r: &r, images: map[string]*imaging.Header{}}
	rd.tree(root)
	if rd.err != nil {
		return Report{}, rd.err
	}
	readModules(a, &r, rd.images)
	return r, nil
}

// readModules completes the headers of the image library.
func readModules(a attributes, r *Report, images map[string]*imaging.Header) {
	for _, study := range a.sequence(tag.CurrentRequestedProcedureEvidenceSequence) {
		for _, series := range study.sequence(tag.ReferencedSeriesSequence) {
			for _, sop := range series.sequence(tag.ReferencedSOPSequence) {
				if h := images[sop.text(tag.ReferencedSOPInstanceUID)]; h != nil {
					h.Series = series.text(tag.SeriesInstanceUID)
				}
			}
		}
	}
	for _, h := range r.Images {
		h.PatientName = a.text(tag.PatientName)
		h.PatientID = a.text(tag.PatientID)
		h.PatientBirthDate = a.text(tag.PatientBirthDate)
		h.PatientSex = a.text(tag.PatientSex)
		h.Study = a.text(tag.StudyInstanceUID)
		h.StudyDate = a.text(tag.StudyDate)
		h.StudyTime = a.text(tag.StudyTime)
		h.ReferringName = a.text(tag.ReferringPhysicianName)
		h.StudyID = a.text(tag.StudyID)
		h.AccessionNumber = a.text(tag.AccessionNumber)
		h.StudyDescription = a.text(tag.StudyDescription)
	}
}
