package note_test

import (
	"errors"
	"strings"
	"testing"

	"leadline/imaging"
	"leadline/measure/note"
	"leadline/measure/operation"
)

func by(t *testing.T, template string, m note.Material) string {
	t.Helper()
	parsed, err := note.ParseTemplate(strings.NewReader(template))
	if err != nil {
		t.Fatalf("%s: %v", template, err)
	}
	s, err := note.Write(m, parsed, note.PlainText)
	if err != nil {
		t.Fatal(err)
	}
	s, _, found := strings.Cut(s, "- Side from header, not confirmed.")
	if !found {
		t.Fatalf("the cautions are not there:\n%s", s)
	}
	return s
}

// What a template says and what comes of it, both written by hand.
func TestTemplate(t *testing.T) {
	m := note.Material{Report: twoNeedles()}
	m.Report.Operation = operation.Record{"procedure": "first-stage", "remarks": "# not a heading {cautions} [[x]]", "complications": "none."}
	for _, c := range []struct{ template, want string }{
		{"Done: {procedure}.\n{cautions}", "Done: first stage.\n\n"},
		{"Passes: {passes}.\n{cautions}", "Passes: not recorded.\n\n"},
		{"[[Passes: {passes}. Stylet: {stylet}.]]\n{cautions}", ""},
		{"[[Passes: {passes}. {procedure}.]] More.\n{cautions}", "Passes: not recorded. first stage. More.\n\n"},
		{"One\nparagraph.\n\nAnother.\n{cautions}", "One paragraph.\n\nAnother.\n\n"},
		{"# Empty\n[[{stylet}]]\n# Full\n- an item\n- {procedure}\n{cautions}", "Full:\n- an item\n- first stage\n"},
		{"{remarks}\n\n{cautions}", "# not a heading {cautions} [[x]]\n\n"},
		{"Complications: {complications}.\n{cautions}", "Complications: none.\n\n"},
		{`\{procedure\} \[[ \\ 5 ] 6` + "\n{cautions}", "{procedure} [[ \\ 5 ] 6\n\n"},
		{"{each device}\n- {device}, {side}, {level}\n{end}\n{cautions}", "- N1 (needle), LEFT (theatre record, confirmed by Observer A), S3 (counted from above, transitional anatomy not seen (Observer A))\n" +
			"- N2 (needle), RIGHT (Patient Orientation, positioner angles: from header, not confirmed), S3 (sacroiliac line only, level not confirmed)\n"},
		// Without {scale} each length carries its own.
		{"{each device}{device}: {depth}\n\n{end}\n{cautions}", "N1 (needle): Along the needle its tip is 3 ± 2 mm beyond the ventral margin (scale: " + distances + ").\n\n" +
			"N2 (needle): Along the needle its tip is 2 ± 2 mm short of the ventral margin (scale: " + distances + ").\n\n"},
	} {
		if got := by(t, c.template, m); got != c.want {
			t.Errorf("%q gives\n%q, want\n%q", c.template, got, c.want)
		}
	}
}

func TestTemplateIsRefusedByLine(t *testing.T) {
	for template, want := range map[string]string{
		"":                               "line 1: the template ends without {cautions}",
		"{cautions}\n{surgeon}\n":        `line 2: field "{surgeon}" is not known: use indication, procedure`,
		"\n\n{{.Report}}\n{cautions}":    `line 3: field "{{.Report}" is not known`,
		"{cautions}\n{side}":             "line 2: field {side} stands between {each device} and {end} only",
		"{each device}\n{cautions}":      "line 2: field {cautions} cannot stand between {each device} and {end}",
		"{each device}\n{side}":          "line 1: {each device} is not closed",
		"{cautions}\n{end}":              "line 2: {end} closes nothing",
		"{cautions}\n[[{stylet}":         "line 2: [[ is not closed",
		"{cautions}\n[[a [[b]]]]":        "line 2: [[ within [[",
		"{cautions}\n]]":                 "line 2: ]] closes nothing",
		"{cautions\n}":                   "line 1: { is not closed on its line",
		"{cautions}\n}":                  "line 2: } closes nothing",
		"[[{each device}{end}]]":         "line 1: {each device} cannot stand within",
		"{each device}{each device}":     "line 1: {each device} cannot stand within",
		"{cautions}\na\x01b":             "line 2: control characters",
		"{cautions}\na\u202eb":           "line 2: control characters",
		"{cautions}\xff":                 "not UTF-8",
		strings.Repeat("x", 70_000):      "more than 64 KiB",
		"{procedure | printf}{cautions}": "is not known",
	} {
		_, err := note.ParseTemplate(strings.NewReader(template))
		if !errors.Is(err, imaging.ErrBadInput) || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.40q: %v, want %q", template, err, want)
		}
	}
}

// Every field that is offered is understood.
func TestEveryFieldIsKnown(t *testing.T) {
	inLine, ofDevice, alone := note.FieldNames()
	var b strings.Builder
	for _, f := range inLine {
		b.WriteString("{" + f + "}\n")
	}
	b.WriteString("{each device}\n")
	for _, f := range ofDevice {
		b.WriteString("{" + f + "}\n")
	}
	b.WriteString("{end}\n")
	for _, f := range alone {
		b.WriteString("{" + f + "}\n")
	}
	if s := by(t, b.String(), note.Material{Report: twoNeedles()}); s == "" {
		t.Error("nothing is written")
	}
}

func FuzzTemplate(f *testing.F) {
	f.Add(note.DefaultTemplate())
	f.Add("[[{stylet}]]{each device}\\{{end}{cautions}# x")
	f.Fuzz(func(t *testing.T, text string) {
		parsed, err := note.ParseTemplate(strings.NewReader(text))
		if err != nil {
			return
		}
		s, err := note.Write(note.Material{Report: twoNeedles()}, parsed, note.PlainText)
		if err != nil || !strings.Contains(s, "never for guidance") {
			t.Fatalf("%v: %s", err, s)
		}
	})
}
