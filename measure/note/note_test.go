package note_test

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/note"
	"leadline/measure/placement"
	"leadline/measure/scale"
	"leadline/measure/sidecar"
)

const distances = "Imager Pixel Spacing and the two distances, field centre"

var (
	lateral = mark.One("2.25.2", 1)
	frontal = mark.One("2.25.1", 1)
)

func result(object, quantity string, value, u95 float64, unit string) placement.Result {
	r := placement.Result{
		Object: object, Quantity: quantity, Plane: "lateral", Value: value, Unit: unit,
		HasU: u95 > 0, U95: u95, Lo: value - u95, Hi: value + u95, Contact: -1, Frames: []mark.FrameRef{lateral},
	}
	if strings.HasPrefix(quantity, "entry-") || quantity == "tip-caudal-to-si-line" || quantity == "frontal-deflection" {
		r.Plane, r.Frames = "frontal", []mark.FrameRef{frontal}
	}
	if unit == "mm" {
		r.Scale = distances
	}
	return r
}

func twoNeedles() sidecar.Report {
	return sidecar.Report{
		Book: mark.Book{Observer: "Observer A"},
		Placement: placement.Placement{
			Devices: []placement.Device{
				{Object: "N1", Kind: mark.Needle, Side: mark.LeftSide, SideSource: "theatre record, confirmed by Observer A", SideConfirmed: true,
					Level: "S3", LevelSource: "counted from above, transitional anatomy not seen (Observer A)", LevelConfirmed: true},
				{Object: "N2", Kind: mark.Needle, Side: mark.RightSide, SideSource: "Patient Orientation, positioner angles: from header, not confirmed",
					Level: "S3", LevelSource: "sacroiliac line only, level not confirmed"},
			},
			Films: []placement.FilmReading{
				{Film: placement.Film{Ref: frontal}, View: imaging.Frontal, Scale: scale.Scale{Known: true, Plane: scale.FieldCentre}},
				{Film: placement.Film{Ref: lateral}, View: imaging.Lateral, Scale: scale.Scale{Known: true, Plane: scale.FieldCentre}},
			},
			Results: []placement.Result{
				result("N1", "insertion-angle-chord", 70.4, 2.6, "deg"),
				result("N1", "insertion-angle-fusion", 8.2, 3.1, "deg"),
				result("N1", "tip-depth-along-needle", 3.4, 1.8, "mm"),
				result("N1", "entry-offset-midline", 21.6, 0.4, "mm"),
				result("N2", "insertion-angle-dorsal", 66.1, 5.2, "deg"),
				result("N2", "tip-depth-along-needle", -2.4, 1.8, "mm"),
				result("N2", "tip-caudal-to-si-line", -4.2, 1.4, "mm"),
			},
			Cautions: []string{"Side from header, not confirmed.", "Level rests on the sacroiliac line alone."},
		},
	}
}

// The wanted text is written by hand from the rules: whole units above a half
// width of 0.5 (rounded up as JCGM 100 7.2.6), side spelled out with its basis,
// the angle's reference named, a scale with every length.
func ExampleText() {
	text, err := note.Text(twoNeedles())
	fmt.Println(text, err)
	// Output:
	// Placement:
	// Read from fluoroscopic films by Observer A. ± is half the width of the 95 % interval. Scale of all lengths: Imager Pixel Spacing and the two distances, field centre.
	//
	// N1 (needle): LEFT, S3. Side: theatre record, confirmed by Observer A. Level: counted from above, transitional anatomy not seen (Observer A). The needle runs at 70 ± 3° to the dorsal surface of the sacrum (chord about the entry) on the lateral film. It enters 21.6 ± 0.4 mm lateral to the midline on the frontal film. Along the needle its tip is 3 ± 2 mm beyond the ventral margin.
	//
	// N2 (needle): RIGHT, S3. Side: Patient Orientation, positioner angles: from header, not confirmed. Level: sacroiliac line only, level not confirmed. The needle runs at 66 ± 6° to the dorsal surface of the sacrum (tangent at the entry) on the lateral film. Entry: not measured. Along the needle its tip is 2 ± 2 mm short of the ventral margin.
	//
	// Position  Side                  Level by film      Approach                   Tip or contact
	// N1        LEFT                  S3                 70 ± 3° to dorsal surface  3 ± 2 mm beyond margin
	// N2        RIGHT, not confirmed  S3, not confirmed  66 ± 6° to dorsal tangent  2 ± 2 mm short of margin
	//
	// Further measurements:
	// - N1, angle to fusion line: 8 ± 4°
	// - N2, tip from sacroiliac line: 4 ± 2 mm cranial
	//
	// Cautions:
	// - Side from header, not confirmed.
	// - Level rests on the sacroiliac line alone.
	// - Depth is to the midline sacral cortex, not to bowel, vessel or nerve.
	// - Position has not been shown to predict benefit.
	// - For review after the case, never for guidance.
	//
	// On record:
	// - Stored frames in both views: frontal and lateral.
	// - Side: N1 confirmed, N2 not confirmed.
	// - Implanted: not recorded.
	// - Programming: not recorded.
	//  <nil>
}

