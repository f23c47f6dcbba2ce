package mark

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

// StructureInfo is what holds for every mark of one structure.
type StructureInfo struct {
	Structure Structure
	Views     []imaging.View // the views it can be told on
	// Least and Most points; Most 0: as many as wanted. A curve takes part in
	// measuring from 5 points on, but is kept from 2.
	Least, Most int
	Closed      bool // an outline: the last point joins the first (a foramen that is no arc)
	// Object lists the letters a device's name may begin with; empty: the
	// structure belongs to no device. NeedsObject: it cannot do without.
	Object      string
	NeedsObject bool
	TakesLevel  bool
	TakesSide   bool   // left or right; what lies in the midline may say so, and nothing else
	Detail      string // what Detail holds, in words; empty: nothing
	// SD is the default standard deviation of a point, in pixels per
	// coordinate: an assumption (no source), to be replaced by what a unit
	// finds when its own readers mark twice.
	SD float64
}

// structures in the order in which marks are written.
var structures = []StructureInfo{
	{Structure: VentralMargin, Views: lateral, Least: 2, SD: 2},
	{Structure: DorsalMargin, Views: lateral, Least: 2, SD: 2},
	{Structure: SkinLine, Views: lateral, Least: 2, SD: 3},
	{Structure: Midline, Views: frontal, Least: 2, SD: 2.5},
	{Structure: SILine, Views: frontal, Least: 2, Most: 2, SD: 3},
	{Structure: MedialLine, Views: frontal, Least: 2, TakesSide: true, SD: 2.5},
	{Structure: Foramen, Views: both, Least: 3, Closed: true, TakesLevel: true, TakesSide: true,
		Detail: "dorsal, ventral or unsure, and arc for an open outline", SD: 2.5},
	{Structure: FusionLine, Views: both, Least: 2, TakesLevel: true,
		Detail: "the two levels it lies between, such as S2/S3", SD: 2.5},
	{Structure: Promontory, Views: both, Least: 1, Most: 1, TakesLevel: true, SD: 4},
	{Structure: CoccyxTip, Views: both, Least: 1, Most: 1, SD: 4},
	// The two notches of a lateral film often cannot be told apart by side:
	// first and second keep them two marks without claiming one.
	{Structure: SciaticNotch, Views: both, Least: 1, TakesSide: true,
		Detail: "first or second, where the two notches of a film cannot be told apart by side", SD: 4},
	{Structure: Needle, Views: both, Least: 2, Object: "N", NeedsObject: true, TakesLevel: true, TakesSide: true, SD: 1},
	{Structure: Wire, Views: both, Least: 2, Object: "W", NeedsObject: true, TakesLevel: true, TakesSide: true, SD: 1},
	{Structure: Lead, Views: both, Least: 2, Object: "L", NeedsObject: true, TakesLevel: true, TakesSide: true, SD: 1},
	{Structure: Contact, Views: both, Least: 1, Most: 1, Object: "LW", NeedsObject: true, TakesLevel: true, TakesSide: true,
		Detail: "its length in mm", SD: 1},
	{Structure: KnownLength, Views: both, Least: 2, Most: 2, Object: "NWL", TakesSide: true, Detail: "its length in mm", SD: 1},
}

var (
	frontal = []imaging.View{imaging.Frontal}
	lateral = []imaging.View{imaging.Lateral}
	both    = []imaging.View{imaging.Frontal, imaging.Lateral}
)

// Structures lists what holds for each structure, in the order in which marks
// are written.
func Structures() []StructureInfo { return slices.Clone(structures) }

// Info is what holds for s; ok is false for an unknown word.
func Info(s Structure) (info StructureInfo, ok bool) {
	for _, i := range structures {
		if i.Structure == s {
			return i, true
		}
	}
	return StructureInfo{}, false
}

// DefaultSD is the standard deviation in pixels, per coordinate, assumed for a
// point of structure s; 0 for an unknown structure.
func DefaultSD(s Structure) float64 {
	i, _ := Info(s)
	return i.SD
}

// Levels are the sacral levels from the head down.
func Levels() []Level { return []Level{"S1", "S2", "S3", "S4", "S5"} }

// Number of the level, 1 for S1 to 5 for S5; 0 where it is none of these.
func (l Level) Number() int { return slices.Index(Levels(), l) + 1 }

// maxLength is the longest known length or contact, in mm, taken for meant:
// no instrument of this trade is a metre long.
const maxLength = 1000

