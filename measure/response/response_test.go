package response_test

import (
	"bytes"
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/response"
)

const log = `object,contact,pelvic-floor,leg-foot,sensory,unit,polarity,pulse-width-us,rate-hz,motor,sensation,evoked-uv,state,root,note
N1,,1.2,1.8,,mA,needle- pad+,200,5,bellows great-toe,,120,sedated,,first pass
N1.2,,0.8,>3,,mA,needle- pad+,200,5,bellows,,,sedated,,"'=not a formula, text"
N2,,>3,2.5,,mA,,210,,leg-rotation calf,,,sedated,,
L1,0,1,,1.5,V,0- case+,210,14,bellows great-toe,rectum scrotum-labia,,awake,S3,
L1,3,,,>4,V,,,,,none,,awake,,
`

func tests(t *testing.T, csv string) []response.Test {
	t.Helper()
	out, err := response.ReadCSV(strings.NewReader(csv))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// What is read is written by hand above; what is written is read again as it was.
func TestCSV(t *testing.T) {
	got := tests(t, log)
	want := response.Test{
		Object: "N1", Contact: -1, PelvicFloor: response.At(1.2), LegFoot: response.At(1.8), Unit: "mA", Polarity: "needle- pad+",
		PulseWidth: imaging.Known(200), Rate: imaging.Known(5), Motor: []response.Motor{response.Bellows, response.GreatToe},
		Evoked: imaging.Known(120), State: response.Sedated, Note: "first pass",
	}
	if !reflect.DeepEqual(got[0], want) {
		t.Errorf("got %+v\nwant %+v", got[0], want)
	}
	if got[1].LegFoot != response.NoneUpTo(3) || got[1].Note != "=not a formula, text" {
		t.Errorf("%+v", got[1])
	}
	var b bytes.Buffer
	if err := response.WriteCSV(&b, got); err != nil {
		t.Fatal(err)
	}
	if again := tests(t, b.String()); !reflect.DeepEqual(again, response.Sorted(got)) {
		t.Errorf("written and read again:\n%+v\nwant\n%+v", again, got)
	}
	if !strings.Contains(b.String(), `"'=not a formula, text"`) {
		t.Errorf("a note may run:\n%s", b.String())
	}
}

func TestRefusalsNameTheLine(t *testing.T) {
	head := "object,contact,pelvic-floor,leg-foot,sensory,unit,polarity,pulse-width-us,rate-hz,motor,sensation,state,root,note\nN1,,1,,,mA,,,,,,,,\n"
	for row, want := range map[string]string{
		",,1,,,mA,,,,,,,,":                              "no object",
		"X1,,1,,,mA,,,,,,,,":                            `object "X1" is no position`,
		"N1,,2,,,mA,,,,,,,,":                            "N1 stands on line 2 already with the same settings",
		"L1,,2,,,mA,,,,,,,,":                            "contact of L1: say which was tested",
		"L1,x,2,,,mA,,,,,,,,":                           `contact "x" is not a number from 0`,
		"N2,1,2,,,mA,,,,,,,,":                           "N2 has no contacts",
		`N2,,"1,2",,,mA,,,,,,,,`:                        `pelvic-floor "1,2" is neither an amplitude nor > and one`,
		"N2,,1.2 mA,,,mA,,,,,,,,":                       "is neither an amplitude",
		"N2,,-1,,,mA,,,,,,,,":                           `pelvic-floor "-1" is neither an amplitude`,
		"N2,,0,,,mA,,,,,,,,":                            "pelvic-floor: 0 is no amplitude above 0",
		"N2,,1200,,,mA,,,,,,,,":                         "pelvic-floor: 1200 is no amplitude above 0 and up to 100",
		"N2,,1,,,,,,,,,,,":                              "pelvic-floor: an amplitude without a unit: say mA or V",
		"N2,,1,,,ma,,,,,,,,":                            `unit "ma" is not known: use mA or V`,
		"N2,,1,,,mA,0+-,,,,,,,":                         `polarity "0+-" is not known`,
		"N2,,1,,,mA,,0.2 ms,,,,,,":                      `pulse-width-us "0.2 ms" is not a number`,
		"N2,,1,,,mA,,210000,,,,,,":                      "pulse width: 210000 µs is not above 0 and up to 5000",
		"N2,,1,,,mA,,,,toe,,,,":                         `motor response "toe" is not known: use bellows, clamp`,
		"N2,,1,,,mA,,,,bellows bellows,,,,":             "motor response bellows stands there twice",
		"N2,,1,,,mA,,,,none bellows,,,,":                "motor response none goes with no other",
		"N2,,1,,,mA,,,,none,,,,":                        "pelvic-floor: a threshold of 1, yet the response is none",
		"N2,,>3,,,mA,,,,bellows,,,,":                    "pelvic-floor: no response up to 3, yet one is named",
		"N2,,,,>3,mA,,,,,rectum,,,":                     "sensory: no response up to 3, yet one is named",
		"N2,,1,,,mA,,,,,head,,,":                        `sensation "head" is not known: use rectum`,
		"N2,,1,,,mA,,,,,,asleep,,":                      `state "asleep" is not known: use awake, sedated or relaxed`,
		"N2,,1,,,mA,,,,,,,S6,":                          `root "S6" is not known`,
		"N2,,,,,mA,,,,,,,,":                             "N2: nothing is recorded",
		"N2,,1,,,mA,,,,,,,," + strings.Repeat("x", 501): "note: a line of at most 500 characters",
		"N2,,1,,,mA,,,,,,,,\"two\nlines\"":              "note: a line",
		"N2,,1,,,mA,,,,,,,,,extra":                      `"extra" stands under no column`,
		"N2,,1,,,mA,,,,,,,,turned \u202eround":          "note: a line",
		"N2,,NaN,,,mA,,,,,,,,":                          "is neither an amplitude",
		"N2,,1e1,,,mA,,,,,,,,":                          "is neither an amplitude",
		"N2,,>,,,mA,,,,,,,,":                            "is neither an amplitude",
		"N2,,1,,,mA,0- 0- 16+,,,,,,,":                   `polarity "16+" is not known`,
		"N1.2.3,,1,,,mA,,,,,,,,":                        "is no position",
		"=HYPERLINK(),,1,,,mA,,,,,,,,":                  "is no position",
		"W1,0,1,,,mA,,,,,,,,":                           "W1 has no contacts",
		"L1,16,1,,,mA,,,,,,,,":                          "contact of L1",
		"L1,256,1,,,mA,,,,,,,,":                         "contact \"256\" is not a number",
		"N2,,1,,,mA,,,-5,,,,,":                          `rate-hz "-5" is not a number`,
		"N2,,1,,,mA,,,0,,,,,":                           "rate: 0 Hz is not above 0",
	} {
		out, err := response.ReadCSV(strings.NewReader(head + row + "\n"))
		if out != nil || !errors.Is(err, imaging.ErrBadInput) || !strings.HasPrefix(err.Error(), "line 3: ") || !strings.Contains(err.Error(), want) || strings.Count(err.Error(), "\n") > 0 {
			t.Errorf("%s: %v, want line 3 and %q", row, err, want)
		}
	}
}

func levels(l ...mark.Level) []mark.Level { return l }

// The roots of textbooks (three columns of the usual table: S2 clamp, leg rotation,
// calf; S3 bellows and great toe; S4 bellows alone), from memory of several.
func TestRoots(t *testing.T) {
	m := func(words ...response.Motor) response.Test {
		return response.Test{Object: "N1", Contact: -1, Motor: words}
	}
	none := m(response.Bellows)
	none.LegFoot = response.NoneUpTo(3)
	stated := none
	stated.Root = "S2"
	for _, c := range []struct {
		test  response.Test
		roots []mark.Level
		words string
	}{
		{m(response.Bellows, response.GreatToe), levels("S3"), "S3 by pattern"},
		{m(response.Bellows, response.OtherToes), levels("S3"), "S3 by pattern"},
		{m(response.Clamp, response.LegRotation), levels("S2"), "S2 by pattern"},
		{m(response.Calf), levels("S2"), "S2 by pattern"},
		{none, levels("S4"), "S4 by pattern"},
		{m(response.Bellows), levels("S3", "S4"), "S3 or S4: leg and foot not recorded"},
		{m(response.GreatToe), nil, "not settled: toe without bellows"},
		{m(response.Bellows, response.Calf), levels("S2", "S3"), "S2 or S3: signs of both"},
		{m(response.NoMotor), nil, ""},
		{m(response.LittleToe, response.Bellows), nil, ""},
		{stated, levels("S2"), "S2 stated"},
	} {
		roots, _ := c.test.Roots()
		if !slices.Equal(roots, c.roots) || c.test.RootWords() != c.words {
			t.Errorf("%v: %v, %q, want %v, %q", c.test.Motor, roots, c.test.RootWords(), c.roots, c.words)
		}
	}
	if !none.Disagrees("S3") || none.Disagrees("S4") || none.Disagrees("") || m(response.GreatToe).Disagrees("S3") {
		t.Error("disagreement with the film is told wrongly")
	}
}

func film() placement.Placement {
	device := func(o string, k mark.Structure, s mark.Side, l mark.Level) placement.Device {
		return placement.Device{Object: o, Kind: k, Side: s, Level: l}
	}
	return placement.Placement{
		Devices: []placement.Device{device("N2", mark.Needle, mark.RightSide, "S3"), device("N1", mark.Needle, mark.LeftSide, "S3"),
			device("N1.2", mark.Needle, mark.LeftSide, "S3"), device("L1", mark.Lead, mark.LeftSide, "S3"), device("N3", mark.Needle, "", "")},
		Results: []placement.Result{
			{Object: "N1", Quantity: "tip-depth-along-needle", Value: 3, Unit: "mm", Contact: -1},
			{Object: "N1", Quantity: "tip-depth-along-needle", Plane: "3d", Value: 4, Unit: "mm", Contact: -1},
			{Object: "L1", Quantity: "contact-depth", Value: 12, Unit: "mm", Contact: 0},
			{Object: "L1", Quantity: "contact-depth", Value: -2, Unit: "mm", Contact: 3},
		},
	}
}

// Thresholds are set beside each other only with the same unit, pulse width, kind
// of device and kind of response.
func TestComparison(t *testing.T) {
	c := response.Compare(film(), tests(t, log+"N4,,2,,,mA,,200,,,,,,,\nN5,,2,,,V,,200,,,,,,,\nW1,,2,,,mA,,200,,,,,,,\n"))
	var order []string
	for _, r := range c.Rows {
		order = append(order, r.Name())
	}
	want := []string{"L1 contact 0", "L1 contact 3", "N1", "N1.2", "N2", "N3", "N4", "N5", "W1"}
	if !slices.Equal(order, want) {
		t.Errorf("rows %v, want %v", order, want)
	}
	var groups []string
	for _, g := range c.Groups {
		var names []string
		for _, r := range g.Rows {
			names = append(names, r.Name()+" "+r.Test.Threshold(g.Kind).Told(g.Unit))
		}
		groups = append(groups, string(g.Kind)+": "+strings.Join(names, "; "))
	}
	if want := []string{"pelvic-floor: N1 1.2 mA; N1.2 0.8 mA; N4 2 mA", "leg-foot: N1 1.8 mA; N1.2 none up to 3 mA"}; !slices.Equal(groups, want) {
		t.Errorf("groups %q, want %q", groups, want)
	}
	for _, want := range []string{
		"N2: none up to 3 mA of pelvic floor is not compared: no other has mA, 210 µs and a needle.",
		"N5: 2 V of pelvic floor is not compared: no other has V, 200 µs and a needle.",
		"W1: 2 mA of pelvic floor is not compared: no other has mA, 200 µs and a wire.",
		"L1 contact 0: 1 V of pelvic floor is not compared: no other has V, 210 µs and a lead.",
		"L1 contact 3: none up to 4 V of sensation is not compared: its pulse width is not recorded.",
	} {
		if !slices.Contains(c.Apart, want) {
			t.Errorf("want %q in %q", want, c.Apart)
		}
	}
	// N1.2 gives bellows and no leg or foot up to 3 mA (S4), N2 leg rotation and calf
	// (S2): both lie at S3 on the film.
	if want := []string{"N1.2: Film level and response disagree.", "N2: Film level and response disagree."}; !slices.Equal(c.Cautions, want) {
		t.Errorf("cautions %q, want %q", c.Cautions, want)
	}
	for _, r := range c.Rows {
		if r.Name() == "L1 contact 3" && (!r.HasDepth || r.Depth.Value != -2) {
			t.Errorf("contact 3 lies at %v", r.Depth.Value)
		}
		if r.Name() == "N1" && r.Depth.Value != 4 {
			t.Errorf("N1 lies at %v: both films together come before one alone", r.Depth.Value)
		}
		if r.Name() == "N4" && r.Marked {
			t.Error("N4 is marked nowhere")
		}
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add(log)
	f.Add("object\nN1\n")
	f.Fuzz(func(t *testing.T, text string) {
		got, err := response.ReadCSV(strings.NewReader(text))
		if err != nil {
			return
		}
		var b bytes.Buffer
		if err := response.WriteCSV(&b, got); err != nil {
			t.Fatal(err)
		}
		again, err := response.ReadCSV(&b)
		if err != nil {
			t.Fatalf("what was written cannot be read: %v", err)
		}
		if !reflect.DeepEqual(again, response.Sorted(got)) && len(got) > 0 {
			t.Fatalf("%+v comes back as %+v", got, again)
		}
	})
}
