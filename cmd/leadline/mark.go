package main

import (
	"errors"
	"fmt"
	"io"

	"leadline/measure/mark"
)

var markCommand = command{
	name:  "mark",
	args:  "CASE --import|--export marks.csv --observer NAME",
	about: "take an observer's marks in from a CSV file, or write them out",
	help: `With --import, the marks in the file replace that observer's marks; the former
revision is kept beside the new one, and what the observer stated about side,
level and view stays. A row that cannot be read is refused by its line number
and nothing is changed. With --export, the observer's marks are written to the
file, or, for -, to standard output. The columns of the file are described in
the README.`,
	examples: []string{
		"leadline mark out/practice --import out/practice/marks.csv --observer \"Observer A\"",
		"leadline mark out/practice --export marks.csv",
	},
	run: runMark,
}

func runMark(c *call) error {
	var by reader
	by.flags(c)
	c.Lookup("observer").Usage = "whose marks, as `NAME`; with --export it may be left out where there is just one"
	in := c.String("import", "", "take the marks in `FILE` in as this observer's")
	out := c.String("export", "", "write the observer's marks to `FILE`, or, for -, to standard output")
	path, err := c.operand()
	switch {
	case err != nil:
		return err
	case (*in == "") == (*out == ""):
		return c.usage("say either --import FILE or --export FILE")
	}
	defer by.close()
	if err := by.open(path); err != nil {
		return err
	}
	if *in != "" {
		return importMarks(c, &by, *in)
	}
	return exportMarks(c, &by, *out)
}

func importMarks(c *call, by *reader, path string) error {
	marks, err := by.readMarks(path)
	if err != nil {
		return err
	}
	same := false
	_, err = by.change(true, func(b *mark.Book) error {
		if same = len(marks) > 0 && sameMarks(b.Marks, marks); same {
			return errUnchanged
		}
		b.Marks = marks
		return nil
	})
	switch {
	case errors.Is(err, errUnchanged):
		fmt.Fprintf(c.out, "%s has these %s already; nothing was changed\n", by.observer, count(len(marks), "mark"))
		return nil
	case err != nil:
		return err
	}
	fmt.Fprintf(c.out, "%s of %s taken in\n", count(len(marks), "mark"), by.observer)
	return nil
}

func exportMarks(c *call, by *reader, path string) error {
	report, err := by.load(noOptions)
	if err != nil {
		return err
	}
	if path == "-" {
		return mark.WriteCSV(c.out, report.Book.Marks, by.fileName)
	}
	err = writeWhole(path, func(w io.Writer) error { return mark.WriteCSV(w, report.Book.Marks, by.fileName) })
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "%s of %s written to %s\n", count(len(report.Book.Marks), "mark"), by.observer, path)
	return nil
}

// errUnchanged leaves the sidecar as it is.
var errUnchanged = errors.New("unchanged")
