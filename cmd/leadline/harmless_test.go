package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"
)

// The characters are those a terminal obeys: C0 and C1 controls (ECMA-48), and
// the directional formatting characters of Unicode Standard Annex 9, table 1.
func TestHarmless(t *testing.T) {
	for in, want := range map[string]string{
		"plain ± 3° Åse\n\tx":      "plain ± 3° Åse\n\tx",
		"\x1b[2J":                  `\u001b[2J`,
		"a\rb":                     `a\u000db`,
		"\u009b31m":                `\u009b31m`,
		"\x9b31m":                  `\x9b31m`,
		"bell\a":                   `bell\u0007`,
		"rub\x7f":                  `rub\u007f`,
		"\u202eTHGIR\u202c":        `\u202eTHGIR\u202c`,
		"\u2066left\u2069":         `\u2066left\u2069`,
		"one\u2028two":             `one\u2028two`,
		"\U000e0001tag":            `\udb40\udc01tag`,
		"half a rune \xc3":         `half a rune \xc3`,
		"\u00e9 and \u4e2d are ok": "\u00e9 and \u4e2d are ok",
	} {
		var b bytes.Buffer
		if n, err := (harmless{&b}).Write([]byte(in)); n != len(in) || err != nil {
			t.Errorf("%q: wrote %d, %v", in, n, err)
		}
		if b.String() != want {
			t.Errorf("%q came out as %q, want %q", in, b.String(), want)
		}
	}
}

// JSON stays the same value.
func TestHarmlessKeepsJSON(t *testing.T) {
	const name = "\u202ea\u009b\U000e0001\u2028"
	text, err := json.Marshal(name)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if _, err := (harmless{&b}).Write(text); err != nil {
		t.Fatal(err)
	}
	var back string
	if err := json.Unmarshal(b.Bytes(), &back); err != nil || back != name {
		t.Errorf("came back as %q, %v", back, err)
	}
}

// A file's name and an unknown command are typed text, and reach the terminal
// in the error line.
func TestErrorsAreHarmlessAndOneLine(t *testing.T) {
	for _, args := range [][]string{
		{"list", "no\x1b[31m\nwhere"},
		{"list", "no\u202ewhere"},
		{"\x1b]0;title\a"},
		{"measure", "--\x1b[2J"},
		{"note", "x", "--observer", "\x1b[2J\nleadline: all is well"},
	} {
		var out, warn bytes.Buffer
		if code := run(args, &out, &warn); code != exitBadInput {
			t.Errorf("%q: ended with %d, want %d", args, code, exitBadInput)
		}
		said := warn.String()
		if strings.ContainsAny(said, "\x1b\a\u202e") || !utf8.ValidString(said) || strings.Count(said, "\n") != 1 || out.Len() > 0 {
			t.Errorf("%q: said %q and %q", args, said, out.String())
		}
	}
}
