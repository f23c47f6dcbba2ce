package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"leadline/imaging/intake"
	"leadline/measure/mark"
	"leadline/measure/sidecar"
)

var listCommand = command{
	name:  "list",
	args:  "CASE",
	about: "show what a folder, a zip archive or a file holds: cases, films, views, scale",
	help: `Lists the films of a case in the order they were taken: first a line for each,
then which view it is and how that is known, where the head and the patient's
left lie, and the scale with its source. Reads headers only. What is passed over
is counted with the reason; films that cannot be used are named with theirs. The
output names the patient's films but never the patient.

Where the folder or archive holds films of several studies or patients, it lists
these instead, by patient and date: give one of the numbers to any command as
--study NUMBER. Numbers go by time and may change as files come and go; the UID
does not.

With --digest it decodes every frame instead and prints a line for each: the MD5
of its stored values (masked to the bits stored, as little-endian 16-bit numbers,
row by row), the file, and the frame's number; to compare with another toolkit.`,
	examples: []string{"leadline list out/practice", "leadline list /media/cdrom", "leadline list export.zip --study 2",
		"leadline list film.dcm --observer \"Observer A\"", "leadline list out/practice --digest"},
	run: runList,
}

func runList(c *call) error {
	var from reader
	from.flags(c)
	digests := c.Bool("digest", false, "print the MD5 of each frame's stored values")
	path, err := c.operand()
	if err != nil {
		return err
	}
	all, err := intake.Survey(path)
	if err != nil {
		return err
	}
	defer all.Close()
	if len(all.Cases) > 1 && from.study == "" {
		defer printFindings(c.out, all.Path, all.Findings)
		if *digests {
			return c.printDigests(all.Cases)
		}
		from.printCases(c.out, all)
		return nil
	}
	if from.kase, err = all.Choose(from.study); err != nil {
		return err
	}
	defer from.close()
	defer printFindings(c.out, from.kase.Path, from.kase.Findings)
	if *digests {
		return c.printDigests([]*intake.Case{from.kase})
	}
	return from.list(c.out)
}

// list prints the films of the case that is open, and who has marked them.
func (r *reader) list(w io.Writer) error {
	names, unreadable := sidecar.ObserversOf(r.dir(), r.kase.Headers())
	book := mark.Book{}
	if r.observer != "" || len(names) == 1 && unreadable == nil {
		report, err := r.load(noOptions)
		if err != nil {
			return err
		}
		book = report.Book
	}
	films := r.compute(book, noOptions).Films
	fmt.Fprintf(w, "Case %s: %s\n\n", r.kase.Name, count(len(r.kase.Files), "film"))
	printFilms(w, r.kase, films)
	for _, film := range films {
		fmt.Fprintln(w)
		printFilm(w, film)
	}
	fmt.Fprintln(w)
	if i := slices.IndexFunc(films, viewOpen); i >= 0 {
		name := r.fileName(films[i].Film.Ref.Instance)
		if films[i].Film.Header.Frames > 1 {
			name += ":" + films[i].Film.Ref.Span()
		}
		fmt.Fprintf(w, "Which view a film is, and where the head lies, you can say: leadline confirm %s --observer NAME --frame %s --view frontal|lateral --cranial top|bottom|left|right\n",
			r.typed(), oneLine(name))
	}
	if len(names) > 0 {
		fmt.Fprintf(w, "Marked by: %s\n", strings.Join(names, ", "))
	} else if unreadable == nil {
		fmt.Fprintf(w, "Nobody has marked it yet: leadline open %s --observer NAME\n", r.typed())
	}
	if unreadable != nil {
		fmt.Fprintf(w, "Marks not used: %s\n", oneLine(unreadable.Error()))
	}
	return nil
}
