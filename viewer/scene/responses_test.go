package scene_test

import (
	"testing"

	"leadline/imaging"
	"leadline/measure/response"
	"leadline/viewer/internal/specimen"
	"leadline/viewer/scene"
)

// Responses stand beside their positions in the trade's columns, wide and
// narrow; what is not recorded is blank, and a chart without any has no columns.
func TestResponsesStandBesideThePositions(t *testing.T) {
	p := specimen.Placement()
	object := p.Devices[0].Object
	tests := []response.Test{{Object: object, Contact: -1, PelvicFloor: response.At(1.2), LegFoot: response.NoneUpTo(3), Unit: response.Milliampere,
		Motor: []response.Motor{response.Bellows}}}
	if object[0] == 'L' {
		tests[0].Contact = 0
	}
	draw := func(width float64, tests []response.Test) []string {
		c := scene.NewChart(p, imaging.Left)
		c.Respond(p, tests)
		d, _ := c.Draw(scene.Box(0, 0, width, c.Height(width, 1)), 1)
		return words(d)
	}
	wide := draw(980, tests)
	for _, w := range append(response.Headings(), "1.2 mA", "none up to 3 mA") {
		if !has(wide, w) {
			t.Errorf("wide: %q does not stand in %q", w, wide)
		}
	}
	if has(wide, response.NotRecorded) {
		t.Errorf("a blank is told: %q", wide)
	}
	if narrow := draw(360, tests); !has(narrow, "1.2 mA") || !has(narrow, "none up to 3 mA") {
		t.Errorf("narrow: %q", narrow)
	}
	if none := draw(980, nil); has(none, response.Headings()[0]) {
		t.Errorf("columns without a response: %q", none)
	}
}
