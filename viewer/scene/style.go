package scene

import (
	"image/color"
	"strings"
)

// The colours of Okabe and Ito's set for colour-blind eyes ("Color Universal
// Design", 2002, jfly.uni-koeln.de/color), and neutrals. Vermillion is for
// cautions alone; no colour means right or wrong.
var (
	SkyBlue       = color.NRGBA{0x56, 0xB4, 0xE9, 0xFF}
	Yellow        = color.NRGBA{0xF0, 0xE4, 0x42, 0xFF}
	ReddishPurple = color.NRGBA{0xCC, 0x79, 0xA7, 0xFF}
	BluishGreen   = color.NRGBA{0x00, 0x9E, 0x73, 0xFF}
	Vermillion    = color.NRGBA{0xD5, 0x5E, 0x00, 0xFF}

	White  = color.NRGBA{0xF4, 0xF4, 0xF1, 0xFF}
	Bone   = color.NRGBA{0xF2, 0xEA, 0xD3, 0xFF} // margins and surfaces
	Mist   = color.NRGBA{0xC4, 0xD8, 0xD2, 0xFF} // reference lines
	Grey   = color.NRGBA{0xA9, 0xAE, 0xB4, 0xFF} // secondary words
	Rule   = color.NRGBA{0x33, 0x38, 0x40, 0xFF} // hairlines
	Ground = color.NRGBA{0x15, 0x18, 0x1D, 0xFF} // page
	Panel  = color.NRGBA{0x1D, 0x21, 0x27, 0xFF} // raised panel
	Dark   = color.NRGBA{0x0A, 0x0B, 0x0D, 0xFF} // edge under marks and letters
)

// Dash is a stroke pattern: lengths of ink and gap in design units, in turn;
// empty is a solid line.
type Dash []float64

// The patterns in use.
var (
	Solid   Dash
	Dashed  = Dash{12, 7}
	DashDot = Dash{16, 6, 2, 6}
	Dotted  = Dash{1.5, 6.5}
	Short   = Dash{6, 5}
	DashTwo = Dash{14, 5, 2, 5, 2, 5}
)

// Shape of a point mark.
type Shape string

const (
	Circle   Shape = "circle"
	Diamond  Shape = "diamond"
	Square   Shape = "square"
	Triangle Shape = "triangle"
	Cross    Shape = "cross"  // diagonal
	Plus     Shape = "plus"   // upright
	Across   Shape = "across" // one stroke across the symbol's Along
	Handle   Shape = "handle"
)

// Stroke of a path or symbol, in design units.
type Stroke struct {
	Width float64
	Color color.NRGBA
	Dash  Dash
	// Edge is how far the dark edge under the stroke shows on either side. Open
	// leaves the gaps of a pattern clear, so that the film is seen through them;
	// else the edge runs on under them.
	Edge float64
	Open bool
}

// DeviceStyle is how a device is told from the others: by colour, pattern,
// shape of its tip, and the word beside it.
type DeviceStyle struct {
	Color color.NRGBA
	Dash  Dash
	Tip   Shape
}

// patterns by kind of device: of the same number, a needle, a wire and a lead
// differ in pattern as well.
var patterns = map[byte][]Dash{
	'N': {Solid, Dashed, DashDot, DashTwo},
	'W': {Short, DashTwo, Solid, Dashed},
	'L': {DashTwo, Solid, Short, DashDot},
}

// Style of a device or position by its name alone (N1, W1, L1, N1.2), so that
// it never changes as others come and go. The number gives colour and tip,
// the kind shifts both, a later position shifts the pattern.
func Style(object string) DeviceStyle {
	kind, number, position := splitObject(object)
	colours := []color.NRGBA{SkyBlue, Yellow, ReddishPurple, BluishGreen}
	tips := []Shape{Circle, Diamond, Square, Triangle}
	dashes := patterns[kind]
	shift := 0
	switch kind {
	case 'L':
		shift = 2
	case 'W':
		shift = 3
	case 'N':
	default:
		dashes = patterns['N']
	}
	n := max(number-1, 0)
	return DeviceStyle{
		Color: colours[(n+shift)%len(colours)],
		Dash:  dashes[(n+2*max(position-1, 0)+max(position-1, 0)/2)%len(dashes)],
		Tip:   tips[(n+shift)%len(tips)],
	}
}

// splitObject reads N1.2 as 'N', 1, 2; the position is 1 where none is named.
func splitObject(object string) (kind byte, number, position int) {
	base, pos, found := strings.Cut(object, ".")
	position = 1
	if found {
		position = digits(pos)
	}
	if base == "" {
		return 0, 0, position
	}
	return base[0], digits(base[1:]), position
}

func digits(s string) int {
	n := 0
	for i := 0; i < len(s) && i < 6; i++ {
		if s[i] >= '0' && s[i] <= '9' {
			n = n*10 + int(s[i]-'0')
		}
	}
	return n
}
