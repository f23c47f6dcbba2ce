package mark_test

import (
	"strings"
	"testing"

	"leadline/measure/mark"
)

func TestDecideLevel(t *testing.T) {
	counted := func(basis mark.Basis, transitional string) mark.Statement {
		return mark.Statement{LevelBasis: basis, Transitional: transitional}
	}
	of := func(object string, level mark.Level, basis mark.Basis) mark.Statement {
		return mark.Statement{Object: object, Level: level, LevelBasis: basis}
	}
	for _, c := range []struct {
		name      string
		object    string
		foramen   mark.Level
		book      mark.Book
		level     mark.Level
		source    string
		confirmed bool
		conflict  []string
	}{
		{"nothing", "N1", "", nothing, "", "not known", false, nil},
		{"a way of counting, but no level", "N1", "", states(counted(mark.CountedAbove, "no")), "", "not known", false, nil},
		{"foramen alone", "N1", "S3", nothing, "S3", "stated, level not confirmed", false, nil},
		{"marks alone", "N1", "", with(nothing, needle("N1", "", "S4")), "S4", "stated, level not confirmed", false, nil},
		{"stated alone", "N1", "", states(of("N1", "S4", mark.Stated)), "S4", "stated, level not confirmed", false, nil},
		{"case counted from above", "N1", "S3", states(counted(mark.CountedAbove, "not-seen")), "S3", "counted from above, transitional anatomy not seen (Ann)", true, nil},
		{"case counted from below", "N1", "S3", states(counted(mark.CountedBelow, "no")), "S3", "counted from below, no transitional anatomy (Ann)", true, nil},
		{"lateral landmarks", "N1", "S3", states(counted(mark.LateralLandmarks, "")), "S3", "lateral landmarks (Ann)", true, nil},
		{"transitional anatomy", "N1", "S3", states(counted(mark.CountedAbove, "yes")), "S3", "counted from above, transitional anatomy present (Ann)", true, nil},
		{"sacroiliac line only", "N1", "S3", states(counted(mark.SILineOnly, "")), "S3", "sacroiliac line only, level not confirmed", false, nil},
		{"sacroiliac line, transitional anatomy", "N1", "S3", states(counted(mark.SILineOnly, "yes")), "S3", "sacroiliac line only, transitional anatomy present, level not confirmed", false, nil},
		{"the basis of a side", "N1", "S3", states(counted(mark.LeadMarker, "")), "S3", "stated, level not confirmed", false, nil},
		{"nobody named", "N1", "S3", mark.Book{Statements: []mark.Statement{counted(mark.CountedAbove, "")}}, "S3", "counted from above, level not confirmed", false, nil},
		{"about the device", "N1", "S3", states(of("N1", "S3", mark.CountedBelow)), "S3", "counted from below (Ann)", true, nil},
		{"about the device over the case", "N1", "S3", states(of("N1", "S3", mark.SILineOnly), counted(mark.CountedAbove, "")), "S3", "sacroiliac line only, level not confirmed", false, nil},
		{"stated without basis, case counted", "N1", "", states(of("N1", "S3", ""), counted(mark.CountedAbove, "no")), "S3", "counted from above, no transitional anatomy (Ann)", true, nil},
		{"counting of the device alone", "N1", "S3", states(of("N1", "", mark.CountedAbove)), "S3", "counted from above (Ann)", true, nil},
		{"a later level leaves its basis behind", "N1", "", states(of("N1", "S3", mark.CountedAbove), of("N1", "S4", "")), "S4", "stated, level not confirmed", false, nil},
		{"a later way of counting", "N1", "", states(of("N1", "S3", mark.CountedAbove), of("N1", "", mark.SILineOnly)), "S3", "sacroiliac line only, level not confirmed", false, nil},
		{"counted on a film only", "N1", "S3", states(about(mark.Statement{LevelBasis: mark.CountedAbove})), "S3", "stated, level not confirmed", false, nil},

		{"foramen against marks", "N1", "S3", with(nothing, needle("N1", "", "S4")), "", "sources disagree, level not confirmed", false, []string{"N1", "S3 by the foramen", "S4 by the level of its marks"}},
		{"foramen against the statement", "N1", "S3", states(of("N1", "S4", mark.CountedAbove)), "", "sources disagree, level not confirmed", false, []string{"S3 by the foramen", "S4 by the statement of Ann"}},
		{"marks against the statement", "N1", "", with(states(of("N1", "S4", mark.CountedAbove)), needle("N1", "", "S3")), "", "sources disagree, level not confirmed", false, []string{"S3", "S4"}},
		{"marks of two levels", "N1", "", with(nothing, needle("N1", "", "S3"), needle("N1", "", "S4")), "", "sources disagree, level not confirmed", false, []string{"N1", "S3", "S4"}},
		{"all agree", "N1", "S3", with(states(of("N1", "S3", ""), counted(mark.CountedAbove, "no")), needle("N1", "", "S3")), "S3", "counted from above, no transitional anatomy (Ann)", true, nil},

		{"another position's level is not taken over", "N1.2", "", with(states(of("N1", "S3", mark.CountedAbove)), needle("N1", "", "S3")), "", "not known", false, nil},
		{"another position's counting is", "N1.2", "S4", states(of("N1", "S3", mark.CountedAbove)), "S4", "counted from above (Ann)", true, nil},
		{"another device's level", "N1", "", states(of("N2", "S3", mark.CountedAbove)), "", "not known", false, nil},
	} {
		d := mark.DecideLevel(c.object, c.foramen, c.book)
		if d.Level != c.level || d.Source != c.source || d.Confirmed != c.confirmed {
			t.Errorf("%s: %q, confirmed %v (%s), want %q, %v (%s)", c.name, d.Level, d.Confirmed, d.Source, c.level, c.confirmed, c.source)
		}
		checkConflict(t, c.name, d.Conflict, c.conflict)
		if !d.Confirmed && d.Level != "" && !strings.HasSuffix(d.Source, ", level not confirmed") {
			t.Errorf("%s: %q hides that it is not confirmed", c.name, d.Source)
		}
	}
	if d := mark.DecideLevel("N1", "S3", states(counted(mark.SILineOnly, "yes"))); d.Transitional != "yes" {
		t.Errorf("transitional anatomy is lost: %+v", d)
	}
	if d := mark.DecideLevel("N1", "S3", with(states(counted(mark.SILineOnly, "yes")), needle("N1", "", "S4"))); d.Transitional != "yes" {
		t.Errorf("transitional anatomy is lost in a conflict: %+v", d)
	}
	if d := mark.DecideLevel("N1", "S3", states(counted("", "yes"), mark.Statement{Object: "N1", Transitional: "no"})); d.Transitional != "no" {
		t.Errorf("what is said of the device does not go before the case: %+v", d)
	}
}
