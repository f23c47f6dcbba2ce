package mark_test

import (
	"errors"
	"strings"
	"testing"

	"leadline/imaging"
	"leadline/measure/mark"
)

func TestStatementCheck(t *testing.T) {
	for _, s := range []mark.Statement{
		about(mark.Statement{View: imaging.Lateral}),
		about(mark.Statement{View: imaging.Frontal, Cranial: top, PatientLeft: right, SideBasis: mark.LeadMarker}),
		{Object: "N1", Side: "left", SideBasis: mark.TheatreRecord},
		{Object: "N1.2", Side: "midline"},
		{Object: "L1", Level: "S3", LevelBasis: mark.SILineOnly, Transitional: "not-seen"},
		{Object: "N1", LevelBasis: mark.CountedAbove},
		{LevelBasis: mark.CountedBelow}, {Transitional: "yes"},
		{Frame: mark.FrameRef{Instance: "1.2"}, Object: "N1", Side: "right", SideBasis: mark.KnownNeedle},
	} {
		s.Observer = "Ann"
		if err := s.Check(); err != nil {
			t.Errorf("%+v: %v", s, err)
		}
		s.Observer = " "
		if err := s.Check(); err == nil || !strings.HasPrefix(err.Error(), "no observer") {
			t.Errorf("%+v without a name: %v", s, err)
		}
	}
	for want, s := range map[string]mark.Statement{
		"nothing is stated":                       about(mark.Statement{}),
		`object "X1" is not a device`:             {Object: "X1", Side: "left"},
		`view "side" is not known`:                about(mark.Statement{View: "side"}),
		`cranial edge "up" is not known`:          about(mark.Statement{Cranial: "up"}),
		`edge "east" of the patient's left`:       about(mark.Statement{PatientLeft: "east"}),
		`side "both" is not known`:                {Object: "N1", Side: "both"},
		`level "L5" is not known`:                 {Object: "N1", Level: "L5"},
		`"counted-from-above" is no basis of a s`: {Object: "N1", Side: "left", SideBasis: mark.CountedAbove},
		`"lead-marker" is no basis of a level`:    {Object: "N1", Level: "S3", LevelBasis: mark.LeadMarker},
		`transitional anatomy "perhaps"`:          {Transitional: "perhaps"},
		"view, cranial direction and":             {View: imaging.Lateral},
		"side and level are stated about a dev":   {Side: "left"},
		"a basis of the side without a side":      {Object: "N1", SideBasis: mark.LeadMarker, Level: "S3"},
		"the head and the patient's left cannot":  about(mark.Statement{Cranial: left, PatientLeft: right}),
	} {
		s.Observer = "Ann"
		err := s.Check()
		if !errors.Is(err, imaging.ErrBadInput) || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", s, err, want)
		}
	}
}

func TestSafeName(t *testing.T) {
	for name, want := range map[string]string{
		"Ann": "Ann", "reader-1": "reader-1", "A.B_c": "A.B_c",
	} {
		if got := mark.SafeName(name); got != want {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
	}
	// Whatever the name: letters, digits, hyphen, underscore and points within,
	// no hidden file, no option, no name kept for a device, no longer than a
	// file name may be with what is put to it (255 bytes, POSIX NAME_MAX), and
	// no two names alike.
	seen := map[string]string{}
	for _, name := range []string{"", " ", ".", "..", "-", "a", "A ", " a", "a b", "a-b", "a_b", "a  b", "a/b", `a\b`, "../../etc/passwd", "a\x00b", "a\nb",
		"Ä", "Å", "日本", "日本語", "-rf", ".hidden", "a.", "a..b", "con", "CON", "nul.x", "lpt1", strings.Repeat("n", 300), strings.Repeat("n", 301), "a:b", "a*b", "$(a)", "~a"} {
		got := mark.SafeName(name)
		if got == "" || len(got) > 100 || strings.Trim(got, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_.") != "" ||
			strings.HasPrefix(got, "-") || strings.HasPrefix(got, ".") || strings.HasSuffix(got, ".") || strings.Contains(got, "..") {
			t.Errorf("%q: %q is not safe", name, got)
		}
		switch stem, _, _ := strings.Cut(strings.ToUpper(got), "."); stem {
		case "CON", "NUL", "LPT1":
			t.Errorf("%q: %q is kept for a device", name, got)
		}
		if other, ok := seen[got]; ok {
			t.Errorf("%q and %q share %q", name, other, got)
		}
		seen[got] = name
	}
}