func text(t *testing.T, r sidecar.Report) string {
	t.Helper()
	s, err := note.Text(r)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestSideInConflictIsRefused(t *testing.T) {
	r := twoNeedles()
	r.Placement.Devices[1].Side = mark.NoSide
	r.Placement.Devices[1].SideConflict = "Patient Orientation puts the patient's left on the left edge, positioner angles on the right: confirm its side."
	s, err := note.Text(r)
	if s != "" || !errors.Is(err, imaging.ErrConflict) {
		t.Fatalf("got %q, %v; want no text and a conflict", s, err)
	}
	for _, want := range []string{"N2", "Patient Orientation puts the patient's left on the left edge", "confirm"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q is not in %q", want, err)
		}
	}
}

func TestSideNotStatedNamesNoSide(t *testing.T) {
	r := twoNeedles()
	for i := range r.Placement.Devices {
		r.Placement.Devices[i].Side, r.Placement.Devices[i].SideSource, r.Placement.Devices[i].SideConfirmed = mark.NoSide, "", false
	}
	s := text(t, r)
	for _, word := range []string{"LEFT", "RIGHT", " left", " right"} {
		if strings.Contains(s, word) {
			t.Errorf("a side is named where none is stated: %q in\n%s", word, s)
		}
	}
	if strings.Count(s, "): side not stated,") != 2 || strings.Count(s, "  side not stated  ") != 2 { // paragraph and table
		t.Errorf("that no side is stated is not said of each device:\n%s", s)
	}
}

func TestUnconfirmedIsAlwaysSaid(t *testing.T) {
	r := twoNeedles()
	d := &r.Placement.Devices[1]
	d.SideSource, d.LevelSource = "Patient Orientation", ""
	s := text(t, r)
	if !strings.Contains(s, "Side: Patient Orientation, not confirmed. Level: level not confirmed.") {
		t.Errorf("an unconfirmed side or level reads as settled:\n%s", s)
	}
}

func TestLevelInDoubtIsLeftOut(t *testing.T) {
	r := twoNeedles()
	d := &r.Placement.Devices[0]
	d.Level, d.LevelConfirmed, d.LevelConflict = "", false, "N1 is stated at S3 but enters the foramen marked S2."
	if s := text(t, r); !strings.Contains(s, "LEFT, level not stated.") || !strings.Contains(s, "Level left out: N1 is stated at S3 but enters the foramen marked S2. The needle") {
		t.Errorf("the doubt about the level is not told:\n%s", s)
	}
}

// Pixel Spacing alone may hold at the detector (PS3.3 10.7.1.1), and Imager Pixel
// Spacing does: such a length must not read as anatomy anywhere.
func TestMagnifiedIsNoAnatomy(t *testing.T) {
	for plane, want := range map[scale.Plane]string{
		scale.DetectorPlane: "on the detector, magnified",
		scale.UnknownPlane:  "in a plane not known, perhaps magnified",
	} {
		r := twoNeedles()
		for i := range r.Placement.Films {
			r.Placement.Films[i].Scale.Plane = plane
		}
		for i := range r.Placement.Results {
			if v := &r.Placement.Results[i]; v.Unit == "mm" {
				v.Magnified = true
				v.Lo, v.Hi = min(v.Lo, v.Lo/2), max(v.Hi, v.Hi/2)
			}
		}
		s := text(t, r)
		for _, line := range strings.Split(s, "\n") {
			for _, part := range regexp.MustCompile(`[.:] |  +`).Split(line, -1) {
				if strings.Contains(part, " mm") && (!strings.Contains(part, want) || !strings.Contains(part, "at the sacrum") || strings.Contains(part, "±")) {
					t.Errorf("a length reads as anatomy: %q", part)
				}
			}
		}
		// 3.4 ± 1.8 mm: from half of 1.6, which is not rounded to the margin, to 5.2.
		if tip := "Along the needle its tip is 3 mm " + want + "; 1 to 6 mm at the sacrum, beyond the ventral margin."; !strings.Contains(s, tip) {
			t.Errorf("want %q in\n%s", tip, s)
		}
	}
}

