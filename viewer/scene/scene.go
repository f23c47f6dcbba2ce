package scene

import (
	"image/color"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/placement"
	"leadline/measure/response"
)

// Scene is what there is to draw on one film, in image coordinates.
type Scene struct {
	Film    placement.FilmReading
	Paths   []Path
	Symbols []Symbol
	Labels  []Label
	Edges   []EdgeWord
	Bar     Bar
	Ventral imaging.Edge // of the stored lateral film; not known: NoEdge

	// Words for the frame around the image.
	Title    string     // Frontal, Lateral …
	Aspect   string     // seen from behind, C-arm 180°
	Case     []CaseLine // side and level of each device on this film
	Numbers  []Section
	Chart    Chart // of the devices on this film
	Cautions []string
}

// Path is a polyline or outline.
type Path struct {
	Key    string // UID of the mark it shows; empty for what is derived
	Points []r2.Vec
	Closed bool
	Stroke Stroke
}

// Symbol marks one point; its size does not change with zoom.
type Symbol struct {
	Key   string
	At    r2.Vec
	Along r2.Vec // direction in the image that an Across stands across; may be zero
	Shape Shape
	Size  float64 // design units, from side to side
	Fill  color.NRGBA
	Stroke
}

// Run is a line of a label.
type Run struct {
	Words string
	Size  float64 // design units
	Bold  bool
	Color color.NRGBA
}

// Label is words that stay near a point. Labels are placed in order, so that
// the first are the surest of a good place; one that finds no place where it
// covers no other words is left out unless Must is set.
type Label struct {
	Anchors []r2.Vec // image points it may stand at, best first
	Clear   float64  // design units to keep free round the anchor
	Lines   []Run
	Boxed   bool
	Accent  color.NRGBA // of the box's rule and of the leader line
	Must    bool
}

// EdgeWord is a direction at an edge of the stored image.
type EdgeWord struct {
	Edge  imaging.Edge
	Words string
	Large bool
	Color color.NRGBA
}

// Bar is the scale bar. With Known false no bar is drawn and Words say why.
type Bar struct {
	Known     bool
	PerColumn float64 // mm for the width of an image pixel
	Words     string  // plane, source and uncertainty
	Caution   bool    // the words are a caution: magnified plane
}

// CaseLine is side and level of one device with what they rest on.
type CaseLine struct {
	Object string
	Style  DeviceStyle
	Words  string // RIGHT · S3
	Side   string // side: from header, not confirmed
	Level  string // level: sacroiliac line only, not confirmed
	// SideSure and LevelSure: confirmed, and no other source says otherwise. What
	// is not sure is a caution.
	SideSure, LevelSure bool
	Refused             bool // side or level is withheld
}

// Section is the numbers of one device on this film.
type Section struct {
	Title string
	Style DeviceStyle
	Rows  []Row
}

// Row is one number, or what is missing and why.
type Row struct {
	Words, Figure string
	Note          string // small, under the words
	Head          bool   // set larger
}

// Options of a Scene.
type Options struct {
	// Selected is the UID of the mark in hand: drawn wider, with its vertices.
	// Vertex is the vertex in hand, -1 for none.
	Selected string
	Vertex   int
	// Device is the object whose headline number stands beside its tip; empty:
	// every device that has one.
	Device string
	// Responses stand beside the positions in the chart.
	Responses []response.Test
}
