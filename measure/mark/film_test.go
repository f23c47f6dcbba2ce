package mark_test

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"reflect"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
)

var film = mark.One("1.2.3", 1)

// angled is a header with positioner angles only.
func angled(primary, secondary float64) imaging.Geometry {
	return imaging.Geometry{Columns: 1000, Rows: 1000,
		PrimaryAngle: imaging.Known(primary), SecondaryAngle: imaging.Known(secondary)}
}

func turned(g imaging.Geometry, degrees float64, flip bool) imaging.Geometry {
	g.FieldOfViewRotation = imaging.Known(degrees)
	g.FieldOfViewFlip = "NO"
	if flip {
		g.FieldOfViewFlip = "YES"
	}
	return g
}

func oriented(g imaging.Geometry, row, column string) imaging.Geometry {
	g.PatientOrientation = [2]string{row, column}
	return g
}

func lying(g imaging.Geometry, position string) imaging.Geometry {
	g.PatientPosition = position
	return g
}

func states(s ...mark.Statement) mark.Book {
	b := mark.Book{Observer: "Ann"}
	for _, s := range s {
		if s.Observer == "" {
			s.Observer = "Ann"
		}
		b.Statements = append(b.Statements, s)
	}
	return b
}

func about(s mark.Statement) mark.Statement { s.Frame = film; return s }

var nothing mark.Book

const (
	left, right, top, bottom = imaging.Left, imaging.Right, imaging.Top, imaging.Bottom
	none                     = imaging.NoEdge
)

// Every turn and flip. Written by hand from PS3.3 C.8.7.5.1.2: at primary angle
// 0 the detector is in front of the chest, so the picture seen from it, head
// up, has the patient's left on its right; at 180 it is seen from behind, left
// on the left. A turn is clockwise (0018,7032): right goes to the bottom, top
// to the right. The flip (0018,7034) then swaps left and right.
var turns = []struct {
	primary, turn                     float64
	flip                              bool
	patientLeft, head                 imaging.Edge
	orientationRow, orientationColumn string
}{
	{0, 0, false, right, top, "L", "F"},
	{0, 90, false, bottom, right, "H", "L"},
	{0, 180, false, left, bottom, "R", "H"},
	{0, 270, false, top, left, "F", "R"},
	{0, 0, true, left, top, "R", "F"},
	{0, 90, true, bottom, left, "F", "L"},
	{0, 180, true, right, bottom, "L", "H"},
	{0, 270, true, top, right, "H", "R"},
	{180, 0, false, left, top, "R", "F"},
	{180, 90, false, top, right, "H", "R"},
	{180, 180, false, right, bottom, "L", "H"},
	{180, 270, false, bottom, left, "F", "L"},
	{180, 0, true, right, top, "L", "F"},
	{180, 90, true, top, left, "F", "R"},
	{180, 180, true, left, bottom, "R", "H"},
	{180, 270, true, bottom, right, "H", "L"},
}

func TestLeftByEveryTurnAndFlip(t *testing.T) {
	for _, c := range turns {
		prone := "HFS"
		other := "HFP"
		if c.primary == 180 {
			prone, other = other, prone
		}
		t.Run(fmt.Sprintf("%g turned %g flipped %v", c.primary, c.turn, c.flip), func(t *testing.T) {
			blank := turned(imaging.Geometry{}, c.turn, c.flip)
			byAngles := turned(angled(c.primary, 0), c.turn, c.flip)
			for _, s := range []struct {
				what   string
				g      imaging.Geometry
				source string
				head   imaging.Edge
			}{
				{"angles", byAngles, "positioner angles: from header, not confirmed", c.head},
				{"orientation", oriented(blank, c.orientationRow, c.orientationColumn), "Patient Orientation: from header, not confirmed", c.head},
				{"all", lying(oriented(byAngles, c.orientationRow, c.orientationColumn), prone),
					"Patient Orientation, positioner angles, Patient Position: from header, not confirmed", c.head},
			} {
				r := mark.Read(film, s.g, nothing)
				if r.View != imaging.Frontal || r.PatientLeft != c.patientLeft || r.Cranial != s.head || r.LeftConfirmed || r.LeftConflict != "" {
					t.Errorf("%s: %+v, want left at the %s, head at the %s", s.what, r, c.patientLeft, s.head)
				}
				if r.LeftSource != s.source {
					t.Errorf("%s: source %q, want %q", s.what, r.LeftSource, s.source)
				}
			}
			// Patient Position alone; the view has to be told, the head too.
			r := mark.Read(film, lying(blank, prone), states(about(mark.Statement{View: imaging.Frontal})))
			if r.PatientLeft != c.patientLeft || r.LeftSource != "Patient Position: from header, not confirmed" || r.Cranial != none {
				t.Errorf("position alone: %+v, want left at the %s", r, c.patientLeft)
			}
			// The other way up than the angles and the pixels say.
			r = mark.Read(film, lying(byAngles, other), nothing)
			if r.PatientLeft != none || !strings.Contains(r.LeftConflict, "Patient Position") || !strings.Contains(r.LeftConflict, "positioner angles") {
				t.Errorf("%s against angles: %+v, want a conflict that names both", other, r)
			}
		})
	}
}

