package main

import (
	"fmt"
	"strings"

	"leadline/measure/mark"
	"leadline/measure/sidecar"
)

var listCommand = command{
	name:  "list",
	args:  "CASE",
	about: "show the films of a case: view, size, scale, and who has marked them",
	help: `Lists the films of a case in the order they were taken: which view each is and
how that is known, where the head and the patient's left lie, and the scale with
its source. Reads headers only. Files that are not DICOM are passed over; DICOM
files that cannot be used are named with the reason. The output names the
patient's films but never the patient.`,
	examples: []string{"leadline list out/practice", "leadline list film.dcm --observer \"Observer A\""},
	run:      runList,
}

func runList(c *call) error {
	var from reader
	from.flags(c)
	path, err := c.operand()
	if err != nil {
		return err
	}
	defer from.close()
	if err := from.open(path); err != nil {
		return err
	}
	names, unreadable := sidecar.Observers(from.dir())
	book := mark.Book{}
	if from.observer != "" || len(names) == 1 && unreadable == nil {
		report, err := from.load(noOptions)
		if err != nil {
			return err
		}
		book = report.Book
	}
	fmt.Fprintf(c.out, "Case %s: %s\n", from.kase.Name, count(len(from.kase.Files), "film"))
	for _, film := range from.compute(book, noOptions).Films {
		fmt.Fprintln(c.out)
		printFilm(c.out, film)
	}
	fmt.Fprintln(c.out)
	if len(names) > 0 {
		fmt.Fprintf(c.out, "Marked by: %s\n", strings.Join(names, ", "))
	}
	if unreadable != nil {
		fmt.Fprintf(c.out, "Marks not used: %s\n", oneLine(unreadable.Error()))
	}
	for _, refused := range from.kase.Refused {
		fmt.Fprintf(c.out, "Not used: %s\n", oneLine(refused.Error()))
	}
	if n := len(from.kase.Passed); n > 0 {
		fmt.Fprintf(c.out, "Passed over: %s not in DICOM\n", count(n, "file"))
	}
	return nil
}
