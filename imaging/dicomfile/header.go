package dicomfile

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
)

// headerTags are the top-level elements that make up imaging.Header.
var headerTags = func() map[tag.Tag]bool {
	m := map[tag.Tag]bool{}
	for _, t := range []tag.Tag{
		tag.SpecificCharacterSet, tag.SOPClassUID, tag.SOPInstanceUID, tag.StudyInstanceUID, tag.SeriesInstanceUID,
		tag.FrameOfReferenceUID, tag.Modality, tag.PatientName, tag.PatientID, tag.PatientBirthDate, tag.PatientSex,
		tag.StudyDate, tag.StudyTime, tag.StudyID, tag.AccessionNumber, tag.StudyDescription, tag.SeriesDescription,
		tag.ReferringPhysicianName, tag.SeriesNumber, tag.InstanceNumber, tag.AcquisitionDateTime,
		tag.AcquisitionDate, tag.AcquisitionTime, tag.ContentDate, tag.ContentTime, tag.SeriesDate, tag.SeriesTime,
		tag.Manufacturer, tag.InstitutionName,
		tag.Columns, tag.Rows, tag.NumberOfFrames, tag.PhotometricInterpretation, tag.SamplesPerPixel,
		tag.BitsAllocated, tag.BitsStored, tag.HighBit, tag.PixelRepresentation,
		tag.PixelPaddingValue, tag.PixelPaddingRangeLimit,
		tag.RescaleSlope, tag.RescaleIntercept, tag.ModalityLUTSequence, tag.WindowCenter, tag.WindowWidth,
		tag.VOILUTFunction, tag.WindowCenterWidthExplanation, tag.VOILUTSequence, tag.PresentationLUTShape,
		tag.PixelIntensityRelationship,
		tag.FrameTime, tag.FrameTimeVector, tag.CineRate, tag.RecommendedDisplayFrameRate,
		tag.PixelSpacing, tag.ImagerPixelSpacing, tag.NominalScannedPixelSpacing, tag.PixelAspectRatio,
		tag.PixelSpacingCalibrationType, tag.EstimatedRadiographicMagnificationFactor,
		tag.DistanceSourceToDetector, tag.DistanceSourceToPatient,
		tag.PositionerPrimaryAngle, tag.PositionerSecondaryAngle,
		tag.PositionerPrimaryAngleIncrement, tag.PositionerSecondaryAngleIncrement,
		tag.FieldOfViewRotation, tag.FieldOfViewHorizontalFlip,
		tag.PatientOrientation, tag.PatientPosition, tag.ViewPosition, tag.ViewCodeSequence,
		tag.FrameIncrementPointer, tag.PlanarConfiguration,
		tag.RedPaletteColorLookupTableDescriptor, tag.RedPaletteColorLookupTableData, tag.SegmentedRedPaletteColorLookupTableData,
		tag.GreenPaletteColorLookupTableDescriptor, tag.GreenPaletteColorLookupTableData, tag.SegmentedGreenPaletteColorLookupTableData,
		tag.BluePaletteColorLookupTableDescriptor, tag.BluePaletteColorLookupTableData, tag.SegmentedBluePaletteColorLookupTableData,
		tag.SharedFunctionalGroupsSequence, tag.PerFrameFunctionalGroupsSequence,
		tag.PatientOrientationCodeSequence, tag.PatientGantryRelationshipCodeSequence,
		extendedOffsets, extendedLengths,
	} {
		m[t] = true
	}
	for t := range ofFrames {
		m[t] = true
	}
	return m
}()

// maxFrames is far above any run: an hour at thirty a second is 108,000.
const maxFrames = 1 << 20

// maxPixels of a frame: over five times the largest flat detector.
const maxPixels = 1 << 27

