package main

import (
	"fmt"
	"io"
	"strings"

	"leadline/imaging"
	"leadline/measure/placement"
	"leadline/measure/sidecar"
	"leadline/viewer/handout"
)

var sheetCommand = command{
	name:  "sheet",
	args:  "CASE --out FILE.pdf [--observer NAME]",
	about: "one printed page: films, chart, figures, cautions",
	help: `Writes one A4 page as PDF: side and level of each needle or lead with what they rest
on, a frontal and a lateral film with their marks, the sounding chart, each figure with
its budget, what is missing, the cautions, and who marked when. It carries the
patient's identity as the images do. Where sources of a side disagree nothing is
written until the side is confirmed.`,
	examples: []string{"leadline sheet out/practice --out sheet.pdf"},
	run:      runSheet,
}

func runSheet(c *call) error {
	var of reader
	of.flags(c)
	out := c.String("out", "", "`FILE.pdf` to write")
	path, err := c.operand()
	switch {
	case err != nil:
		return err
	case *out == "":
		return c.usage("no file to write: give --out FILE.pdf")
	case !strings.HasSuffix(strings.ToLower(*out), ".pdf"):
		return c.usage("%s is no name of a PDF: give --out FILE.pdf", *out)
	}
	if err := replaceable(*out); err != nil {
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
	films, err := of.sheetFilms(report)
	if err != nil {
		return err
	}
	if err := writeWhole(*out, func(w io.Writer) error { return handout.WriteSheet(w, report, films) }); err != nil {
		return err
	}
	fmt.Fprintf(c.out, "sheet of %s written to %s\n", of.observer, *out)
	return nil
}

// sheetFilms are the frontal and the lateral film with the most marks; films of
// no known view only where there is neither.
func (r *reader) sheetFilms(report sidecar.Report) ([]handout.Picture, error) {
	var out []handout.Picture
	for _, views := range [][]imaging.View{{imaging.Frontal, imaging.Lateral}, {imaging.Oblique, ""}} {
		for _, view := range views {
			best, most := placement.FilmReading{}, 0
			for _, f := range report.Placement.Films {
				if n := len(marksOn(f, report.Book)); f.View == view && n > most {
					best, most = f, n
				}
			}
			if most == 0 {
				continue
			}
			film, err := r.handed(best)
			if err != nil {
				return nil, err
			}
			out = append(out, film)
		}
		if len(out) > 0 {
			break
		}
	}
	return out, nil
}

// handed is the film with its picture and the window that is shown through.
func (r *reader) handed(f placement.FilmReading) (handout.Picture, error) {
	gray, err := r.shown(f)
	if err != nil {
		return handout.Picture{}, err
	}
	window, err := r.windowOf(f)
	return handout.Picture{Film: f, Gray: gray, Window: window}, err
}
