package mark_test

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/measure/mark"
)

// Whatever stands against another source is told so; what all agree on, or one
// alone says, is not.
func TestContradicted(t *testing.T) {
	header := mark.Read(film, angled(0, 0), nothing) // patient's left at the right
	disagree := mark.Read(film, oriented(angled(0, 0), "R", "F"), nothing)
	record := states(mark.Statement{Object: "N1", Side: mark.LeftSide, SideBasis: mark.TheatreRecord})
	toLeft, toRight, away := r2.Vec{X: 50}, r2.Vec{X: -50}, r2.Vec{Y: 50}
	for name, c := range map[string]struct {
		film   mark.Reading
		toward r2.Vec
		book   mark.Book
		want   bool
	}{
		"header alone":            {header, toLeft, nothing, false},
		"record and film agree":   {header, toLeft, record, false},
		"record against the film": {header, toRight, record, true},
		"record, film across":     {header, away, record, true},
		"record, film in doubt":   {disagree, toLeft, record, true},
		"record against marks":    {header, toLeft, with(record, needle("N1", mark.RightSide, "")), true},
	} {
		d := mark.DecideSide("N1", c.film, c.toward, true, c.book)
		if got := mark.Contradicted(d.Source); got != c.want || d.Side != mark.LeftSide {
			t.Errorf("%s: %s by %q counts as contradicted: %v, want %v", name, d.Side, d.Source, got, c.want)
		}
	}
	merged := mark.MergeSides(mark.SideDecision{Side: mark.LeftSide, Source: "theatre record", Confirmed: true}, mark.SideDecision{Side: mark.RightSide, Source: "positioner angles"})
	if !mark.Contradicted(merged.Source) {
		t.Errorf("two films: %q", merged.Source)
	}
}