func TestSideByEveryTurnAndFlip(t *testing.T) {
	// A device 60 px towards the patient's left is on the left, whichever
	// way the picture was turned.
	steps := map[imaging.Edge]r2.Vec{left: {X: -60}, right: {X: 60}, top: {Y: -60}, bottom: {Y: 60}}
	for _, c := range turns {
		r := mark.Read(film, turned(angled(c.primary, 0), c.turn, c.flip), nothing)
		to := steps[c.patientLeft]
		for _, tilt := range []float64{-0.5, 0, 0.5} { // the midline 27 degrees off
			v := r2.Vec{X: to.X - tilt*to.Y, Y: to.Y + tilt*to.X}
			if d := mark.DecideSide("N1", r, v, true, nothing); d.Side != mark.LeftSide || d.Confirmed || d.Conflict != "" {
				t.Errorf("%+v: towards the patient's left: %+v", c, d)
			}
			if d := mark.DecideSide("N1", r, r2.Scale(-1, v), true, nothing); d.Side != mark.RightSide || d.Confirmed || d.Conflict != "" {
				t.Errorf("%+v: away from the patient's left: %+v", c, d)
			}
		}
	}
}

func TestView(t *testing.T) {
	// Angles: within 20 degrees, PS3.3 C.8.7.5.1.2. View Position: PS3.3
	// C.8.1.1 (memory). Letters: PS3.3 C.7.6.1.1.1.
	position := func(v string) imaging.Geometry { return imaging.Geometry{ViewPosition: v} }
	letters := func(row, column string) imaging.Geometry { return oriented(imaging.Geometry{}, row, column) }
	lateral := imaging.Code{Value: "399067008", Scheme: "SCT"} // PS3.16 CID 4010
	for _, c := range []struct {
		name   string
		g      imaging.Geometry
		book   mark.Book
		view   imaging.View
		source string
	}{
		{"nothing", imaging.Geometry{}, nothing, imaging.NoView, "not known: the observer must say"},
		{"0", angled(0, 0), nothing, imaging.Frontal, "positioner angles"},
		{"-180", angled(-180, 0), nothing, imaging.Frontal, "positioner angles"},
		{"-165", angled(-165, 20), nothing, imaging.Frontal, "positioner angles"},
		{"90", angled(90, 0), nothing, imaging.Lateral, "positioner angles"},
		{"-110", angled(-110, -20), nothing, imaging.Lateral, "positioner angles"},
		{"45", angled(45, 0), nothing, imaging.Oblique, "positioner angles"},
		{"0/25", angled(0, 25), nothing, imaging.Oblique, "positioner angles"},
		{"one angle", imaging.Geometry{PrimaryAngle: imaging.Known(0)}, nothing, imaging.NoView, "not known: the observer must say"},
		{"AP", position("AP"), nothing, imaging.Frontal, "View Position"},
		{"pa", position(" pa "), nothing, imaging.Frontal, "View Position"},
		{"LL", position("LL"), nothing, imaging.Lateral, "View Position"},
		{"RL", position("RL"), nothing, imaging.Lateral, "View Position"},
		{"LATERAL", position("LATERAL"), nothing, imaging.Lateral, "View Position"},
		{"RLO", position("RLO"), nothing, imaging.Oblique, "View Position"},
		{"LLD", position("LLD"), nothing, imaging.NoView, "not known: the observer must say"},
		{"nonsense", position("XX"), nothing, imaging.NoView, "not known: the observer must say"},
		{"L-F", letters("L", "F"), nothing, imaging.Frontal, "Patient Orientation"},
		{"H-L", letters("H", "L"), nothing, imaging.Frontal, "Patient Orientation"},
		{"LF-FR", letters("LF", "FR"), nothing, imaging.Frontal, "Patient Orientation"},
		{"P-F", letters("P", "F"), nothing, imaging.Lateral, "Patient Orientation"},
		{"F-A", letters("F", "A"), nothing, imaging.Lateral, "Patient Orientation"},
		{"axial", letters("L", "P"), nothing, imaging.NoView, "not known: the observer must say"},
		{"slanted", letters("LP", "F"), nothing, imaging.NoView, "not known: the observer must say"},
		{"one axis", letters("L", ""), nothing, imaging.NoView, "not known: the observer must say"},
		{"garbage", letters("LX", "F"), nothing, imaging.NoView, "not known: the observer must say"},
		{"angles over the rest", oriented(imaging.Geometry{PrimaryAngle: imaging.Known(90), SecondaryAngle: imaging.Known(0), ViewPosition: "AP"}, "L", "F"), nothing,
			imaging.Lateral, "positioner angles; View Position says frontal; Patient Orientation says frontal"},
		{"code", imaging.Geometry{ViewCode: lateral}, nothing, imaging.Lateral, "View Code Sequence"},
		{"code over View Position", imaging.Geometry{ViewCode: lateral, ViewPosition: "AP"}, nothing, imaging.Lateral, "View Code Sequence; View Position says frontal"},
		{"angles over code", imaging.Geometry{PrimaryAngle: imaging.Known(0), SecondaryAngle: imaging.Known(0), ViewCode: lateral}, nothing,
			imaging.Frontal, "positioner angles; View Code Sequence says lateral"},
		{"stated", imaging.Geometry{}, states(about(mark.Statement{View: imaging.Lateral})), imaging.Lateral, "stated by Ann"},
		{"stated as the angles", angled(90, 0), states(about(mark.Statement{View: imaging.Lateral})), imaging.Lateral, "stated by Ann"},
		{"stated against angles", angled(0, 0), states(about(mark.Statement{View: imaging.Lateral})), imaging.Lateral, "stated by Ann; positioner angles say frontal"},
		{"stated twice", imaging.Geometry{}, states(about(mark.Statement{View: imaging.Lateral}), about(mark.Statement{View: imaging.Frontal, Observer: "Ben"})), imaging.Frontal, "stated by Ben"},
		{"stated oblique", imaging.Geometry{}, states(about(mark.Statement{View: imaging.Oblique})), imaging.Oblique, "stated by Ann"},
		{"stated of another frame", imaging.Geometry{}, states(mark.Statement{Frame: mark.One("1.2.3", 2), View: imaging.Lateral}), imaging.NoView, "not known: the observer must say"},
		{"stated of another instance", imaging.Geometry{}, states(mark.Statement{Frame: mark.One("1.2.4", 1), View: imaging.Lateral}), imaging.NoView, "not known: the observer must say"},
		{"stated of the whole instance", imaging.Geometry{}, states(mark.Statement{Frame: mark.FrameRef{Instance: "1.2.3"}, View: imaging.Lateral}), imaging.Lateral, "stated by Ann"},
		{"stated of a span", imaging.Geometry{}, states(mark.Statement{Frame: mark.FrameRef{Instance: "1.2.3", First: 1, Last: 4}, View: imaging.Lateral}), imaging.Lateral, "stated by Ann"},
		{"stated of no frame", imaging.Geometry{}, states(mark.Statement{View: imaging.Lateral}), imaging.NoView, "not known: the observer must say"},
	} {
		if r := mark.Read(film, c.g, c.book); r.View != c.view || r.ViewSource != c.source {
			t.Errorf("%s: %q (%s), want %q (%s)", c.name, r.View, r.ViewSource, c.view, c.source)
		}
	}
}

