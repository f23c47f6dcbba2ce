package mark

import (
	"strings"

	"leadline/imaging"
	"leadline/imaging/carm"
)

// Reading is how a film is read: its view, where the head lies, and at which
// edge of the stored frame the patient's left is, each with where it is known
// from.
type Reading struct {
	View       imaging.View
	ViewSource string

	// Cranial is the edge of the stored frame nearest the head.
	Cranial         imaging.Edge
	CranialSource   string
	CranialConflict string // which sources disagree; empty: none

	// PatientLeft is the edge nearest the patient's left, on a frontal film.
	PatientLeft   imaging.Edge
	LeftSource    string
	LeftConfirmed bool   // a named observer gave a basis that confirms it
	LeftConflict  string // which sources disagree; empty: none
}

// Names of the sources, in the order in which they are listed.
const (
	byOrientation = "Patient Orientation" // (0020,0020), PS3.3 C.7.6.1.1.1
	byAngles      = "positioner angles"   // (0018,1510), (0018,1511), turned by (0018,7032), flipped by (0018,7034)
	byPosition    = "Patient Position"    // (0018,5100), PS3.3 C.7.3.1.1.2
	byCode        = "View Code Sequence"  // (0054,0220), PS3.16 CID 4010
	byView        = "View Position"       // (0018,5101)
	byMarks       = "marks on this film"  // promontory, coccyx tip, numbered foramina and fusion lines
	byNone        = "not known: the observer must say"
	bySeveral     = "sources disagree"
)

// Read decides what one film shows of the patient from its header, the marks
// on it and what the observer states.
//
// View: the statement; else the positioner's angles; else View Code Sequence;
// else View Position; else the letters of Patient Orientation. Where a lower
// source says another view, ViewSource says so.
//
// Cranial: the statement; else Patient Orientation, the positioner's angles and
// ordered landmarks on the film, which must agree.
//
// PatientLeft, on a frontal film only: Patient Orientation, the positioner's
// angles, Patient Position and an unconfirmed statement must agree on the edge,
// else it is withheld and LeftConflict says who says what. A named observer's
// statement with a basis of SideBases confirms it over all of them. A header
// that puts the head where the film does not show it is not believed about left
// either. The header never confirms: it says where the beam went and what was
// typed in, not what was done to the pixels.
func Read(ref FrameRef, g imaging.Geometry, book Book) Reading {
	f := film{said: book.aboutFilm(ref), sources: headerSources(g)}
	f.readView(g)
	f.head, f.headKnown = headByMarks(ref, book.Marks, f.View)
	f.readCranial()
	f.readLeft()
	return f.Reading
}

type film struct {
	Reading
	said      filmClaims
	sources   []source
	head      heading // which way the head lies by the marks
	headKnown bool
}

// source is one thing in the header that says which way the patient lies.
type source struct {
	name string
	imaging.Orientation
	view imaging.View // the view it takes for granted; NoView: any
}

// headerSources reads the header's three sources, those that say something.
func headerSources(g imaging.Geometry) (out []source) {
	if o, ok := orientation(g.PatientOrientation); ok {
		out = append(out, source{byOrientation, o, imaging.NoView})
	}
	if view, ok := g.ViewByAngles(); ok {
		if o, ok := carm.Orientation(g); ok {
			out = append(out, source{byAngles, o, view})
		}
	}
	if o, ok := positionOrientation(g); ok {
		out = append(out, source{byPosition, o, imaging.Frontal})
	}
	return out
}

// orientation reads Patient Orientation: up to three letters of L, R, A, P, H,
// F to an axis, the most prominent first (PS3.3 C.7.6.1.1.1), in capitals or
// not. A value that cannot be a pair of image axes says nothing.
func orientation(values [2]string) (imaging.Orientation, bool) {
	row, ok1 := letters(values[0])
	column, ok2 := letters(values[1])
	if !ok1 || !ok2 || row+column == "" {
		return imaging.Orientation{}, false
	}
	if row != "" && column != "" && pair(row[0]) == pair(column[0]) {
		return imaging.Orientation{}, false // both axes along one line of the body
	}
	return imaging.Orientation{Row: row, Column: column}, true
}

