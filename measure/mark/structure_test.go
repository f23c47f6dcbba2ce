package mark_test

import (
	"regexp"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/measure/mark"
)

func TestStructures(t *testing.T) {
	// The words of marks.csv.
	known := []mark.Structure{mark.VentralMargin, mark.DorsalMargin, mark.SkinLine, mark.Midline, mark.SILine, mark.MedialLine,
		mark.Foramen, mark.FusionLine, mark.Promontory, mark.CoccyxTip, mark.SciaticNotch, mark.Needle, mark.Wire, mark.Lead, mark.Contact, mark.KnownLength}
	all := mark.Structures()
	if len(all) != len(known) {
		t.Fatalf("%d structures, want %d", len(all), len(known))
	}
	for i, s := range known {
		info, ok := mark.Info(s)
		if !ok || all[i].Structure != s || info.Structure != s {
			t.Errorf("%s is not described in its place", s)
		}
		if len(info.Views) == 0 || info.Least < 1 || info.Most != 0 && info.Most < info.Least || info.NeedsObject && info.Object == "" {
			t.Errorf("%s: %+v", s, info)
		}
		if sd := mark.DefaultSD(s); sd < 1 || sd > 4 {
			t.Errorf("%s: default standard deviation %g", s, sd)
		}
	}
	if mark.DefaultSD("thread") != 0 {
		t.Error("an unknown structure has a standard deviation")
	}
	all[0].Structure = "changed"
	if mark.Structures()[0].Structure != mark.VentralMargin {
		t.Error("the table can be changed from outside")
	}
}

func TestCheckAcceptsOnlyPointsOnTheImage(t *testing.T) {
	// PS3.3 table C.18.6-1: 0,0 is the top left corner, Columns, Rows the
	// bottom right one.
	for _, c := range []struct {
		p  r2.Vec
		ok bool
	}{
		{r2.Vec{}, true}, {r2.Vec{X: 640, Y: 480}, true}, {r2.Vec{X: 480, Y: 640}, false}, {r2.Vec{X: 640.01}, false}, {r2.Vec{Y: -0.01}, false},
	} {
		m := mark.Mark{Structure: mark.Promontory, Points: []r2.Vec{c.p}}
		if err := m.Check(640, 480); (err == nil) != c.ok {
			t.Errorf("%v: %v", c.p, err)
		}
	}
}

func TestLengthAndFusion(t *testing.T) {
	for detail, want := range map[string]float64{"10": 10, "1.27": 1.27, "0": 0, "-1": 0, "": 0, "1000.5": 0, "NaN": 0, "5 mm": 0} {
		v, ok := mark.Mark{Structure: mark.KnownLength, Detail: detail}.Length()
		if ok != (want > 0) || ok && v != want {
			t.Errorf("%q: %g, %v", detail, v, ok)
		}
	}
	if _, ok := (mark.Mark{Structure: mark.Needle, Detail: "10"}).Length(); ok {
		t.Error("a needle has a known length")
	}
	if a, b, ok := (mark.Mark{Structure: mark.FusionLine, Detail: "S3/S4"}).Fusion(); a != 3 || b != 4 || !ok {
		t.Errorf("S3/S4: %d, %d, %v", a, b, ok)
	}
	for _, detail := range []string{"S3", "S3/S3", "S4/S3", "S5/S6", "L5/S1", "S2/S3/S4", ""} {
		if _, _, ok := (mark.Mark{Structure: mark.FusionLine, Detail: detail}).Fusion(); ok {
			t.Errorf("%q is taken for a fusion line", detail)
		}
	}
}

func TestNewUID(t *testing.T) {
	// PS3.5 9.1: at most 64 characters, no leading zero; B.2: 2.25. and the
	// UUID as a decimal number. RFC 9562 5.4: version 4 has 122 random bits.
	form := regexp.MustCompile(`^2\.25\.[1-9][0-9]{0,38}$`)
	seen := map[string]bool{}
	for range 1000 {
		u := mark.NewUID()
		if !form.MatchString(u) || seen[u] {
			t.Fatalf("UID %q", u)
		}
		seen[u] = true
	}
}
