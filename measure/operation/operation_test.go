package operation

import (
	"errors"
	"strings"
	"testing"

	"leadline/imaging"
	"leadline/imaging/radiation"
)

// How each form is typed, kept and told; the wanted words are written by hand.
func TestSet(t *testing.T) {
	for _, c := range []struct{ field, typed, kept, told string }{
		{"procedure", "first-stage", "first-stage", "first stage"},
		{"procedure", "other: two leads, one visit", "other: two leads, one visit", "two leads, one visit"},
		{"indication", "retention, urge-incontinence", "urge-incontinence retention", "urge urinary incontinence and non-obstructive urinary retention"},
		{"sides-tested", "right left", "left right", "LEFT and RIGHT"},
		{"chosen-side", "right", "right", "RIGHT"},
		{"chosen-side", "both", "both", "LEFT and RIGHT"},
		{"passes", "04", "4", "4"},
		{"antibiotic", "  none given ", "none given", "none given"},
		{"time-out", "yes", "yes", "done"},
		{"impedances", "1:790, 0:812", "0:812 1:790", "contact 0 812 Ω, contact 1 790 Ω"},
		{"fluoroscopy-time", "62s", "62 s", "62 s"},
		{"fluoroscopy-time", "1.2 min", "1.2 min", "1.2 min"},
		{"dose-area-product", "1.22 Gy·cm²", "1.22 Gy.cm2", "1.22 Gy.cm2"},
		{"dose-area-product", "122 µGy*m2", "122 uGy.m2", "122 uGy.m2"},
		{"dose-area-product", "2 Gy.cm2", "2 Gy.cm2", "2 Gy.cm2"},
		{"air-kerma", "22.2mGy", "22.2 mGy", "22.2 mGy"},
		{"exposures", "12", "12", "12"},
		{"complications", "none", "none", "none"},
		{"remarks", "=1+1", "=1+1", "=1+1"},
	} {
		r := Record{}
		if err := r.Set(c.field, c.typed); err != nil {
			t.Errorf("%s %q: %v", c.field, c.typed, err)
			continue
		}
		if r[c.field] != c.kept || r.Told(c.field) != c.told {
			t.Errorf("%s %q is kept %q and told %q, want %q, %q", c.field, c.typed, r[c.field], r.Told(c.field), c.kept, c.told)
		}
		if err := r.Check(); err != nil {
			t.Errorf("%s %q: kept, but %v", c.field, c.typed, err)
		}
		if err := r.Set(c.field, " "); err != nil || r.Told(c.field) != "not recorded" || len(r) != 0 {
			t.Errorf("%s cannot be made blank: %v", c.field, err)
		}
	}
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct{ field, typed, want string }{
		{"colour", "blue", `field "colour" is not known: use indication, procedure`},
		{"procedure", "third-stage", `procedure "third-stage" is not known: use office-test, first-stage`},
		{"procedure", "first-stage second-stage", "procedure takes one of"},
		{"procedure", "other:", "say what after other:"},
		{"lead-side", "west", `lead-side "west" is not known`},
		{"passes", "several", `passes "several" is not a whole number`},
		{"passes", "-1", "is not a whole number"},
		{"impedances", "812", "write 0:812 1:790"},
		{"impedances", "0:812 0:813", "contact 0 stands there twice"},
		{"fluoroscopy-time", "62", "has no unit: say which of s, min"},
		{"fluoroscopy-time", "62 h", `unit "h" is none of s, min`},
		{"dose-area-product", "1,2 Gy.cm2", "is not a number with its unit"},
		{"dose-area-product", "1.2 Gy", `unit "Gy" is none of Gy.cm2`},
		{"air-kerma", "-3 mGy", "is not a number with its unit"},
		{"air-kerma", "NaN mGy", "is not a number with its unit"},
		{"exposures", "3.5", "is not a whole number"},
		{"air-kerma", "99999999 mGy", "is more than can be meant"},
		{"air-kerma", "0x10 mGy", "is not a number with its unit"},
		{"remarks", "two\nlines", "without control characters"},
		{"remarks", strings.Repeat("x", 501), "a line of at most 500 characters"},
		{"lot", "turned \u202e round", "without control characters"},
	} {
		r := Record{"remarks": "kept"}
		err := r.Set(c.field, c.typed)
		if !errors.Is(err, imaging.ErrBadInput) || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s %q: %v, want %q", c.field, c.typed, err, c.want)
		}
		if len(r) != 1 || r["remarks"] != "kept" {
			t.Errorf("%s %q changed the record to %v", c.field, c.typed, r)
		}
	}
}

// A record blank in every field says so of each, and of nothing else.
func TestBlank(t *testing.T) {
	for _, f := range Fields() {
		if got := (Record{}).Told(f.Name); got != "not recorded" {
			t.Errorf("%s: %q", f.Name, got)
		}
		if (f.Form == OneOf || f.Form == SeveralOf) != (len(f.Terms) > 0) || (f.Form == Dose) != (len(f.Units) > 0) || f.Label == "" {
			t.Errorf("%s is not whole: %+v", f.Name, f)
		}
	}
}

func TestTypedRadiation(t *testing.T) {
	r := Record{}
	for field, v := range map[string]string{"fluoroscopy-time": "62 s", "exposures": "7"} {
		if err := r.Set(field, v); err != nil {
			t.Fatal(err)
		}
	}
	got := r.Radiation()
	if len(got) != 2 || got[0] != (radiation.Figure{Kind: radiation.FluoroscopyTime, Value: 62, Unit: "s", Source: "typed in from the console"}) {
		t.Errorf("%+v", got)
	}
	if s := got[1].Sentence(); s != "exposures 7, typed in from the console" {
		t.Error(s)
	}
}
