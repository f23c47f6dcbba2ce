package main

import (
	"fmt"
	"os"
	"strings"

	"leadline/imaging/radiation"
	"leadline/measure/note"
)

var noteCommand = command{
	name:  "note",
	args:  "CASE [--format text|markdown|rtf] [--template FILE] [--observer NAME]",
	about: "the case in words, to paste into the operation note",
	help: `Prints what is recorded of the operation, a paragraph for each needle or lead with
its side and level and what they rest on, the approach, and the tip or contacts
against the ventral margin; then a table of the positions with their responses, the
further figures, the cautions, and whether what an audit looks for is on record. Where
sources of a side disagree nothing is printed until the side is confirmed.

--print-template prints the template of the note, to begin one of your own from. A
template is text in which {name} stands for a field; nothing in it runs.
  [[ ... ]]         is left out where every field in it is blank
  {each device}     repeats what follows, up to {end}, for each device
  # words           is a heading, - words an item of a list
  \{                is the sign { itself; so are \} \[ \] \\
It must hold {cautions}. A field in a line:
` + fieldsHelp(),
	examples: []string{
		"leadline note out/practice",
		"leadline note out/practice --format rtf > note.rtf",
		"leadline note --print-template > unit.template",
		"leadline note out/practice --template unit.template",
	},
	run: runNote,
}

// fieldsHelp lists the fields of a template.
func fieldsHelp() string {
	inLine, ofDevice, alone := note.FieldNames()
	indented := func(names []string) string {
		return "  " + strings.Join(wrapped(strings.Join(names, ", "), 76), "\n  ") + "\n"
	}
	return indented(inLine) + "Between {each device} and {end}:\n" + indented(ofDevice) + "Alone on its line:\n" + indented(alone)
}

func runNote(c *call) error {
	var of reader
	of.flags(c)
	format := c.String("format", "text", "`FORMAT`: text, markdown or rtf")
	from := c.String("template", "", "word the note by the template in `FILE`")
	show := c.Bool("print-template", false, "print the template of the note; takes no CASE")
	given, err := c.operands()
	switch {
	case err != nil:
		return err
	case *show && len(given) == 0:
		_, err := fmt.Fprint(c.out, note.DefaultTemplate())
		return err
	case *show:
		return c.usage("--print-template takes no CASE")
	}
	path, err := c.operand()
	if err != nil {
		return err
	}
	template, err := readTemplate(*from)
	if err != nil {
		return err
	}
	defer of.close()
	report, err := of.namable(path)
	if err != nil {
		return err
	}
	if err := of.placed(report); err != nil {
		return err
	}
	text, err := note.Write(note.Material{Report: report, Radiation: radiation.OfCase(of.kase, report.Operation.Radiation())}, template, note.Format(*format))
	if err != nil {
		return err
	}
	_, err = fmt.Fprint(c.out, text)
	return err
}

// readTemplate reads a template file; the default one where none is named.
func readTemplate(path string) (note.Template, error) {
	if path == "" {
		return note.ParseTemplate(strings.NewReader(note.DefaultTemplate()))
	}
	f, err := os.Open(path)
	if err != nil {
		return note.Template{}, err
	}
	defer f.Close()
	t, err := note.ParseTemplate(f)
	if err != nil {
		return t, fmt.Errorf("%s: %w", path, err)
	}
	return t, nil
}
