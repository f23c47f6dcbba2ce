package dicomfile

import (
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
)

// enhanced are the classes of kinds whose geometry, window and frame content
// stand in functional groups (PS3.3 A.47, A.48).
var enhanced = map[string]bool{
	"1.2.840.10008.5.1.4.1.1.12.1.1": true,
	"1.2.840.10008.5.1.4.1.1.12.2.1": true,
}

// macros are the functional groups that are read: the sequence, and which
// attributes of its one item count.
var macros = []struct {
	sequence tag.Tag
	holds    []tag.Tag
}{
	{tag.FrameContentSequence, []tag.Tag{tag.FrameReferenceDateTime, tag.FrameAcquisitionDateTime}}, // PS3.3 C.7.6.16.2.2
	{tag.FrameAnatomySequence, []tag.Tag{tag.FrameLaterality, tag.AnatomicRegionSequence}},          // C.7.6.16.2.8
	{tag.PixelValueTransformationSequence, []tag.Tag{tag.RescaleSlope, tag.RescaleIntercept}},       // C.7.6.16.2.9
	{tag.FrameVOILUTSequence, []tag.Tag{tag.WindowCenter, tag.WindowWidth,
		tag.WindowCenterWidthExplanation, tag.VOILUTFunction}}, // C.7.6.16.2.10
	{tag.PatientOrientationInFrameSequence, []tag.Tag{tag.PatientOrientation}},                            // C.7.6.16.2.15
	{tag.FieldOfViewSequence, []tag.Tag{tag.FieldOfViewRotation, tag.FieldOfViewHorizontalFlip}},          // C.8.19.6.2
	{tag.FramePixelDataPropertiesSequence, []tag.Tag{tag.ImagerPixelSpacing}},                             // C.8.19.6.4
	{tag.PositionerPositionSequence, []tag.Tag{tag.PositionerPrimaryAngle, tag.PositionerSecondaryAngle}}, // C.8.19.6.10
	{tag.XRayGeometrySequence, []tag.Tag{tag.DistanceSourceToIsocenter, tag.DistanceSourceToDetector}},    // C.8.19.6.14
	{tag.ProjectionPixelCalibrationSequence, []tag.Tag{tag.DistanceObjectToTableTop,
		tag.ObjectPixelSpacingInCenterOfBeam, tag.TableHeight, tag.BeamAngle}}, // C.8.19.6.9
}

// ofFrames are the attributes that may stand for a frame; outside the groups
// they are read too, for the writers that put them there.
var ofFrames = func() map[tag.Tag]bool {
	m := map[tag.Tag]bool{
		tag.PixelSpacing: true, tag.PixelSpacingCalibrationType: true, tag.PixelAspectRatio: true,
		tag.PatientPosition: true, tag.ViewPosition: true, tag.ViewCodeSequence: true,
	}
	for _, g := range macros {
		for _, t := range g.holds {
			m[t] = true
		}
	}
	return m
}()

// each reads the functional groups of an enhanced object: for each frame its
// own group's attributes, else the shared ones, else those outside the groups.
// The header then takes the first frame's for its own.
func (d *dataset) each(h *imaging.Header, kind imaging.Kind) {
	shared := elements{}
	for t, e := range d.elements {
		if ofFrames[t] {
			shared[t] = e
		}
	}
	if items := d.elements[tag.SharedFunctionalGroupsSequence].items; len(items) > 0 {
		gather(shared, items[0])
	}
	position := d.tablePosition()
	frames := d.elements[tag.PerFrameFunctionalGroupsSequence].items
	if len(frames) != h.Frames {
		d.note(tag.PerFrameFunctionalGroupsSequence, "%d items for %d frames; what varies from frame to frame is taken as not given", len(frames), h.Frames)
		frames = nil
	}
	h.Each = make([]imaging.FrameAttributes, h.Frames)
	said := map[string]bool{}
	for i := range h.Each {
		if i > 0 && frames == nil {
			h.Each[i] = h.Each[0]
			continue
		}
		own := shared
		if frames != nil {
			own = maps.Clone(shared)
			gather(own, frames[i])
		}
		f := &dataset{elements: own, order: d.order, text: d.text}
		h.Each[i] = f.frame(h, kind)
		if h.Each[i].Geometry.PatientPosition == "" {
			h.Each[i].Geometry.PatientPosition = position
		}
		for _, n := range f.notes {
			if !said[n] {
				said[n] = true
				d.notes = append(d.notes, n)
			}
		}
	}
	first := h.Each[0]
	h.Base, h.Windows = first.Geometry, first.Windows
	h.RescaleSlope, h.RescaleIntercept = first.RescaleSlope, first.RescaleIntercept
	if turn := h.Turning(1, h.Frames); turn > imaging.TurningMost {
		d.note(tag.PositionerPositionSequence, "the beam turns by %.3g degrees within the run; each frame has its own angles", turn)
	}
}

