package imaging

// Edge is a side of a displayed frame as stored: row 0 on top.
type Edge string

const (
	NoEdge Edge = ""
	Left   Edge = "left"
	Right  Edge = "right"
	Top    Edge = "top"
	Bottom Edge = "bottom"
)

// Opposite edge.
func (e Edge) Opposite() Edge {
	switch e {
	case Left:
		return Right
	case Right:
		return Left
	case Top:
		return Bottom
	case Bottom:
		return Top
	}
	return NoEdge
}

// Direction is the unit vector (x to the right, y downwards) towards the edge.
func (e Edge) Direction() (x, y float64) {
	switch e {
	case Left:
		return -1, 0
	case Right:
		return 1, 0
	case Top:
		return 0, -1
	case Bottom:
		return 0, 1
	}
	return 0, 0
}

// Orientation says which way the patient lies on a frame: the patient
// direction letters of DICOM (L left, R right, A anterior, P posterior, H head,
// F foot) towards the right edge and towards the bottom edge, as in Patient
// Orientation (0020,0020). Empty letters are not known.
type Orientation struct{ Row, Column string }

// Known reports whether both directions are given.
func (o Orientation) Known() bool { return o.Row != "" && o.Column != "" }

// opposite patient direction.
var opposite = map[byte]byte{'L': 'R', 'R': 'L', 'A': 'P', 'P': 'A', 'H': 'F', 'F': 'H'}

// EdgeOf gives the edge at which the patient direction letter (L, R, A, P, H
// or F) lies, by the leading letter of each axis; NoEdge where neither axis
// leads with it.
func (o Orientation) EdgeOf(letter byte) Edge {
	if o.Row != "" {
		if o.Row[0] == letter {
			return Right
		}
		if opposite[o.Row[0]] == letter {
			return Left
		}
	}
	if o.Column != "" {
		if o.Column[0] == letter {
			return Bottom
		}
		if opposite[o.Column[0]] == letter {
			return Top
		}
	}
	return NoEdge
}