// header reads the elements into h. An error means that frames cannot be read
// or belong to no known kind; all else that is odd is noted.
func (d *dataset) header(h *imaging.Header) error {
	h.CharacterSet = d.codes(tag.SpecificCharacterSet)
	d.text = newText(h.CharacterSet)
	for _, u := range d.text.unknown {
		d.note(tag.SpecificCharacterSet, "%q is not known; text is read as Latin 1", shorten(u))
	}
	h.SOPClass, h.SOPInstance = d.code(tag.SOPClassUID), d.code(tag.SOPInstanceUID)
	kind, known := kinds[h.SOPClass]
	if !known {
		err := ErrOtherKind
		if h.SOPClass == "" {
			err = imaging.ErrUnsupported // it may be an X-ray image
		}
		return fmt.Errorf("%w (%s); what is read are X-ray angiographic and radiofluoroscopic, computed and digital radiography and secondary capture images",
			err, className(h.SOPClass))
	}
	if !validUID(h.SOPInstance) {
		return fmt.Errorf("%w: SOP Instance UID %q is not a UID, so marks could not refer to the image; export it again",
			imaging.ErrDamaged, shorten(h.SOPInstance))
	}
	h.Study, h.Series = d.code(tag.StudyInstanceUID), d.code(tag.SeriesInstanceUID)
	h.FrameOfReference = d.code(tag.FrameOfReferenceUID)

	h.Modality = d.code(tag.Modality)
	h.PatientName, h.PatientID = d.line(tag.PatientName), d.line(tag.PatientID)
	h.PatientBirthDate, h.PatientSex = d.code(tag.PatientBirthDate), d.code(tag.PatientSex)
	h.StudyID, h.AccessionNumber = d.line(tag.StudyID), d.line(tag.AccessionNumber)
	h.StudyDescription, h.SeriesDescription = d.line(tag.StudyDescription), d.line(tag.SeriesDescription)
	h.ReferringName = d.line(tag.ReferringPhysicianName)
	h.SeriesNumber, h.InstanceNumber = d.code(tag.SeriesNumber), d.code(tag.InstanceNumber)
	h.Manufacturer, h.Institution = d.line(tag.Manufacturer), d.line(tag.InstitutionName)
	d.times(h)
	if err := d.pixels(h); err != nil {
		return err
	}
	d.gray(h)
	d.run(h)
	if enhanced[h.SOPClass] {
		d.each(h, kind)
	} else {
		h.Base = d.beam(h, kind)
		d.increments(h)
	}
	return nil
}

// times fills the acquisition's date and time from the first pair that has
// both, or else the first date.
func (d *dataset) times(h *imaging.Header) {
	h.StudyDate, h.StudyTime = d.code(tag.StudyDate), d.code(tag.StudyTime)
	var stamp [2]string
	if dt := d.code(tag.AcquisitionDateTime); len(dt) >= 8 {
		stamp[0] = dt[:8]
		stamp[1], _, _ = strings.Cut(strings.ReplaceAll(dt[8:], "-", "+"), "+") // without the offset from UTC
	}
	pairs := [][2]string{
		{d.code(tag.AcquisitionDate), d.code(tag.AcquisitionTime)},
		stamp,
		{d.code(tag.ContentDate), d.code(tag.ContentTime)},
		{d.code(tag.SeriesDate), d.code(tag.SeriesTime)},
		{h.StudyDate, h.StudyTime},
	}
	for _, whole := range []bool{true, false} {
		for _, p := range pairs {
			if p[0] != "" && (p[1] != "" || !whole) {
				h.AcquisitionDate, h.AcquisitionTime = p[0], p[1]
				return
			}
		}
	}
}