func TestStatementHoldsForItsFramesOnly(t *testing.T) {
	frames := func(first, last int) mark.FrameRef {
		return mark.FrameRef{Instance: "1.2.3", First: first, Last: last}
	}
	for _, c := range []struct {
		stated, asked mark.FrameRef
		holds         bool
	}{
		{frames(2, 2), frames(2, 2), true}, {frames(2, 0), frames(2, 2), true}, {frames(1, 4), frames(1, 4), true}, {frames(1, 4), frames(2, 3), true},
		{frames(1, 4), frames(4, 4), true}, {frames(0, 0), frames(7, 9), true},
		{frames(2, 2), frames(3, 3), false}, {frames(2, 2), frames(1, 1), false}, {frames(1, 1), frames(1, 4), false}, {frames(2, 2), frames(1, 4), false},
		{frames(1, 4), frames(5, 5), false}, {frames(1, 4), frames(3, 6), false}, {frames(2, 4), frames(1, 3), false},
	} {
		r := mark.Read(c.asked, imaging.Geometry{}, states(mark.Statement{Frame: c.stated, View: imaging.Lateral}))
		if (r.View == imaging.Lateral) != c.holds {
			t.Errorf("stated of %s, asked of %s: %+v", c.stated.Span(), c.asked.Span(), r)
		}
	}
}