func TestScaleWords(t *testing.T) {
	g := imaging.Geometry{Kind: imaging.KindXA, ImagerSpacing: imaging.Spacing{Row: 0.2, Column: 0.2, Known: true}}
	if s := scale.From(g, nil); !strings.Contains(s.Source, "magnified, not anatomy") {
		t.Errorf("a scale at the detector is called %q", s.Source)
	}
}

func TestWithoutScaleNoMillimetre(t *testing.T) {
	r := twoNeedles()
	for i := range r.Placement.Results {
		if v := &r.Placement.Results[i]; v.Unit == "mm" {
			v.Unit, v.Scale = "px", ""
		}
	}
	s := text(t, r)
	if strings.Contains(s, " mm") {
		t.Errorf("millimetres without a scale:\n%s", s)
	}
	if !strings.Contains(s, "Lengths are in pixels: no scale.") {
		t.Errorf("the reason is not given:\n%s", s)
	}
}

func TestLeadIsReadByItsContacts(t *testing.T) {
	r := twoNeedles()
	contact := func(i int, depth float64, class string) placement.Result {
		v := result("L1", "contact-depth", depth, 1.8, "mm")
		v.Contact, v.Class = i, class
		return v
	}
	r.Placement.Devices = []placement.Device{{Object: "L1", Kind: mark.Lead, Side: mark.LeftSide, SideSource: "stated, not confirmed", Level: "S3", LevelSource: "stated, level not confirmed"}}
	r.Placement.Results = []placement.Result{
		contact(0, 14.2, "beyond"), contact(1, 0.3, "astride"), contact(2, -5.8, "short"),
		result("L1", "contacts-beyond-margin", 2, 0, "1"),
		result("L1", "tip-depth-perpendicular", 15.1, 1.8, "mm"),
	}
	s := text(t, r)
	want := "Contact 0 beyond the ventral margin, contact 1 astride the ventral margin, contact 2 short of the ventral margin; " +
		"centres 14 mm beyond, 0 mm, 6 mm short, each ± 2 mm at most, along the lead, contact 0 first."
	if !strings.Contains(s, want) {
		t.Errorf("want %q in\n%s", want, s)
	}
	if strings.Contains(s, "its tip") || strings.Contains(s, "15 ±") {
		t.Errorf("a lead's tip depth is no measure of good or bad and is not told:\n%s", s)
	}
	r.Placement.Results = []placement.Result{contact(0, 24.8, "beyond"), contact(1, 19.7, "beyond"), contact(2, 13.2, "beyond"), contact(3, 5.8, "beyond")}
	r.Placement.Results = append(r.Placement.Results, result("L1", "frontal-deflection", 12, 3, "deg"))
	r.Placement.Results[4].Class = "0-30"
	s = text(t, r)
	for _, want := range []string{
		"All four contacts beyond the ventral margin; centres 25, 20, 13, 6 mm beyond, each ± 2 mm at most, along the lead, contact 0 first.",
		"deflection from midline: 12 ± 3° lateral (0-30 degrees, published class)",
	} {
		if !strings.Contains(s, want) {
			t.Errorf("want %q in\n%s", want, s)
		}
	}
}

