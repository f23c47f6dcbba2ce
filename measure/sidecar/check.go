package sidecar

import (
	"fmt"
	"slices"
	"strings"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging/dicomfile"
)

// Check reads a report in DICOM JSON and lists what breaks the Comprehensive SR
// IOD (PS3.3 A.35.3) or, row by row, TID 1500 and the templates it includes
// (PS3.16): 1001 to 1003, 1204, 300, 310, 320, 1501, 1600 to 1602. It also holds
// the report to rules of our own: private codes declared, units of UCUM,
// coverage beside every uncertainty, laterality only while the side is
// confirmed. Nothing is listed for a report that Encode wrote.
func Check(doc []byte) []Violation {
	var c checker
	ds, err := dicomfile.DecodeJSON(doc)
	if err != nil {
		c.say("document", "PS3.18 F.2", err.Error())
		return c.found
	}
	a := attributesOf(ds.Elements)
	c.modules(a)
	p := parser{fault: c.say}
	root := p.item(a, "", 0)
	c.sizes(root)
	c.report(root)
	c.walk(root, "", nil)
	return c.found
}

type checker struct {
	found []Violation
	// evidence is the class of each instance in the evidence sequence.
	evidence map[string]string
	// size is what the image library says of an instance.
	size map[string]imageSize
	// declared coding schemes.
	declared map[string]bool
}

type imageSize struct{ columns, rows, frames float64 }

func (c *checker) say(where, rule, what string) {
	c.found = append(c.found, Violation{Where: where, Rule: rule, What: what})
}

// modules checks the attributes outside the content tree by the modules of
// PS3.3 table A.35.3-1: type 1 present with a value, type 2 present.
func (c *checker) modules(a attributes) {
	for _, m := range []struct {
		t    tag.Tag
		name string
		rule string
		want string // the one value allowed; empty: any; "2": may be empty
	}{
		{tag.SOPClassUID, "SOP Class UID", "PS3.3 C.12.1", comprehensiveSR},
		{tag.SOPInstanceUID, "SOP Instance UID", "PS3.3 C.12.1", ""},
		{tag.SpecificCharacterSet, "Specific Character Set", "PS3.3 C.12.1", "ISO_IR 192"},
		{tag.PatientName, "Patient's Name", "PS3.3 C.7.1.1", "2"},
		{tag.PatientID, "Patient ID", "PS3.3 C.7.1.1", "2"},
		{tag.PatientBirthDate, "Patient's Birth Date", "PS3.3 C.7.1.1", "2"},
		{tag.PatientSex, "Patient's Sex", "PS3.3 C.7.1.1", "2"},
		{tag.StudyInstanceUID, "Study Instance UID", "PS3.3 C.7.2.1", ""},
		{tag.StudyDate, "Study Date", "PS3.3 C.7.2.1", "2"},
		{tag.StudyTime, "Study Time", "PS3.3 C.7.2.1", "2"},
		{tag.ReferringPhysicianName, "Referring Physician's Name", "PS3.3 C.7.2.1", "2"},
		{tag.StudyID, "Study ID", "PS3.3 C.7.2.1", "2"},
		{tag.AccessionNumber, "Accession Number", "PS3.3 C.7.2.1", "2"},
		{tag.Modality, "Modality", "PS3.3 C.17.1", "SR"},
		{tag.SeriesInstanceUID, "Series Instance UID", "PS3.3 C.17.1", ""},
		{tag.SeriesNumber, "Series Number", "PS3.3 C.17.1", ""},
		{tag.ReferencedPerformedProcedureStepSequence, "Referenced Performed Procedure Step Sequence", "PS3.3 C.17.1", "2"},
		{tag.Manufacturer, "Manufacturer", "PS3.3 C.7.5.1", "2"},
		{tag.InstanceNumber, "Instance Number", "PS3.3 C.17.2", ""},
		{tag.CompletionFlag, "Completion Flag", "PS3.3 C.17.2", "PARTIAL"},
		{tag.VerificationFlag, "Verification Flag", "PS3.3 C.17.2", "UNVERIFIED"},
		{tag.ContentDate, "Content Date", "PS3.3 C.17.2", ""},
		{tag.ContentTime, "Content Time", "PS3.3 C.17.2", ""},
		{tag.PerformedProcedureCodeSequence, "Performed Procedure Code Sequence", "PS3.3 C.17.2", "2"},
	} {
		switch got := a.text(m.t); {
		case !a.has(m.t):
			c.say(m.name, m.rule, "is missing")
		case m.want == "2":
		case got == "":
			c.say(m.name, m.rule, "has no value")
		case m.want != "" && got != m.want:
			c.say(m.name, m.rule, fmt.Sprintf("is %q, not %q", got, m.want))
		}
	}
	for _, t := range []tag.Tag{tag.SOPInstanceUID, tag.StudyInstanceUID, tag.SeriesInstanceUID} {
		if uid := a.text(t); uid != "" && !validUID(uid) {
			c.say(t.String(), "PS3.5 9.1", fmt.Sprintf("%q is not a UID", uid))
		}
	}
	c.declared = map[string]bool{}
	for _, s := range a.sequence(tag.CodingSchemeIdentificationSequence) {
		if s.text(tag.CodingSchemeDesignator) != "" && validUID(s.text(tag.CodingSchemeUID)) {
			c.declared[s.text(tag.CodingSchemeDesignator)] = true
		}
	}
	c.references(a)
}

