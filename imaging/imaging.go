// Package imaging is the ground of Leadline's lower floor: what a frame is,
// what its header says about geometry, which way the patient lies in it, and
// the kinds of error a person can meet.
//
// Coordinates on a frame are the SR coordinates of DICOM (PS3.3 table
// C.18.6-1): x is the column, y is the row, both in pixels, and 0,0 is the top
// left corner of the top left pixel, so that pixel's centre is 0.5, 0.5.
package imaging

import (
	"errors"
	"fmt"
)

// Kinds of error. Every error that reaches a person wraps one of these and
// says what is wrong, where, and what to do.
var (
	ErrNotDICOM    = errors.New("not a DICOM file")
	ErrUnsupported = errors.New("not supported")
	ErrDamaged     = errors.New("damaged")
	ErrNoScale     = errors.New("no scale")
	ErrBadInput    = errors.New("bad input")
	ErrConflict    = errors.New("sources disagree")
	ErrInUse       = errors.New("in use")
)

// Number is a value that a header may or may not give.
type Number struct {
	Value float64
	Known bool
}

// Known wraps a value that was given.
func Known(v float64) Number { return Number{Value: v, Known: true} }

func (n Number) String() string {
	if !n.Known {
		return "not given"
	}
	return fmt.Sprintf("%g", n.Value)
}

// Spacing is the distance between the centres of neighbouring pixels in
// millimetres, in the order DICOM writes it: rows (vertical) first
// (PS3.3 10.7.1.3).
type Spacing struct {
	Row, Column float64
	Known       bool
}

// Kind is the kind of DICOM object a frame came from; it decides what its
// spacing attributes mean.
type Kind string

const (
	KindXA    Kind = "XA"  // X-Ray Angiographic Image Storage
	KindXRF   Kind = "XRF" // X-Ray Radiofluoroscopic Image Storage (modality RF)
	KindCR    Kind = "CR"  // Computed Radiography Image Storage
	KindDX    Kind = "DX"  // Digital X-Ray Image Storage, for presentation or processing
	KindSC    Kind = "SC"  // Secondary Capture, single and multi-frame
	KindOther Kind = ""
)

// Geometry is what the header of one frame says about scale, beam and
// patient. Lengths in millimetres, angles in degrees as DICOM writes them.
type Geometry struct {
	Kind           Kind
	Columns, Rows  int
	PixelSpacing   Spacing // (0028,0030)
	ImagerSpacing  Spacing // (0018,1164), at the detector's front plane
	NominalSpacing Spacing // (0018,2010), of a scanned film

	// PixelAspectRatio (0028,0034): vertical over horizontal size of a pixel.
	PixelAspectRatio Number
	// CalibrationType (0028,0A02): FIDUCIAL, GEOMETRY or empty.
	CalibrationType string

	MagnificationFactor Number // (0018,1114)
	SourceToDetector    Number // (0018,1110), mm
	SourceToPatient     Number // (0018,1111), of enhanced objects (0018,9402), mm

	// ObjectSpacing (0018,9404) of enhanced objects: at the region of interest in
	// the centre of the beam, by the model of PS3.3 C.8.19.6.9.1 from these:
	// ObjectToTable (0018,9403), mm; TableHeight (0018,1130), mm that the tabletop
	// lies below the isocentre; BeamAngle (0018,9449), degrees between the beam and
	// the perpendicular to the tabletop.
	ObjectSpacing                         Spacing
	ObjectToTable, TableHeight, BeamAngle Number

	// PrimaryAngle (0018,1510) and SecondaryAngle (0018,1511) of this frame,
	// with Positioner Primary/Secondary Angle Increment already added.
	PrimaryAngle, SecondaryAngle Number

	// DetectorPrimaryAngle (0018,1530) and DetectorSecondaryAngle (0018,1531):
	// of the beam against the detector's normal, positive towards higher columns
	// and higher rows (from memory of the attributes' definition).
	DetectorPrimaryAngle, DetectorSecondaryAngle Number

	// FieldOfViewRotation (0018,7032), degrees clockwise, then
	// FieldOfViewFlip (0018,7034), horizontal: YES, NO or empty.
	FieldOfViewRotation Number
	FieldOfViewFlip     string

	// PatientOrientation (0020,0020): direction of rows (to the right), then
	// of columns (downwards), as DICOM writes it, e.g. L\F. Empty: not given.
	PatientOrientation [2]string
	PatientPosition    string // (0018,5100), e.g. HFP
	ViewPosition       string // (0018,5101), e.g. AP, PA, LL
	ViewCode           Code   // View Code Sequence (0054,0220)
}