func TestNameSaysOfWhat(t *testing.T) {
	for want, r := range map[string]placement.Result{
		"angle to fusion line S2/S3":              {Quantity: "insertion-angle-fusion", Of: "S2/S3", Contact: -1},
		"change of depth since N1":                {Quantity: "depth-change", Of: "N1", Contact: -1},
		"change of depth since L1, contact 0":     {Quantity: "depth-change", Of: "L1", Contact: 0},
		"crossing with N2":                        {Quantity: "crossing", Of: "N2", Contact: -1},
		"contact 3 against margin":                {Quantity: "contact-depth", Contact: 3},
		"entry from midline":                      {Quantity: "entry-offset-midline", Contact: -1},
		"entry from medial edge, foramen S3 left": {Quantity: "entry-from-foramen-medial", Of: "foramen S3 left", Contact: -1},
	} {
		if got := note.Name(r); got != want {
			t.Errorf("%s is called %q, want %q", r.Quantity, got, want)
		}
	}
}

// Two scales in one note: that of most lengths stands once, a length of the other
// carries its own.
func TestOtherScaleStandsWithItsLength(t *testing.T) {
	r := twoNeedles()
	known := result("N2", "entry-offset-midline", 22.4, 1.2, "mm")
	known.Scale, known.Frames = "known length marked", []mark.FrameRef{frontal}
	r.Placement.Results = append(r.Placement.Results, known)
	s := text(t, r)
	for _, want := range []string{
		"Scale of lengths, where no other is named: " + distances + ".",
		"21.6 ± 0.4 mm lateral to the midline on the frontal film. ",
		"22 ± 2 mm lateral to the midline on the frontal film (scale: known length marked).",
		"tip from sacroiliac line: 4 ± 2 mm cranial\n",
	} {
		if !strings.Contains(s, want) {
			t.Errorf("want %q in\n%s", want, s)
		}
	}
}

// The entry is told in the needle's paragraph, with the words of the signs; a
// second foramen's stands in the list.
func TestEntryStandsWithTheNeedle(t *testing.T) {
	r := twoNeedles()
	of := func(name string, value float64, foramen string) placement.Result {
		v := result("N1", name, value, 2.3, "mm")
		v.Of = foramen
		return v
	}
	r.Placement.Results = append(r.Placement.Results,
		of("entry-from-foramen-medial", -2.6, "foramen S3"), of("entry-from-foramen-superior", 0.2, "foramen S3"),
		of("entry-from-foramen-medial", 9, "foramen S2"))
	s := text(t, r)
	for _, want := range []string{
		"It enters 21.6 ± 0.4 mm lateral to the midline, 3 ± 2 mm medial to the medial edge of foramen S3 and 0 ± 3 mm from the cranial edge of foramen S3 on the frontal film.",
		"entry from medial edge, foramen S2: 9 ± 3 mm lateral to it",
	} {
		if !strings.Contains(s, want) {
			t.Errorf("want %q in\n%s", want, s)
		}
	}
	if strings.Contains(s, "entry from midline") {
		t.Errorf("the entry is told twice:\n%s", s)
	}
}

// A note goes into the record: no file's name, which may be the patient's, and
// nothing for the observer to do.
func TestCautionsArePlain(t *testing.T) {
	r := twoNeedles()
	r.Placement.Films[0].Film.File, r.Placement.Films[0].View = "doe_jane.dcm", imaging.Frontal
	r.Placement.Devices[0].LevelConflict = "The marks of N1 are given the levels S2 and S3: correct the level of its marks."
	r.Placement.Cautions = append(r.Placement.Cautions, "N2: Side from header, not confirmed.",
		"doe_jane.dcm: the header gives no pixel spacing; mark a known length to have a scale; lengths are in pixels.",
		"doe_jane.dcm: The midline runs across: confirm the patient's left on this film with a lead marker.")
	s := text(t, r)
	for _, bad := range []string{"doe_jane", "confirm the", ": correct"} {
		if strings.Contains(s, bad) {
			t.Errorf("the note says %q:\n%s", bad, s)
		}
	}
	for _, want := range []string{"- N2: Side from header, not confirmed.\n", "- Frontal film: The midline runs across.\n",
		"- Frontal film: the header gives no pixel spacing; lengths are in pixels.\n",
		"Level left out: The marks of N1 are given the levels S2 and S3. The needle"} {
		if !strings.Contains(s, want) {
			t.Errorf("want %q in\n%s", want, s)
		}
	}
}

func TestNothingMarkedIsRefused(t *testing.T) {
	if s, err := note.Text(sidecar.Report{Book: mark.Book{Observer: "A"}}); s != "" || !errors.Is(err, imaging.ErrBadInput) {
		t.Errorf("%q, %v", s, err)
	}
}