// Length in mm of a known-length or contact; ok is false where none is given
// or it is not a positive length.
func (m Mark) Length() (mm float64, ok bool) {
	if m.Structure != KnownLength && m.Structure != Contact {
		return 0, false
	}
	v, err := decimal(m.Detail)
	return v, err == nil && v > 0 && v <= maxLength
}

// Fusion gives the numbers of the levels a fusion-line lies between: 2 and 3
// for S2/S3; ok is false where Detail does not say.
func (m Mark) Fusion() (above, below int, ok bool) {
	a, b, cut := strings.Cut(m.Detail, "/")
	above, below = Level(a).Number(), Level(b).Number()
	if m.Structure != FusionLine || !cut || above == 0 || below != above+1 {
		return 0, 0, false
	}
	return above, below, true
}

var objectName = regexp.MustCompile(`^[NWL][1-9][0-9]{0,3}(\.[1-9][0-9]{0,3})?$`)

// IsObject reports whether name can be that of a device or a position of one: N1,
// W1, L1, N1.2.
func IsObject(name string) bool { return objectName.MatchString(name) }

// Device is the device an object's name belongs to: N1 for N1 and N1.2.
func Device(object string) string {
	d, _, _ := strings.Cut(object, ".")
	return d
}

// Check tells whether m keeps the rules of its structure and lies on an image
// of columns by rows pixels. The error wraps imaging.ErrBadInput and says what
// is wrong in one line.
func (m Mark) Check(columns, rows int) error {
	info, ok := Info(m.Structure)
	if !ok {
		return &problem{text: unknownStructure(string(m.Structure))}
	}
	text := info.labels(m)
	if text == "" {
		text = info.count(m)
	}
	if text == "" && m.SD.Known && !soundSD(m.SD.Value) {
		text = fmt.Sprintf("sd %g is not a standard deviation in pixels above 0 and up to %d", m.SD.Value, maxSD)
	}
	if text == "" && !slices.Contains([]Origin{"", ByHand, Suggested, Changed}, m.Origin) {
		text = fmt.Sprintf("origin %s is not known: use hand, suggested or changed", quote(string(m.Origin)))
	}
	for i := 0; text == "" && i < len(m.Points); i++ {
		text = outside(m.Points[i], columns, rows)
	}
	if text != "" {
		return &problem{text: text}
	}
	return nil
}

// problem is a fault in what a person gave, in one line.
type problem struct {
	line int // of a CSV file; 0: none
	text string
}

func (p *problem) Error() string {
	if p.line > 0 {
		return fmt.Sprintf("line %d: %s", p.line, p.text)
	}
	return p.text
}

func (p *problem) Unwrap() error { return imaging.ErrBadInput }

// maxSD is the largest standard deviation taken for meant, in pixels.
const maxSD = 1000

func soundSD(v float64) bool { return v > 0 && v <= maxSD }

func outside(p r2.Vec, columns, rows int) string {
	switch {
	case math.IsNaN(p.X), math.IsNaN(p.Y), math.IsInf(p.X, 0), math.IsInf(p.Y, 0):
		return "a point is not a finite number"
	case p.X < 0 || p.X > float64(columns):
		return fmt.Sprintf("x %g lies outside the image: it is 0 to %d here", p.X, columns)
	case p.Y < 0 || p.Y > float64(rows):
		return fmt.Sprintf("y %g lies outside the image: it is 0 to %d here", p.Y, rows)
	}
	return ""
}

// labels says what is wrong with m's level, side, object, detail and index;
// empty: nothing.
func (i StructureInfo) labels(m Mark) string {
	switch {
	case m.Level != "" && m.Level.Number() == 0:
		return fmt.Sprintf("level %s is not known: use S1 to S5 or leave it empty", quote(string(m.Level)))
	case m.Level != "" && !i.TakesLevel:
		return fmt.Sprintf("a %s has no level: leave level empty", i.Structure)
	case m.Level != "" && m.Level != "S1" && m.Structure == Promontory:
		return "the promontory is the upper edge of S1: leave level empty"
	}
	switch m.Side {
	case NoSide, MiddleSide:
	case LeftSide, RightSide:
		if !i.TakesSide {
			return fmt.Sprintf("a %s is not of one side: leave side empty", i.Structure)
		}
	default:
		return fmt.Sprintf("side %s is not known: use left, right, midline (the patient's) or leave it empty", quote(string(m.Side)))
	}
	if text := i.object(m.Object); text != "" {
		return text
	}
	if m.Index != 0 && m.Structure != Contact {
		return fmt.Sprintf("a %s has no contact number", i.Structure)
	}
	if m.Index < 0 {
		return "a contact's number counts from 0 at the tip"
	}
	return i.detail(m)
}

