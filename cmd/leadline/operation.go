package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"leadline/measure/operation"
	"leadline/measure/sidecar"
)

var operationCommand = command{
	name:  "operation",
	args:  "CASE --observer NAME [FIELD=VALUE ...]",
	about: "record the procedure itself: anaesthesia, what was tested, what was implanted",
	help: `Records each FIELD=VALUE in the observer's report; FIELD= makes it blank again.
Without any, prints what is recorded. Nothing is inferred: a field that nobody
recorded is blank, and reads 'not recorded' in the note.

` + fieldHelp(),
	examples: []string{
		`leadline operation out/practice --observer "Observer A" procedure=first-stage anaesthesia=sedation passes=4`,
		`leadline operation out/practice --observer "Observer A" impedances="0:812 1:790" fluoroscopy-time="62 s"`,
		`leadline operation out/practice --observer "Observer A" antibiotic=`,
	},
	run: runOperation,
}

// fieldHelp lists the fields with what they take.
func fieldHelp() string {
	var b strings.Builder
	for _, f := range operation.Fields() {
		takes := "a line of text"
		switch f.Form {
		case operation.OneOf:
			takes = "one of " + termsOf(f) + ", or other:TEXT"
		case operation.SeveralOf:
			takes = "any of " + termsOf(f) + ", or other:TEXT"
		case operation.Whole:
			takes = "a whole number"
		case operation.Impedances:
			takes = "CONTACT:OHMS with blanks between, contact 0 nearest the tip"
		case operation.Dose:
			takes = "read off the console, with its unit: " + strings.Join(f.Units, ", ")
			if f.Units[0] == "1" {
				takes = "read off the console, a whole number"
			}
		}
		for i, line := range wrapped(takes, 56) {
			name := f.Name
			if i > 0 {
				name = ""
			}
			fmt.Fprintf(&b, "  %-18s %s\n", name, line)
		}
	}
	return b.String()
}

func termsOf(f operation.Field) string {
	var words []string
	for _, t := range f.Terms {
		words = append(words, t.Word)
	}
	return strings.Join(words, ", ")
}

// wrapped breaks text into lines of at most so many characters.
func wrapped(text string, width int) []string {
	var out []string
	for _, w := range strings.Fields(text) {
		if n := len(out); n > 0 && len(out[n-1])+1+len(w) <= width {
			out[n-1] += " " + w
			continue
		}
		out = append(out, w)
	}
	return out
}

func runOperation(c *call) error {
	var by reader
	by.flags(c)
	c.Lookup("observer").Usage = "who records this, as `NAME`"
	given, err := c.operands()
	switch {
	case err != nil:
		return err
	case len(given) == 0:
		return c.usage("no CASE given: name a folder or a DICOM file")
	}
	defer by.close()
	if err := by.open(given[0]); err != nil {
		return err
	}
	if len(given) == 1 {
		report, err := by.load(noOptions)
		if err != nil {
			return err
		}
		printOperation(c.out, report.Operation)
		return nil
	}
	report, err := by.amend(false, func(r *sidecar.Report) error {
		if r.Operation == nil {
			r.Operation = operation.Record{}
		}
		for _, g := range given[1:] {
			field, value, ok := strings.Cut(g, "=")
			if !ok {
				return c.usage("%q is not FIELD=VALUE", g)
			}
			if err := r.Operation.Set(field, value); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "Recorded by %s:\n", by.observer)
	printOperation(c.out, report.Operation)
	return nil
}

func printOperation(w io.Writer, r operation.Record) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, f := range operation.Fields() {
		fmt.Fprintf(t, "  %s\t%s\n", f.Label, r.Told(f.Name))
	}
	t.Flush()
}