// pixels reads the Image Pixel module (PS3.3 C.7.6.3).
func (d *dataset) pixels(h *imaging.Header) error {
	for _, f := range []struct {
		t      tag.Tag
		into   *int
		lo, hi int
		def    int // where not given; -1: must be given
	}{
		{tag.SamplesPerPixel, &h.SamplesPerPixel, 1, 4, 1},
		{tag.Columns, &h.Columns, 1, 65535, -1},
		{tag.Rows, &h.Rows, 1, 65535, -1},
		{tag.BitsAllocated, &h.BitsAllocated, 1, 64, -1},
		{tag.BitsStored, &h.BitsStored, 1, 64, 0},
		{tag.HighBit, &h.HighBit, 0, 63, -2},
		{tag.NumberOfFrames, &h.Frames, 0, maxFrames, 1},
	} {
		v, given, err := d.whole(f.t, f.lo, f.hi)
		if err != nil {
			return err
		}
		if !given {
			if f.def == -1 {
				info, _ := tag.Find(f.t)
				return fmt.Errorf("%w: %s %s is missing, so the pixel data cannot be read", imaging.ErrDamaged, info.Name, f.t)
			}
			v = f.def
		}
		*f.into = v
	}
	if h.Frames == 0 {
		d.note(tag.NumberOfFrames, "0 frames; read as one")
		h.Frames = 1
	}
	h.Photometric = strings.ToUpper(d.code(tag.PhotometricInterpretation))
	if h.Photometric == "" && h.SamplesPerPixel == 1 {
		d.note(tag.PhotometricInterpretation, "not given; read as MONOCHROME2")
		h.Photometric = "MONOCHROME2"
	}
	if h.BitsAllocated != 8 && h.BitsAllocated != 16 {
		return fmt.Errorf("%w: %d bits allocated a sample; 8 and 16 are read", imaging.ErrUnsupported, h.BitsAllocated)
	}
	if h.BitsStored == 0 {
		d.note(tag.BitsStored, "not given; read as Bits Allocated, %d", h.BitsAllocated)
		h.BitsStored = h.BitsAllocated
	}
	if h.HighBit == -2 {
		d.note(tag.HighBit, "not given; read as Bits Stored less one")
		h.HighBit = h.BitsStored - 1
	}
	if h.BitsStored > h.BitsAllocated || h.HighBit < h.BitsStored-1 || h.HighBit >= h.BitsAllocated {
		return fmt.Errorf("%w: %d bits stored up to bit %d do not fit into %d allocated", imaging.ErrDamaged, h.BitsStored, h.HighBit, h.BitsAllocated)
	}
	if h.HighBit != h.BitsStored-1 {
		d.note(tag.HighBit, "%d with %d bits stored; samples are shifted down by %d", h.HighBit, h.BitsStored, h.HighBit+1-h.BitsStored)
	}
	signed, given, err := d.whole(tag.PixelRepresentation, 0, 1)
	if err != nil {
		return err
	}
	if !given {
		d.note(tag.PixelRepresentation, "not given; read as unsigned")
	}
	h.Signed = signed == 1
	if int64(h.Columns)*int64(h.Rows) > maxPixels {
		return fmt.Errorf("%w: frames of %d by %d pixels; up to %d pixels are read", imaging.ErrUnsupported, h.Columns, h.Rows, maxPixels)
	}
	h.PaddingValue = d.stored(tag.PixelPaddingValue, h)
	h.PaddingLimit = d.stored(tag.PixelPaddingRangeLimit, h)
	return nil
}

// stored is an attribute in stored values, US or SS as Pixel Representation
// says, whatever the representation it came in.
func (d *dataset) stored(t tag.Tag, h *imaging.Header) imaging.Number {
	n := d.number(t)
	if !n.Known {
		return n
	}
	v := int(n.Value)
	switch {
	case h.Signed && v > math.MaxInt16:
		v -= 1 << 16
	case !h.Signed && v < 0:
		v += 1 << 16
	}
	return imaging.Known(float64(v))
}

// run reads the Cine and Multi-frame modules (PS3.3 C.7.6.5, C.7.6.6).
func (d *dataset) run(h *imaging.Header) {
	h.FrameTime = d.positive(tag.FrameTime)
	h.CineRate = d.positive(tag.CineRate)
	h.RecommendedDisplayRate = d.positive(tag.RecommendedDisplayFrameRate)
	h.FrameTimeVector = d.numbers(tag.FrameTimeVector)
	if e := d.elements[tag.FrameIncrementPointer]; len(e.value) >= 4 { // AT: group, then element (PS3.5 6.2)
		h.FrameIncrement = uint32(d.order.Uint16(e.value))<<16 | uint32(d.order.Uint16(e.value[2:]))
	}
	if n := len(h.FrameTimeVector); n > 0 && n != h.Frames {
		d.note(tag.FrameTimeVector, "%d times for %d frames; taken as not given", n, h.Frames)
		h.FrameTimeVector = nil
	}
	if slices.ContainsFunc(h.FrameTimeVector, func(v float64) bool { return v < 0 }) {
		d.note(tag.FrameTimeVector, "times below zero; taken as not given")
		h.FrameTimeVector = nil
	}
}

