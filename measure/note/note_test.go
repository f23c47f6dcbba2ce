package note_test

import (
	"errors"
	"fmt"
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
				{Film: placement.Film{Ref: frontal}, Scale: scale.Scale{Known: true, Plane: scale.FieldCentre}},
				{Film: placement.Film{Ref: lateral}, Scale: scale.Scale{Known: true, Plane: scale.FieldCentre}},
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
	// Read from fluoroscopic films by Observer A.
	//
	// N1 (needle): LEFT, S3. Side: theatre record, confirmed by Observer A. Level: counted from above, transitional anatomy not seen (Observer A). The needle runs at 70 ± 3° to the dorsal surface of the sacrum (chord about the entry) on the lateral film. Its tip is 3 ± 2 mm beyond the ventral margin, along the needle (scale: Imager Pixel Spacing and the two distances, field centre).
	//
	// N2 (needle): RIGHT, S3. Side: Patient Orientation, positioner angles: from header, not confirmed. Level: sacroiliac line only, level not confirmed. The needle runs at 66 ± 6° to the dorsal surface of the sacrum (tangent at the entry) on the lateral film. Its tip is 2 ± 2 mm short of the ventral margin, along the needle (scale: Imager Pixel Spacing and the two distances, field centre).
	//
	// Further measurements (± is half the width of the 95 % interval; scale of lengths: Imager Pixel Spacing and the two distances, field centre):
	// - N1, angle to fusion line: 8 ± 4°; entry from midline: 21.6 ± 0.4 mm lateral
	// - N2, tip caudal to sacroiliac line: 4 ± 2 mm cranial
	//
	// Cautions:
	// - Side from header, not confirmed.
	// - Level rests on the sacroiliac line alone.
	// - Depth is to the midline sacral cortex, not to bowel, vessel or nerve.
	// - Position has not been shown to predict benefit.
	// - For review after the case, never for guidance.
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
	if strings.Count(s, "side not stated") != 2 {
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

// Pixel Spacing alone may hold at the detector (PS3.3 10.7.1.1): such a length
// must not read as anatomy. That of a scale known to be the detector's is said
// to be magnified in the scale's own words, which TestScaleWords holds fast.
func TestUnknownPlaneIsNoAnatomy(t *testing.T) {
	const want = "perhaps magnified, not anatomy"
	r := twoNeedles()
	for i := range r.Placement.Films {
		r.Placement.Films[i].Scale.Plane = scale.UnknownPlane
	}
	s := text(t, r)
	for _, line := range strings.Split(s, "\n") {
		listed := strings.HasPrefix(line, "- ") // its scale stands at the list's head
		if strings.Contains(line, " mm") && !listed && !strings.Contains(line, want) {
			t.Errorf("a length reads as anatomy: %q", line)
		}
	}
	if !strings.Contains(s, "lengths "+want) {
		t.Errorf("the list's lengths read as anatomy:\n%s", s)
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
	if strings.Contains(s, "mm") {
		t.Errorf("millimetres without a scale:\n%s", s)
	}
	if !strings.Contains(s, "3 ± 2 px beyond the ventral margin, along the needle (in pixels: no scale)") {
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
	want := "Contacts, 0 nearest the tip, against the ventral margin: 0 beyond (14 ± 2 mm beyond margin), 1 astride (0 ± 2 mm beyond margin), " +
		"2 short (6 ± 2 mm short of margin) (centres, along the lead; scale: " + distances + "). 2 beyond or astride."
	if !strings.Contains(s, want) {
		t.Errorf("want %q in\n%s", want, s)
	}
	if strings.Contains(s, "Its tip") || strings.Contains(s, "15 ±") {
		t.Errorf("a lead's tip depth is no measure of good or bad and is not told:\n%s", s)
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

// Two scales in one list: each row carries its own.
func TestEachLengthCarriesItsScale(t *testing.T) {
	r := twoNeedles()
	known := result("N2", "entry-offset-midline", 22.4, 1.2, "mm")
	known.Scale, known.Frames = "known length marked", []mark.FrameRef{frontal}
	r.Placement.Results = append(r.Placement.Results, known)
	s := text(t, r)
	for _, want := range []string{
		"entry from midline: 21.6 ± 0.4 mm lateral (scale: " + distances + ")\n",
		"; entry from midline: 22 ± 2 mm lateral (scale: known length marked)\n",
	} {
		if !strings.Contains(s, want) {
			t.Errorf("want %q in\n%s", want, s)
		}
	}
}