func TestLeft(t *testing.T) {
	front := states(about(mark.Statement{View: imaging.Frontal}))
	with := func(s mark.Statement) mark.Book {
		s.View = imaging.Frontal
		return states(about(s))
	}
	header := lying(oriented(angled(180, 0), "R", "F"), "HFP") // all three: left at the left
	for _, c := range []struct {
		name      string
		g         imaging.Geometry
		book      mark.Book
		left      imaging.Edge
		source    string // exact
		confirmed bool
		conflict  []string // words the conflict must hold, in this order; empty: none
	}{
		{"nothing in the header", imaging.Geometry{}, front, none, "not known: the observer must say", false, nil},
		{"lateral", angled(90, 0), nothing, none, "not known: not a frontal film", false, nil},
		{"lateral, position prone", lying(angled(90, 0), "HFP"), nothing, none, "not known: not a frontal film", false, nil},
		{"oblique", angled(40, 0), nothing, none, "not known: not a frontal film", false, nil},
		{"no view", lying(imaging.Geometry{}, "HFP"), nothing, none, "not known: the view is not known", false, nil},
		{"prone, tilted", angled(-165, 15), nothing, left, "positioner angles: from header, not confirmed", false, nil},
		{"feet first, prone", lying(imaging.Geometry{}, "FFP"), front, left, "Patient Position: from header, not confirmed", false, nil},
		{"feet first, supine", lying(imaging.Geometry{}, "FFS"), front, right, "Patient Position: from header, not confirmed", false, nil},
		{"on the left side", lying(imaging.Geometry{}, "HFDL"), front, none, "not known: the observer must say", false, nil},
		{"on the right side", lying(angled(0, 0), "FFDR"), nothing, right, "positioner angles: from header, not confirmed", false, nil},
		{"left first", lying(imaging.Geometry{}, "LFP"), front, none, "not known: the observer must say", false, nil},
		{"orientation in small letters", oriented(imaging.Geometry{}, "l", "f"), nothing, right, "Patient Orientation: from header, not confirmed", false, nil},
		{"orientation LH-F", oriented(imaging.Geometry{}, "LH", "F"), nothing, right, "Patient Orientation: from header, not confirmed", false, nil},
		{"orientation of one axis", oriented(imaging.Geometry{}, "R", ""), front, left, "Patient Orientation: from header, not confirmed", false, nil},
		{"orientation garbled", oriented(angled(0, 0), "R?", "F"), nothing, right, "positioner angles: from header, not confirmed", false, nil},
		{"orientation of one line", oriented(angled(0, 0), "R", "L"), nothing, right, "positioner angles: from header, not confirmed", false, nil},
		{"orientation with both ends", oriented(angled(0, 0), "RL", "F"), nothing, right, "positioner angles: from header, not confirmed", false, nil},
		{"orientation of a lateral film", oriented(angled(0, 0), "P", "F"), nothing, right, "positioner angles: from header, not confirmed", false, nil},
		{"a turn of no right angle says nothing", turned(angled(0, 0), 45, false), nothing, none, "not known: the observer must say", false, nil},

		{"orientation against angles", oriented(angled(0, 0), "R", "F"), nothing, none, "sources disagree", false,
			[]string{"left edge by Patient Orientation", "right edge by positioner angles"}},
		{"two against one", lying(oriented(angled(180, 0), "R", "F"), "HFS"), nothing, none, "sources disagree", false,
			[]string{"left edge by Patient Orientation and positioner angles", "right edge by Patient Position"}},
		{"a supine default with a prone patient", lying(angled(0, 0), "HFP"), nothing, none, "sources disagree", false,
			[]string{"right edge by positioner angles", "left edge by Patient Position"}},
		{"a flip the orientation does not show", oriented(turned(angled(180, 0), 0, true), "R", "F"), nothing, none, "sources disagree", false,
			[]string{"left edge by Patient Orientation", "right edge by positioner angles"}},
		{"a turn the orientation does not show", oriented(turned(angled(180, 0), 90, false), "R", "F"), nothing, none, "sources disagree", false,
			[]string{"left edge by Patient Orientation", "top edge by positioner angles"}},

		{"stated alone", imaging.Geometry{}, with(mark.Statement{PatientLeft: left}), left, "stated by Ann, not confirmed", false, nil},
		{"stated as the header", header, with(mark.Statement{PatientLeft: left}), left,
			"Patient Orientation, positioner angles, Patient Position: from header, not confirmed; stated by Ann as well", false, nil},
		{"stated against the header", header, with(mark.Statement{PatientLeft: right, SideBasis: mark.Stated}), none, "sources disagree", false,
			[]string{"left edge by Patient Orientation, positioner angles and Patient Position", "right edge by the statement of Ann"}},
		{"lead marker alone", imaging.Geometry{}, with(mark.Statement{PatientLeft: left, SideBasis: mark.LeadMarker}), left, "lead marker in the field, confirmed by Ann", true, nil},
		{"theatre record with the header", header, with(mark.Statement{PatientLeft: left, SideBasis: mark.TheatreRecord}), left,
			"theatre record, confirmed by Ann; Patient Orientation, positioner angles and Patient Position agree", true, nil},
		{"known needle against the header", header, with(mark.Statement{PatientLeft: right, SideBasis: mark.KnownNeedle}), right,
			"known first needle, confirmed by Ann; the header says otherwise: at the left edge by Patient Orientation, positioner angles and Patient Position", true, nil},
		{"lead marker settles a conflict", oriented(angled(0, 0), "R", "F"), with(mark.Statement{PatientLeft: right, SideBasis: mark.LeadMarker}), right,
			"lead marker in the field, confirmed by Ann; positioner angles agree; the header says otherwise: at the left edge by Patient Orientation", true, nil},
		{"a basis of a level confirms no side", imaging.Geometry{}, with(mark.Statement{PatientLeft: left, SideBasis: mark.CountedAbove}), left, "stated by Ann, not confirmed", false, nil},
		{"nobody named confirms nothing", imaging.Geometry{}, mark.Book{Statements: []mark.Statement{
			{Observer: " ", Frame: film, View: imaging.Frontal, PatientLeft: left, SideBasis: mark.LeadMarker}}}, left, "stated, not confirmed", false, nil},
		{"a later word without basis takes the confirmation away", imaging.Geometry{}, states(
			about(mark.Statement{View: imaging.Frontal, PatientLeft: left, SideBasis: mark.LeadMarker}), about(mark.Statement{PatientLeft: right})), right, "stated by Ann, not confirmed", false, nil},
		{"a later basis without a side confirms nothing", imaging.Geometry{}, states(
			about(mark.Statement{View: imaging.Frontal, PatientLeft: left}), about(mark.Statement{SideBasis: mark.LeadMarker})), left, "stated by Ann, not confirmed", false, nil},
		{"a later word on something else leaves it", imaging.Geometry{}, states(
			about(mark.Statement{View: imaging.Frontal, PatientLeft: left, SideBasis: mark.LeadMarker}), about(mark.Statement{Cranial: top})), left, "lead marker in the field, confirmed by Ann", true, nil},

		{"frontal stated, angles lateral", angled(90, 0), front, none, "not known: the observer must say; positioner angles say lateral and were not used", false, nil},
		{"frontal stated, angles lateral, orientation there", oriented(angled(90, 0), "R", "F"), front, left,
			"Patient Orientation: from header, not confirmed; positioner angles say lateral and were not used", false, nil},
		{"lateral stated, header frontal", header, states(about(mark.Statement{View: imaging.Lateral})), none, "not known: not a frontal film", false, nil},
		{"lateral stated with a left", imaging.Geometry{}, states(about(mark.Statement{View: imaging.Lateral, PatientLeft: left, SideBasis: mark.LeadMarker})), none, "not known: not a frontal film", false, nil},

		{"head stated elsewhere than in the header", header, with(mark.Statement{Cranial: bottom}), none, "sources disagree", false,
			[]string{"head", "top edge by Patient Orientation, positioner angles and Patient Position", "bottom edge by the statement of Ann"}},
		{"head stated where the header has left", oriented(imaging.Geometry{}, "L", ""), with(mark.Statement{Cranial: right}), none, "sources disagree", false,
			[]string{"right edge by Patient Orientation", "head at the right edge"}},
		{"head and left stated on one line", imaging.Geometry{}, with(mark.Statement{Cranial: right, PatientLeft: left, SideBasis: mark.LeadMarker}), none, "sources disagree", false,
			[]string{"head is stated at the right edge", "left at the left edge"}},
		{"a confirmed left stands over a head stated elsewhere than in the header", header,
			with(mark.Statement{Cranial: bottom, PatientLeft: right, SideBasis: mark.LeadMarker}), right,
			"lead marker in the field, confirmed by Ann; the header says otherwise: at the left edge by Patient Orientation, positioner angles and Patient Position", true, nil},
	} {
		r := mark.Read(film, c.g, c.book)
		if r.PatientLeft != c.left || r.LeftSource != c.source || r.LeftConfirmed != c.confirmed {
			t.Errorf("%s: left %q, confirmed %v (%s), want %q, %v (%s)", c.name, r.PatientLeft, r.LeftConfirmed, r.LeftSource, c.left, c.confirmed, c.source)
		}
		if (r.LeftConflict == "") != (len(c.conflict) == 0) {
			t.Errorf("%s: conflict %q", c.name, r.LeftConflict)
		}
		rest := r.LeftConflict
		for _, w := range c.conflict {
			_, after, ok := strings.Cut(rest, w)
			if !ok {
				t.Errorf("%s: conflict %q does not say %q in its place", c.name, r.LeftConflict, w)
			}
			rest = after
		}
		if r.LeftConflict != "" && (r.PatientLeft != none || r.LeftConfirmed) {
			t.Errorf("%s: a left is named in spite of the conflict: %+v", c.name, r)
		}
		if strings.Contains(r.LeftConflict, "\n") || strings.Count(r.LeftConflict, ". ") > 0 {
			t.Errorf("%s: not one sentence: %q", c.name, r.LeftConflict)
		}
	}
}