// Header is what Leadline keeps of one instance's attributes.
type Header struct {
	File           string // path the instance was read from
	TransferSyntax string // UID

	SOPClass, SOPInstance, Series, Study, FrameOfReference string // UIDs
	Modality                                               string
	PatientName, PatientID, PatientBirthDate, PatientSex   string
	StudyDate, StudyTime, StudyID, AccessionNumber         string
	StudyDescription, SeriesDescription, ReferringName     string
	SeriesNumber, InstanceNumber                           string
	AcquisitionDate, AcquisitionTime                       string // falls back to Content, then Series, then Study
	Manufacturer, Institution                              string
	CharacterSet                                           []string

	Columns, Rows, Frames int
	Photometric           string
	SamplesPerPixel       int
	BitsAllocated         int
	BitsStored            int
	HighBit               int
	Signed                bool
	PaddingValue          Number // (0028,0120), as a stored value
	PaddingLimit          Number // (0028,0121), as a stored value: padding is the range between the two

	RescaleSlope, RescaleIntercept Number
	ModalityLUT                    *LUT
	Windows                        []Window // (0028,1050..1056) in the order given
	VOILUTs                        []LUT
	PresentationLUTShape           string
	PixelIntensityRelationship     string

	FrameTime              Number // ms (0018,1063)
	FrameTimeVector        []float64
	FrameIncrement         uint32 // (0028,0009), its first value: group and element; 0 not given
	CineRate               Number // frames/s (0018,0040)
	RecommendedDisplayRate Number // frames/s (0008,2144)

	Base          Geometry  // of the first frame
	PrimaryStep   []float64 // (0018,1520) per frame, relative to the first; may be nil
	SecondaryStep []float64 // (0018,1521)
	// Each holds what the functional groups of an enhanced object say of each
	// frame; nil for others.
	Each      []FrameAttributes
	PixelData Extent   // where native pixel data lie in the file
	Notes     []string // what was odd in the header and how it was read
}

// Extent is a range of bytes.
type Extent struct{ Offset, Length int64 }

// LUT is a DICOM look-up table: First is the stored (or modality) value that
// maps to Table[0]; Bits is the number of bits of an entry.
type LUT struct {
	First       int
	Bits        int
	Table       []uint16
	Explanation string
}

// WindowFunction is (0028,1056).
type WindowFunction string

const (
	Linear      WindowFunction = "LINEAR"
	LinearExact WindowFunction = "LINEAR_EXACT"
	Sigmoid     WindowFunction = "SIGMOID"
)

// Window is a VOI window in modality units (PS3.3 C.11.2).
type Window struct {
	Center, Width float64
	Function      WindowFunction
	Explanation   string
}

// Frame is one decoded frame, or the mean of a span of frames.
type Frame struct {
	Header *Header
	// First and Last frame number, from 1; equal for a single frame.
	First, Last   int
	Columns, Rows int
	// Samples are the stored values, row by row, masked to Bits Stored and,
	// where Header.Signed, to be read as two's complement of BitsStored bits. Of
	// a colour frame that is no palette's, they are its brightness, 0 to 255:
	// ITU-R BT.601 luma.
	Samples []uint16
	// RGB is a colour frame's picture, three bytes a pixel, row by row, shown as
	// it is, without window or table; nil for a grayscale frame.
	RGB []uint8
	// Overlays are the planes over this frame. A mean has those that are the
	// same for all frames.
	Overlays []Overlay
}

// Value is the stored value at column x, row y, sign extended.
func (f *Frame) Value(x, y int) int { return f.Header.StoredValue(f.Samples[y*f.Columns+x]) }

// StoredValue reads masked sample bits as the number they stand for.
func (h *Header) StoredValue(s uint16) int {
	v := int(s)
	if h.Signed && h.BitsStored > 0 && v >= 1<<(h.BitsStored-1) {
		v -= 1 << h.BitsStored
	}
	return v
}