// references checks the hierarchies of evidence and predecessors (PS3.3 C.17.2).
func (c *checker) references(a attributes) {
	c.evidence = map[string]string{}
	read := func(t tag.Tag, name string, each func(class, instance string)) {
		for _, study := range a.sequence(t) {
			if !validUID(study.text(tag.StudyInstanceUID)) || len(study.sequence(tag.ReferencedSeriesSequence)) == 0 {
				c.say(name, "PS3.3 table C.17-3", "needs a Study Instance UID and its series")
			}
			for _, series := range study.sequence(tag.ReferencedSeriesSequence) {
				if !validUID(series.text(tag.SeriesInstanceUID)) {
					c.say(name, "PS3.3 table C.17-3", "needs a Series Instance UID")
				}
				for _, sop := range series.sequence(tag.ReferencedSOPSequence) {
					each(sop.text(tag.ReferencedSOPClassUID), sop.text(tag.ReferencedSOPInstanceUID))
				}
			}
		}
	}
	read(tag.CurrentRequestedProcedureEvidenceSequence, "evidence", func(class, instance string) {
		c.evidence[instance] = class
	})
	if len(c.evidence) == 0 {
		c.say("evidence", "PS3.3 C.17.2", "Current Requested Procedure Evidence Sequence names no image")
	}
	read(tag.PredecessorDocumentsSequence, "predecessors", func(class, instance string) {
		if class != comprehensiveSR || !validUID(instance) || instance == a.text(tag.SOPInstanceUID) {
			c.say("predecessors", "PS3.3 C.17.2", fmt.Sprintf("%q of class %q cannot be a predecessor", instance, class))
		}
	})
}

// sizes notes rows, columns and frames of the image library's entries.
func (c *checker) sizes(root item) {
	c.size = map[string]imageSize{}
	for _, library := range root.children {
		for _, group := range library.children {
			for _, entry := range group.children {
				if !library.concept.is(imageLibrary) || entry.kind != typeImage {
					continue
				}
				var s imageSize
				for _, it := range entry.children {
					switch {
					case it.concept.is(pixelDataColumns):
						s.columns = it.number
					case it.concept.is(pixelDataRows):
						s.rows = it.number
					case it.concept.is(imageFrames):
						s.frames = it.number
					}
				}
				c.size[entry.ref.instance] = s
			}
		}
	}
}