// letters of one axis in capitals; not ok where they are no direction.
func letters(v string) (string, bool) {
	v = strings.ToUpper(strings.TrimSpace(v))
	seen := ""
	for i := range len(v) {
		p := pair(v[i])
		if p == 0 || strings.IndexByte(seen, p) >= 0 {
			return "", false
		}
		seen += string(p)
	}
	return v, true
}

// pair names the line of the body a letter lies on: L for L and R, A for A and
// P, H for H and F; 0 for no letter of a direction.
func pair(letter byte) byte {
	switch letter {
	case 'L', 'R':
		return 'L'
	case 'A', 'P':
		return 'A'
	case 'H', 'F':
		return 'H'
	}
	return 0
}

// positionOrientation is how a frontal film lies if the patient lay as Patient
// Position says and the source stood under the table, as it usually does
// (common practice, no source): supine as at primary angle 0, prone as at 180,
// turned and flipped like the rest. Lying on a side, or with a side or the
// front first, says nothing.
func positionOrientation(g imaging.Geometry) (imaging.Orientation, bool) {
	switch strings.ToUpper(strings.TrimSpace(g.PatientPosition)) {
	case "HFS", "FFS":
		g.PrimaryAngle = imaging.Known(0)
	case "HFP", "FFP":
		g.PrimaryAngle = imaging.Known(180)
	default:
		return imaging.Orientation{}, false
	}
	g.SecondaryAngle = imaging.Known(0)
	return carm.Orientation(g)
}

func (f *film) readView(g imaging.Geometry) {
	type says struct {
		name string
		view imaging.View
	}
	var all []says
	if v, ok := g.ViewByAngles(); ok {
		all = append(all, says{byAngles, v})
	}
	if v := g.ViewCode.View(); v != imaging.NoView {
		all = append(all, says{byCode, v})
	}
	if v := viewByPosition(g.ViewPosition); v != imaging.NoView {
		all = append(all, says{byView, v})
	}
	if o, ok := orientation(g.PatientOrientation); ok {
		if v := viewByLetters(o); v != imaging.NoView {
			all = append(all, says{byOrientation, v})
		}
	}
	switch {
	case f.said.view.known():
		f.View, f.ViewSource = f.said.view.value, f.said.view.stated()
	case len(all) > 0:
		f.View, f.ViewSource = all[0].view, all[0].name
	default:
		f.ViewSource = byNone
		return
	}
	for _, s := range all {
		if s.view != f.View {
			f.ViewSource += "; " + say(s.name) + " " + string(s.view)
		}
	}
}

// say puts the verb to the names of sources.
func say(names ...string) string {
	if len(names) == 1 && names[0] != byAngles && names[0] != byMarks {
		return names[0] + " says"
	}
	return words(names) + " say"
}

// viewByPosition reads View Position (0018,5101): AP, PA, LL (left lateral), RL
// (right lateral), RLO and LLO (obliques) are the defined terms of PS3.3 C.8.1.1
// (memory); the spelled-out words are common practice, no source. Decubitus
// terms say how the patient lay, not the view.
func viewByPosition(v string) imaging.View {
	switch strings.ToUpper(strings.TrimSpace(v)) {
	case "AP", "PA":
		return imaging.Frontal
	case "LL", "RL", "LAT", "LLAT", "RLAT", "LATERAL", "LEFT LATERAL", "RIGHT LATERAL":
		return imaging.Lateral
	case "RLO", "LLO", "RAO", "LAO", "RPO", "LPO", "OBLIQUE":
		return imaging.Oblique
	}
	return imaging.NoView
}

// viewByLetters reads the view from the axes of the image: left-right and
// head-foot make a frontal film, front-back and head-foot a lateral one. A
// letter of the third line of the body means the film was taken at a slant of
// unknown size: no view is claimed.
func viewByLetters(o imaging.Orientation) imaging.View {
	if !o.Known() {
		return imaging.NoView
	}
	lines := map[byte]bool{}
	for _, v := range o.Row + o.Column {
		lines[pair(byte(v))] = true
	}
	switch {
	case len(lines) == 2 && lines['L'] && lines['H']:
		return imaging.Frontal
	case len(lines) == 2 && lines['A'] && lines['H']:
		return imaging.Lateral
	}
	return imaging.NoView
}
