package phantom

import (
	"fmt"
	"math"
	"strconv"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/frame"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging/carm"
)

// Identity of the case. Everything is invented: patient, unit, town and day.
// UIDs are derived from UUIDs made for this case (PS3.5 B.2) and fixed, so that
// the case is the same wherever it is made.
const (
	studyUID  = "2.25.201738382329183932240944777626898715458"
	seriesUID = "2.25.50501043770160113438575091815396820147"
	runSeries = "2.25.169966542113714439784633068273721828423"
	caseDate  = "20260314"
	caseTime  = "091000"
)

// xaImageStorage is the SOP class of X-Ray Angiographic Image Storage (PS3.4 B.5).
const xaImageStorage = "1.2.840.10008.5.1.4.1.1.12.1"

// element of a data set.
type element struct {
	t tag.Tag
	v any
}

// instance is the data set of a film, or of a run of frames of which more says
// the rest (X-Ray Angiographic IOD, PS3.3 A.14).
func instance(s shot, frames [][]uint16, more ...element) (dicom.Dataset, error) {
	side := int(math.Sqrt(float64(len(frames[0]))))
	g := geometryOf(s.primary, s.secondary, side)
	o, ok := carm.Orientation(g)
	if !ok {
		return dicom.Dataset{}, fmt.Errorf("orientation at %g, %g degrees cannot be told", s.primary, s.secondary)
	}
	ds := func(v float64) []string { return []string{strconv.FormatFloat(v, 'g', 10, 64)} }
	is := func(v int) []string { return []string{strconv.Itoa(v)} }
	var natives []*frame.Frame
	for _, pixels := range frames {
		natives = append(natives, &frame.Frame{NativeData: &frame.NativeFrame[uint16]{
			RawData: pixels, InternalSamplesPerPixel: 1,
			InternalRows: g.Rows, InternalCols: g.Columns, InternalBitsPerSample: 16,
		}})
	}
	var out dicom.Dataset
	for _, e := range append([]element{
		{tag.SpecificCharacterSet, []string{"ISO_IR 192"}},
		{tag.ImageType, []string{"ORIGINAL", "PRIMARY", "SINGLE PLANE"}},
		{tag.SOPClassUID, []string{xaImageStorage}},
		{tag.SOPInstanceUID, []string{s.uid}},
		{tag.StudyDate, []string{caseDate}},
		{tag.SeriesDate, []string{caseDate}},
		{tag.AcquisitionDate, []string{caseDate}},
		{tag.ContentDate, []string{caseDate}},
		{tag.StudyTime, []string{caseTime}},
		{tag.SeriesTime, []string{caseTime}},
		{tag.AcquisitionTime, []string{s.time}},
		{tag.ContentTime, []string{s.time}},
		{tag.AccessionNumber, []string{}},
		{tag.Modality, []string{"XA"}},
		{tag.Manufacturer, []string{"Leadline practice phantom"}},
		{tag.InstitutionName, []string{"Skarrowmouth Harbour Day Surgery Unit (invented)"}},
		{tag.ReferringPhysicianName, []string{}},
		{tag.StudyDescription, []string{"Sacral test needles, practice case"}},
		{tag.SeriesDescription, []string{s.series}},
		{tag.ManufacturerModelName, []string{"Simulated C-arm"}},
		{tag.PatientName, []string{"PRACTICE^CASE"}},
		{tag.PatientID, []string{"PRACTICE-1"}},
		{tag.PatientBirthDate, []string{}},
		{tag.PatientSex, []string{}},
		{tag.BodyPartExamined, []string{"PELVIS"}},
		{tag.KVP, ds(90)},
		{tag.DistanceSourceToDetector, ds(sourceToDetector)},
		{tag.DistanceSourceToPatient, ds(sourceToPatient)},
		{tag.EstimatedRadiographicMagnificationFactor, ds(sourceToDetector / sourceToPatient)},
		{tag.FieldOfViewShape, []string{"ROUND"}},
		{tag.FieldOfViewDimensions, is(fieldDiameter)},
		{tag.ExposureTime, is(60)},
		{tag.XRayTubeCurrent, is(20)},
		{tag.RadiationSetting, []string{"SC"}},
		{tag.ImagerPixelSpacing, []string{ds(g.ImagerSpacing.Row)[0], ds(g.ImagerSpacing.Column)[0]}},
		{tag.PositionerMotion, []string{"STATIC"}},
		{tag.PositionerPrimaryAngle, ds(s.primary)},
		{tag.PositionerSecondaryAngle, ds(s.secondary)},
		{tag.PatientPosition, []string{"HFP"}},
		{tag.FieldOfViewRotation, ds(g.FieldOfViewRotation.Value)},
		{tag.FieldOfViewHorizontalFlip, []string{g.FieldOfViewFlip}},
		{tag.StudyInstanceUID, []string{studyUID}},
		{tag.SeriesInstanceUID, []string{s.seriesUID}},
		{tag.StudyID, []string{"PRACTICE"}},
		{tag.SeriesNumber, is(s.seriesNumber)},
		{tag.AcquisitionNumber, is(s.number)},
		{tag.InstanceNumber, is(s.number)},
		{tag.PatientOrientation, []string{o.Row, o.Column}},
		{tag.ImageComments, []string{"Computed from a made-up anatomy. No patient was imaged."}},
		{tag.SamplesPerPixel, []int{1}},
		{tag.PhotometricInterpretation, []string{"MONOCHROME2"}},
		{tag.Rows, []int{g.Rows}},
		{tag.Columns, []int{g.Columns}},
		{tag.BitsAllocated, []int{16}},
		{tag.BitsStored, []int{bitsStored}},
		{tag.HighBit, []int{bitsStored - 1}},
		{tag.PixelRepresentation, []int{0}},
		{tag.PixelIntensityRelationship, []string{"DISP"}},
		{tag.WindowCenter, ds(windowCentre)},
		{tag.WindowWidth, ds(windowWidth)},
		{tag.LossyImageCompression, []string{"00"}},
		{tag.PixelData, dicom.PixelDataInfo{Frames: natives}},
	}, more...) {
		element, err := dicom.NewElement(e.t, e.v)
		if err != nil {
			return dicom.Dataset{}, fmt.Errorf("element %s: %w", e.t, err)
		}
		out.Elements = append(out.Elements, element)
	}
	return out, nil
}
