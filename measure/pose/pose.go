// Package pose finds how the views of a case stood, and where the points marked
// in them lie, by one adjustment: weighted least squares of everything that is
// marked or known, with what the header or the trade says about each view as
// observations of their own (priors). It serves both views whose geometry is in
// the header (tight priors) and those whose geometry is not (loose ones).
//
// # What is estimated
//
// Patient coordinates are those of package carm: millimetres, x to the
// patient's left, y to posterior, z to the head, from the isocentre of the first
// view. Each view has a nominal camera and ten parameters that say how the real
// one differs from it; each point has three coordinates. A point P is seen at
//
//	q = R'(P - s) - e^h S
//	x = x0 + dx + e^g f q.right / q.beam,  y alike with the rows
//
// with S the nominal source, seen from the isocentre, s the shift of the
// isocentre, R the turn (a rotation vector made of the turns about the
// patient's long axis, the film's cross axis and the beam), g and h the
// logarithms of what the focal length f (source to detector over pixel) and the
// distance from source to isocentre are times their nominal values, and dx, dy
// what the foot of the central beam is off.
//
// # How
//
// The most probable values under normal errors are where the sum of squares of
// all residuals over their standard deviations is least (Hartley and Zisserman,
// Multiple View Geometry, 2nd ed., appendix 6; priors as observations: JCGM 100
// 5.1 has the same law of propagation). They are found by Gauss and Newton's
// method with Levenberg and Marquardt's damping, from a start that the cameras'
// nominal rays give. The covariance is the inverse of the normal matrix.
//
// An estimate that only a prior fixes is not an estimate: Determined says of
// each parameter what the marks added, and Adjust refuses, with ErrTooLittle,
// what it cannot determine at all.
package pose

import (
	"errors"

	"leadline/imaging/carm"
)

// ErrTooLittle is wrapped by errors that say which marks or lengths are wanting.
var ErrTooLittle = errors.New("too little is marked")

// View is one film: what its camera is taken to be, and how sure that is. A
// standard deviation of 0 holds a parameter at its nominal value.
type View struct {
	Name    string      // for parameters, inputs and errors
	Nominal carm.Camera // its beam passes the isocentre, 0,0,0, where it was shifted by nothing
	// Turn of the view about the patient's long axis (z), the film's cross axis
	// (at right angles to z and the beam) and the beam, through its isocentre:
	// standard deviations in degrees.
	Turn [3]float64
	// Shift of the view's isocentre in the patient along x, y and z: standard
	// deviations in mm. The first view's should be 0: it says where the origin is.
	Shift [3]float64
	// Detector and Isocentre: relative standard deviations of the focal length
	// (source to detector over pixel) and of the distance from source to
	// isocentre.
	Detector, Isocentre float64
	Foot                [2]float64 // of the central beam on the film, along x and y: standard deviations in px
}

// Sighting is a point seen on a film.
type Sighting struct {
	Name  string
	View  int
	Point int
	X, Y  float64 // SR pixels
	SD    float64 // px, of each coordinate
}

// OnLine says that the line through the points A and B passes a place on a
// film: a shaft seen in two views, whose vertices do not correspond.
type OnLine struct {
	Name string
	View int
	A, B int     // points
	X, Y float64 // SR pixels
	SD   float64 // px, across the line
}

// Length is a known distance between two points.
type Length struct {
	Name string
	A, B int     // points
	MM   float64 // above 0
	SD   float64 // mm, standard uncertainty, above 0
}

// Relation is a sum that is known: of point coordinates in mm and of view
// parameters in their own units, each times a factor. Left and right sciatic
// notch that mirror each other in the sagittal plane x = 0, or one C-arm that
// took both films with one focal length, are relations.
type Relation struct {
	Name   string
	Terms  []Term
	Equals float64
	SD     float64 // in the sum's unit, above 0
}

// Term is one part of a relation.
type Term struct {
	By float64
	Of Quantity
}

// Quantity is a point's coordinate or a view's parameter.
type Quantity struct {
	view  bool
	of, n int
}

// Coordinate is the x, y or z (axis 0, 1, 2) of a point, in mm.
func Coordinate(point, axis int) Quantity { return Quantity{of: point, n: axis} }

// Setting is a parameter of a view: how it differs from the nominal camera.
func Setting(view int, k Kind) Quantity { return Quantity{view: true, of: view, n: int(k)} }

// Kind is a parameter of a view.
type Kind int

// The parameters of a view, in the order they are estimated in. Distances are
// natural logarithms of actual over nominal.
const (
	TurnLong  Kind = iota // degrees, about the patient's long axis
	TurnCross             // degrees, about the film's cross axis
	TurnBeam              // degrees, about the beam
	ShiftX                // mm
	ShiftY                // mm
	ShiftZ                // mm
	Detector              // ln of focal length
	Isocentre             // ln of source to isocentre
	FootX                 // px
	FootY                 // px
	kinds
)

var kindNames = [kinds]string{
	"turn about the long axis", "turn about the cross axis", "turn about the beam",
	"shift to the left", "shift to posterior", "shift to the head",
	"focal length", "source to isocentre", "foot of the beam across", "foot of the beam down",
}

var kindUnits = [kinds]string{"deg", "deg", "deg", "mm", "mm", "mm", "1", "1", "px", "px"}

func (k Kind) String() string { return kindNames[k] }

// Unit is deg, mm, 1 (a natural logarithm: relative) or px.
func (k Kind) Unit() string { return kindUnits[k] }

// prior standard deviation of a view's parameter, in its unit.
func (v View) prior(k Kind) float64 {
	return [kinds]float64{
		v.Turn[0], v.Turn[1], v.Turn[2], v.Shift[0], v.Shift[1], v.Shift[2],
		v.Detector, v.Isocentre, v.Foot[0], v.Foot[1],
	}[k]
}

// Input is everything that is marked or known. The order of its parts does not
// matter to the result beyond rounding.
type Input struct {
	Views     []View
	Points    []string // their names; a point's number is its place here
	Sightings []Sighting
	OnLines   []OnLine
	Lengths   []Length
	Relations []Relation
	// ScaleLimit is the largest relative standard deviation, of the scale of the
	// view that knows it best, with which Adjust is content; 0: ScaleLimit. What the
	// other views know of theirs, Determined says.
	ScaleLimit float64
}

// ScaleLimit is the relative standard deviation of a scale beyond which it is
// refused in every view rather than given, unless an input says otherwise: an
// interval of more than plus or minus 12 % is no measurement of a needle's depth.
const ScaleLimit = 0.06
