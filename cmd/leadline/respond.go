package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"reflect"

	"leadline/measure/response"
	"leadline/measure/sidecar"
)

var respondCommand = command{
	name:  "respond",
	args:  "CASE --from|--export responses.csv --observer NAME",
	about: "take the log of responses to stimulation in from a CSV file, or write it out",
	help: `With --from, the rows of the file replace that observer's log; the former revision
is kept beside the new one. A row that cannot be read is refused by its line
number and nothing is changed. With --export, the log is written to the file, or,
for -, to standard output. The columns of the file are described in the README.`,
	examples: []string{
		"leadline respond out/practice --from responses.csv --observer \"Observer A\"",
		"leadline respond out/practice --export - --observer \"Observer A\"",
	},
	run: runRespond,
}

func runRespond(c *call) error {
	var by reader
	by.flags(c)
	c.Lookup("observer").Usage = "whose log, as `NAME`; with --export it may be left out where there is just one"
	in := c.String("from", "", "take the log in `FILE` in as this observer's")
	out := c.String("export", "", "write the observer's log to `FILE`, or, for -, to standard output")
	path, err := c.operand()
	switch {
	case err != nil:
		return err
	case (*in == "") == (*out == ""):
		return c.usage("say either --from FILE or --export FILE")
	}
	defer by.close()
	if err := by.open(path); err != nil {
		return err
	}
	if *in != "" {
		return importResponses(c, &by, *in)
	}
	return exportResponses(c, &by, *out)
}

func importResponses(c *call, by *reader, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	tests, err := response.ReadCSV(f)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	report, err := by.amend(true, func(r *sidecar.Report) error {
		if len(tests) > 0 && reflect.DeepEqual(r.Responses, tests) {
			return errUnchanged
		}
		r.Responses = tests
		return nil
	})
	switch {
	case errors.Is(err, errUnchanged):
		fmt.Fprintf(c.out, "%s has this log already; nothing was changed\n", by.observer)
		return nil
	case err != nil:
		return err
	}
	fmt.Fprintf(c.out, "%s of %s taken in\n", count(len(tests), "response"), by.observer)
	for _, r := range response.Compare(report.Placement, tests).Rows {
		if r.Test != nil && !r.Marked {
			fmt.Fprintf(c.out, "%s is marked on no film\n", r.Name())
		}
	}
	return nil
}

func exportResponses(c *call, by *reader, path string) error {
	report, err := by.load(noOptions)
	if err != nil {
		return err
	}
	if path == "-" {
		return response.WriteCSV(c.out, report.Responses)
	}
	if err := writeWhole(path, func(w io.Writer) error { return response.WriteCSV(w, report.Responses) }); err != nil {
		return err
	}
	fmt.Fprintf(c.out, "%s of %s written to %s\n", count(len(report.Responses), "response"), by.observer, path)
	return nil
}