// beam reads what bears on scale, beam and patient.
func (d *dataset) beam(h *imaging.Header, kind imaging.Kind) imaging.Geometry {
	g := imaging.Geometry{Kind: kind, Columns: h.Columns, Rows: h.Rows}
	g.PixelSpacing = d.spacing(tag.PixelSpacing)
	g.ImagerSpacing = d.spacing(tag.ImagerPixelSpacing)
	g.NominalSpacing = d.spacing(tag.NominalScannedPixelSpacing)
	switch v := d.numbers(tag.PixelAspectRatio); {
	case len(v) == 2 && v[0] > 0 && v[1] > 0:
		g.PixelAspectRatio = imaging.Known(v[0] / v[1])
	case len(v) > 0:
		d.note(tag.PixelAspectRatio, "not two numbers above zero; taken as not given")
	}
	g.CalibrationType = d.oneOf(tag.PixelSpacingCalibrationType, "FIDUCIAL", "GEOMETRY")
	g.MagnificationFactor = d.positive(tag.EstimatedRadiographicMagnificationFactor)
	g.SourceToDetector = d.positive(tag.DistanceSourceToDetector)
	g.SourceToPatient = d.positive(tag.DistanceSourceToPatient)
	g.PrimaryAngle = d.angle(tag.PositionerPrimaryAngle, 180)
	g.SecondaryAngle = d.angle(tag.PositionerSecondaryAngle, 90)
	g.FieldOfViewRotation = d.number(tag.FieldOfViewRotation)
	if r := g.FieldOfViewRotation; r.Known && (r.Value != math.Trunc(r.Value/90)*90 || r.Value < 0 || r.Value > 270) {
		d.note(tag.FieldOfViewRotation, "%g is not 0, 90, 180 or 270; taken as not given", r.Value)
		g.FieldOfViewRotation = imaging.Number{}
	}
	g.DetectorPrimaryAngle, g.DetectorSecondaryAngle = d.number(tag.DetectorPrimaryAngle), d.number(tag.DetectorSecondaryAngle)
	g.FieldOfViewFlip = d.oneOf(tag.FieldOfViewHorizontalFlip, "YES", "NO")
	g.PatientPosition = strings.ToUpper(d.code(tag.PatientPosition))
	g.ViewPosition = strings.ToUpper(d.code(tag.ViewPosition))
	g.ViewCode = d.coded(tag.ViewCodeSequence)
	g.PatientOrientation = d.orientation()
	if enhanced[h.SOPClass] {
		if n := d.positive(tag.DistanceSourceToIsocenter); n.Known {
			g.SourceToPatient = n
		}
		g.ObjectSpacing = d.spacing(tag.ObjectPixelSpacingInCenterOfBeam)
		g.ObjectToTable, g.TableHeight = d.number(tag.DistanceObjectToTableTop), d.number(tag.TableHeight)
		g.BeamAngle = d.angle(tag.BeamAngle, 180)
	}
	return g
}

// increments are the positioner's angles of each frame against the first's
// (PS3.3 C.8.7.5.1.3).
func (d *dataset) increments(h *imaging.Header) {
	for _, s := range []struct {
		t    tag.Tag
		into *[]float64
	}{
		{tag.PositionerPrimaryAngleIncrement, &h.PrimaryStep},
		{tag.PositionerSecondaryAngleIncrement, &h.SecondaryStep},
	} {
		v := d.numbers(s.t)
		if len(v) > 0 && len(v) != h.Frames {
			d.note(s.t, "%d increments for %d frames; taken as not given", len(v), h.Frames)
			v = nil
		}
		*s.into = v
	}
}

// angle in degrees from -limit to +limit (PS3.3 C.8.7.5.1.2).
func (d *dataset) angle(t tag.Tag, limit float64) imaging.Number {
	n := d.number(t)
	if n.Known && math.Abs(n.Value) > limit {
		d.note(t, "%g degrees is outside -%g to %g; taken as not given", n.Value, limit, limit)
		return imaging.Number{}
	}
	return n
}

// orientation is Patient Orientation (PS3.3 C.7.6.1.1.1): the patient's
// directions of rows and columns, each one to three of the letters A, P, R, L,
// H and F, none with its opposite, and the two axes not along one line.
func (d *dataset) orientation() [2]string {
	v := d.codes(tag.PatientOrientation)
	if len(v) == 0 {
		return [2]string{}
	}
	bad := len(v) != 2
	var o [2]string
	axis := map[rune]int{'A': 1, 'P': 1, 'R': 2, 'L': 2, 'H': 3, 'F': 3}
	for i := 0; i < 2 && !bad; i++ {
		o[i] = strings.ToUpper(v[i])
		used := map[int]bool{}
		for _, r := range o[i] {
			a := axis[r]
			bad = bad || a == 0 || used[a]
			used[a] = true
		}
	}
	if !bad && o[0] != "" && o[1] != "" {
		bad = axis[rune(o[0][0])] == axis[rune(o[1][0])]
	}
	if bad {
		d.note(tag.PatientOrientation, "%q is not a direction of rows and one of columns; taken as not given", shorten(strings.Join(v, `\`)))
		return [2]string{}
	}
	return o
}