// gather lays the attributes of a group's macros over those that are there.
func gather(into, group elements) {
	for _, g := range macros {
		items := group[g.sequence].items
		if len(items) == 0 {
			continue
		}
		for _, t := range g.holds {
			if e, ok := items[0][t]; ok {
				into[t] = e
			}
		}
	}
}

// frame reads the gathered attributes of one frame.
func (d *dataset) frame(h *imaging.Header, kind imaging.Kind) imaging.FrameAttributes {
	a := imaging.FrameAttributes{Geometry: d.beam(h, kind), Windows: d.windows()}
	a.RescaleSlope, a.RescaleIntercept = d.rescale()
	a.Laterality = d.oneOf(tag.FrameLaterality, "R", "L", "U", "B")
	a.Anatomy = d.coded(tag.AnatomicRegionSequence).Meaning
	for _, t := range []tag.Tag{tag.FrameReferenceDateTime, tag.FrameAcquisitionDateTime} {
		if a.Time = d.moment(t); !a.Time.IsZero() {
			break
		}
	}
	return a
}

// moment is a date and time (DT, PS3.5 6.2) to the second at least; its offset
// from UTC is left out, for moments of one object are compared only with each
// other.
func (d *dataset) moment(t tag.Tag) time.Time {
	s := d.code(t)
	if s == "" {
		return time.Time{}
	}
	plain := s
	if i := strings.IndexAny(s, "+-"); i >= 0 {
		plain = s[:i]
	}
	whole, fraction, _ := strings.Cut(plain, ".")
	layout := "20060102150405"
	if fraction != "" {
		layout, whole = layout+".000000", whole+"."+(fraction + "000000")[:6]
	}
	at, err := time.Parse(layout, whole)
	if err != nil {
		d.note(t, "%q is not a date and time; taken as not given", shorten(s))
	}
	return at
}

// tablePosition is the patient's position in the letters of Patient Position
// (0018,5100) by the codes that enhanced objects carry instead (PS3.3
// C.8.4.6, CID 20 and 21): empty unless both are there and plain.
func (d *dataset) tablePosition() string {
	item := func(of elements, t tag.Tag) elements {
		if items := of[t].items; len(items) == 1 {
			return items[0]
		}
		return nil
	}
	code := func(of elements) string {
		return (&dataset{elements: of, order: d.order}).code(tag.CodeValue)
	}
	// SNOMED CT, and the same codes as objects before 2019 have them (SRT).
	lies := map[string]string{
		"40199007": "S", "F-10340": "S", "1240000": "P", "F-10310": "P",
		"102535000": "DR", "F-10317": "DR", "102536004": "DL", "F-10319": "DL",
	}
	end := map[string]string{"102540008": "HF", "F-10470": "HF", "102541007": "FF", "F-10480": "FF"}
	first := end[code(item(d.elements, tag.PatientGantryRelationshipCodeSequence))]
	how := lies[code(item(item(d.elements, tag.PatientOrientationCodeSequence), tag.PatientOrientationModifierCodeSequence))]
	if first == "" || how == "" {
		return ""
	}
	return first + how
}

// groupTags are what is kept of the functional groups beside inItems.
var groupTags = func() []tag.Tag {
	out := []tag.Tag{tag.CodeMeaning, tag.CodeValue, tag.PatientOrientationModifierCodeSequence}
	for _, g := range macros {
		out = append(append(out, g.sequence), g.holds...)
	}
	slices.SortFunc(out, func(a, b tag.Tag) int { return a.Compare(b) })
	return slices.Compact(out)
}()