// OpenCV turns and flips a picture whose right edge (the patient's left at
// primary angle 0) and top edge (the head) are known; where they end must be
// where the table above has them.
func TestTurnsByOpenCV(t *testing.T) {
	out, err := exec.Command("/usr/bin/python3", "-c", `
import cv2, json, numpy, sys
edges = {(0, 1): 'top', (2, 1): 'bottom', (1, 0): 'left', (1, 2): 'right'}
turns = {90: cv2.ROTATE_90_CLOCKWISE, 180: cv2.ROTATE_180, 270: cv2.ROTATE_90_COUNTERCLOCKWISE}
out = []
for primary in (0, 180):
    for flip in (False, True):
        for turn in (0, 90, 180, 270):
            p = numpy.zeros((3, 3), numpy.uint8)
            p[1, 2 if primary == 0 else 0] = 1
            p[0, 1] = 2
            if turn: p = cv2.rotate(p, turns[turn])
            if flip: p = cv2.flip(p, 1)
            at = lambda v: edges[tuple(int(i[0]) for i in numpy.where(p == v))]
            out.append([primary, turn, flip, at(1), at(2)])
json.dump(out, sys.stdout)`).Output()
	if err != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatalf("python3 with OpenCV: %v; install python3-opencv", err)
		}
		t.Skipf("python3 with OpenCV: %v", err)
	}
	var rows [][]any
	if err := json.Unmarshal(out, &rows); err != nil || len(rows) != len(turns) {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for i, c := range turns {
		want := []any{c.primary, c.turn, c.flip, string(c.patientLeft), string(c.head)}
		if !reflect.DeepEqual(rows[i], want) {
			t.Errorf("OpenCV has %v, the table %v", rows[i], want)
		}
	}
}
