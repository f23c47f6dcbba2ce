// Package placement computes where needles and leads lie from marks, scale and
// the geometry of the views.
package placement

import (
	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/scale"
)

// Film is a frame of the case as placement sees it: header only, no pixels.
type Film struct {
	Ref      mark.FrameRef
	File     string // base name, for messages
	Header   *imaging.Header
	Geometry imaging.Geometry
	Time     string // acquisition date and time, for the order of positions
}

// Options of a computation.
type Options struct {
	// MarkingSD, if known, is one standard deviation in pixels, per
	// coordinate, for all marks; it switches the floor for a wrong edge off.
	MarkingSD imaging.Number
	// ValuesOnly leaves every interval and budget out: a tenth of the work, for
	// figures that change under the hand.
	ValuesOnly bool
}

// Result is one computed quantity.
type Result struct {
	Object, Quantity string
	Plane            string // frontal, lateral, both
	Value            float64
	Unit             string // mm, deg, px or 1
	HasU             bool   // whether U95, Lo, Hi carry an interval
	U95, Lo, Hi      float64
	Side             mark.Side
	SideSource       string
	SideConfirmed    bool
	Level            mark.Level
	LevelSource      string
	LevelConfirmed   bool
	Class            string
	Contact          int // index of the contact, -1 for none
	Of               string
	Frames           []mark.FrameRef
	Scale            string // the scale's source and plane; empty where no scale enters
	// Magnified says that the length holds at the detector or in a plane that is
	// not known: it is no anatomical length, and Lo to Hi is what it may be at the
	// sacrum.
	Magnified bool
	// Budget holds standard uncertainties (k = 1) in Unit by source.
	Budget map[string]float64
	Notes  []string
}

// Missing is a quantity that cannot be computed, and what would mend it.
type Missing struct{ Object, Quantity, Because string }

// Device is what is known of one device or position as a whole.
type Device struct {
	Object         string // N1, N1.2, W1, L1
	Kind           mark.Structure
	Side           mark.Side
	SideSource     string
	SideConfirmed  bool
	SideConflict   string // why the side is withheld; empty: no conflict
	Level          mark.Level
	LevelSource    string
	LevelConfirmed bool
	LevelConflict  string // why the level is withheld; empty: no conflict
}

// FilmReading is how a film was read: view, cranial, orientation, scale.
type FilmReading struct {
	Film          Film
	View          imaging.View
	ViewSource    string
	Cranial       imaging.Edge
	CranialSource string
	// CranialConflict says who says what where sources of Cranial disagree.
	CranialConflict string
	PatientLeft     imaging.Edge
	LeftSource      string
	LeftConfirmed   bool
	LeftConflict    string
	Scale           scale.Scale
	// Points of interest for drawing, SR coordinates, by "object/what":
	// what is entry, exit or tip.
	Points map[string]Point
}

// Point is an SR coordinate in pixels.
type Point struct{ X, Y float64 }

// Placement is everything computed for one observer's marks.
type Placement struct {
	Results  []Result
	Missing  []Missing
	Cautions []string
	Devices  []Device
	Films    []FilmReading
	// Identities are what both films say of which device is which.
	Identities []Identity
	// Positions are points seen on both films, where they lie in the patient.
	Positions []Position
}

// Position is a point in the patient: millimetres from the isocentre of the
// frontal film, x to the patient's left, y to posterior, z to the head, by the
// positioner's angles.
type Position struct {
	Object  string // device, or empty for a landmark
	What    string // tip, hub, entry, contact 0, promontory …
	X, Y, Z float64
	// U are standard uncertainties along x, y and z; 0 where not told.
	U [3]float64
	// Gap is the distance in mm by which the point's two rays miss each other,
	// and GapFrontal, GapLateral what that is on each film, in pixels; Gapped is
	// false for points that are not marked on both films as such.
	Gapped                      bool
	Gap, GapFrontal, GapLateral float64
	// FrontalScale and LateralScale are mm a pixel across each film at the point's
	// own depth.
	FrontalScale, LateralScale float64
	Frames                     []mark.FrameRef
}
