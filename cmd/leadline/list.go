package main

import (
	"fmt"
	"io"
	"strings"

	"leadline/imaging/intake"
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
patient's films but never the patient.

With --digest it decodes every frame instead and prints a line for each: the MD5
of its stored values (masked to the bits stored, as little-endian 16-bit numbers,
row by row), the file, and the frame's number; to compare with another toolkit.`,
	examples: []string{"leadline list out/practice", "leadline list film.dcm --observer \"Observer A\"", "leadline list out/practice --digest"},
	run:      runList,
}

func runList(c *call) error {
	var from reader
	from.flags(c)
	digests := c.Bool("digest", false, "print the MD5 of each frame's stored values")
	path, err := c.operand()
	if err != nil {
		return err
	}
	defer from.close()
	if err := from.open(path); err != nil {
		return err
	}
	if *digests {
		defer printLeftOut(c.out, from.kase)
		return c.printDigests(from.kase)
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
	printLeftOut(c.out, from.kase)
	return nil
}

// printLeftOut prints which files of the folder are not part of the case.
func printLeftOut(w io.Writer, kase *intake.Case) {
	for _, refused := range kase.Refused {
		fmt.Fprintf(w, "Not used: %s\n", oneLine(refused.Error()))
	}
	if n := len(kase.Passed); n > 0 {
		fmt.Fprintf(w, "Passed over: %s not in DICOM\n", count(n, "file"))
	}
}