func (i StructureInfo) object(name string) string {
	example := "N1"
	if i.Object != "" {
		example = i.Object[:1] + "1"
	}
	switch {
	case name == "" && i.NeedsObject:
		return fmt.Sprintf("a %s needs an object, such as %s", i.Structure, example)
	case name == "":
		return ""
	case i.Object == "":
		return fmt.Sprintf("a %s belongs to no device: leave object empty", i.Structure)
	case !objectName.MatchString(name):
		return fmt.Sprintf("object %s is not a device: use a name such as %s, or %s.2 for its second position", quote(name), example, example)
	case !strings.Contains(i.Object, name[:1]):
		return fmt.Sprintf("object %s cannot have a %s: use a name such as %s", quote(name), i.Structure, example)
	}
	return ""
}

func (i StructureInfo) detail(m Mark) string {
	switch m.Structure {
	case Foramen:
		if _, ok := foramenDetail(m.Detail); !ok {
			return fmt.Sprintf("detail %s is not known for a foramen: use dorsal, ventral or unsure, and arc for an open outline", quote(m.Detail))
		}
	case FusionLine:
		if m.Detail == "" {
			return ""
		}
		above, below, ok := m.Fusion()
		if !ok {
			return fmt.Sprintf("detail %s is not known for a fusion-line: use S1/S2, S2/S3, S3/S4 or S4/S5", quote(m.Detail))
		}
		if n := m.Level.Number(); n != 0 && n != above && n != below {
			return fmt.Sprintf("level %s does not border the fusion-line %s", m.Level, m.Detail)
		}
	case SciaticNotch:
		if m.Detail != "" && m.Detail != "first" && m.Detail != "second" {
			return fmt.Sprintf("detail %s is not known for a sciatic-notch: use first or second where side is not known", quote(m.Detail))
		}
	case KnownLength, Contact:
		if _, ok := m.Length(); !ok && (m.Detail != "" || m.Structure == KnownLength) {
			return fmt.Sprintf("detail %s of a %s is not a length in mm: give a number above 0 and up to %d", quote(m.Detail), i.Structure, maxLength)
		}
	default:
		if m.Detail != "" {
			return fmt.Sprintf("a %s has no detail: leave detail empty", i.Structure)
		}
	}
	return ""
}

// count says what is wrong with the number of m's points; empty: nothing.
func (i StructureInfo) count(m Mark) string {
	least, n := i.Least, len(m.Points)
	if m.Structure == Foramen && m.Open() {
		least = 2
	}
	switch {
	case n < least:
		return fmt.Sprintf("a %s needs %s, not %d", name(m), atLeast(least, i.Most), n)
	case i.Most > 0 && n > i.Most:
		return fmt.Sprintf("a %s takes %s, not %d", name(m), atLeast(i.Most, i.Most), n)
	}
	return ""
}

func name(m Mark) string {
	if m.Structure == Foramen && m.Open() {
		return "foramen arc"
	}
	return string(m.Structure)
}

func atLeast(n, most int) string {
	points := "points"
	if n == 1 {
		points = "point"
	}
	if n == most {
		return fmt.Sprintf("exactly %d %s", n, points)
	}
	return fmt.Sprintf("at least %d %s", n, points)
}

// foramenDetail gives the words of a foramen's detail in one order.
func foramenDetail(detail string) (string, bool) {
	var opening, arc string
	for _, w := range strings.Fields(detail) {
		switch {
		case w == "arc" && arc == "":
			arc = w
		case (w == "dorsal" || w == "ventral" || w == "unsure") && opening == "":
			opening = w
		default:
			return "", false
		}
	}
	return strings.TrimSpace(opening + " " + arc), true
}

func unknownStructure(word string) string {
	var known []string
	for _, i := range structures {
		known = append(known, string(i.Structure))
	}
	return fmt.Sprintf("structure %s is not known: use %s", quote(word), strings.Join(known, ", "))
}

// quote shows what a person wrote, on one line, short and harmless for a
// terminal.
func quote(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		s = string(r[:most]) + "…"
	}
	return strconv.QuoteToGraphic(s)
}

// decimal reads a finite decimal number as a person writes it: digits with a
// point, perhaps an exponent; not hexadecimal, inf or nan.
func decimal(s string) (float64, error) {
	if strings.Trim(s, "+-.0123456789eE") != "" {
		return 0, strconv.ErrSyntax
	}
	return strconv.ParseFloat(s, 64)
}