// allowed lists, for source, relationship and target, what the Comprehensive SR
// IOD permits by value (PS3.3 table A.35.3-2), as far as the value types of this
// report go.
func allowed(source, relation, target string) bool {
	any := []string{typeText, typeCode, typeNum, typeDateTime, typeUID, typeName}
	all := append([]string{typeCoord, typeImage, typeContainer}, any...)
	from := func(kinds ...string) bool { return slices.Contains(kinds, source) }
	switch relation {
	case contains:
		return from(typeContainer) && slices.Contains(all, target)
	case hasContext:
		return from(typeContainer) && target == typeContainer ||
			from(typeText, typeCode, typeNum, typeContainer) && slices.Contains(any, target)
	case hasAcquired:
		return from(typeContainer, typeImage, typeNum) && (target == typeContainer || slices.Contains(any, target))
	case hasModifier:
		return target == typeText || target == typeCode
	case hasProperty:
		return from(typeText, typeCode, typeNum) && slices.Contains(all, target) ||
			from(typeName) && slices.Contains([]string{typeText, typeCode, typeDateTime, typeUID, typeName}, target)
	case inferredFrom:
		return from(typeText, typeCode, typeNum) && slices.Contains(all, target)
	case selectedFrom:
		return from(typeCoord) && target == typeImage
	}
	return false
}

// walk checks what holds for every content item, wherever it stands.
func (c *checker) walk(it item, where string, parent *item) {
	name := it.concept.meaning
	if name == "" {
		name = it.kind
	}
	where += "/" + name
	if parent != nil && !allowed(parent.kind, it.relation, it.kind) {
		c.say(where, "PS3.3 table A.35.3-2", fmt.Sprintf("%s %s %s is not allowed", parent.kind, it.relation, it.kind))
	}
	if it.concept == (code{}) && it.kind != typeCoord && it.kind != typeImage {
		c.say(where, "PS3.3 C.17.3", it.kind+" item has no concept name")
	}
	for _, k := range []code{it.concept, it.value, it.unit} {
		if strings.HasPrefix(k.scheme, "99") && !c.declared[k.scheme] {
			c.say(where, "PS3.3 C.12.1.1.1", "coding scheme "+k.scheme+" of "+k.String()+" is not declared")
		}
		if k.scheme == ownScheme && !slices.Contains(ownCodes[k.value], k) {
			c.say(where, "scheme "+ownScheme, k.String()+" is not one of its codes")
		}
	}
	if it.observed != "" {
		if _, err := readDateTime(it.observed); err != nil {
			c.say(where, "PS3.5 6.2", "Observation DateTime "+it.observed+" is not a time with its offset")
		}
	}
	c.relations(it, where, parent)
	switch it.kind {
	case typeNum:
		c.number(it, where, parent)
	case typeImage:
		c.image(it, where)
	case typeCoord:
		c.coordinates(it, where)
	}
	for i := range it.children {
		c.walk(it.children[i], where, &it)
	}
}

// image: every reference is in the evidence, of the same class, and its frames exist.
func (c *checker) image(it item, where string) {
	class, ok := c.evidence[it.ref.instance]
	switch {
	case !ok:
		c.say(where, "PS3.3 C.17.2.3", "image "+it.ref.instance+" is not in the evidence")
	case class != it.ref.class:
		c.say(where, "PS3.3 C.17.2.3", "image "+it.ref.instance+" is of class "+class+" in the evidence, of "+it.ref.class+" here")
	}
	size, ok := c.size[it.ref.instance]
	if !ok {
		c.say(where, "TID 1600", "image "+it.ref.instance+" is not in the image library")
		return
	}
	for _, f := range it.ref.frames {
		if float64(f) > max(size.frames, 1) {
			c.say(where, "PS3.3 table 10-3", fmt.Sprintf("frame %d of %g", f, max(size.frames, 1)))
		}
	}
}

// coordinates: TID 320 rows 3 and 4; SR coordinates lie within the image
// (PS3.3 table C.18.6-1).
func (c *checker) coordinates(it item, where string) {
	var images []item
	for _, k := range it.children {
		if k.relation == selectedFrom && k.kind == typeImage {
			images = append(images, k)
		}
	}
	if len(images) != 1 {
		c.say(where, "TID 320 row 4", fmt.Sprintf("coordinates are selected from %d images, not from one", len(images)))
		return
	}
	size := c.size[images[0].ref.instance]
	for i, p := range it.points {
		if !(p.X >= 0 && p.Y >= 0 && p.X <= size.columns && p.Y <= size.rows) {
			c.say(where, "PS3.3 table C.18.6-1", fmt.Sprintf("point %d at %g, %g lies outside the image of %g columns and %g rows", i, p.X, p.Y, size.columns, size.rows))
		}
	}
}
