package main

import (
	"fmt"
	"io"

	"leadline/imaging"
	"leadline/measure/placement"
)

// printFilm prints what a film is and how it was read: view, head, patient's
// left and scale, each with its source, and what was odd in its header.
func printFilm(w io.Writer, f placement.FilmReading) {
	h := f.Film.Header
	frame := ""
	if h.Frames > 1 {
		frame = fmt.Sprintf(", frame %s of %d", f.Film.Ref.Span(), h.Frames)
	}
	fmt.Fprintf(w, "%s%s: %s, %d x %d\n", oneLine(f.Film.File), frame, orWords(string(h.Base.Kind), h.Modality), h.Columns, h.Rows)
	row := func(name, value, source, conflict string) {
		switch {
		case conflict != "":
			fmt.Fprintf(w, "  %s withheld: %s\n", name, oneLine(conflict))
		case value == "":
			fmt.Fprintf(w, "  %s: not known\n", name)
		default:
			fmt.Fprintf(w, "  %s: %s (%s)\n", name, value, oneLine(source))
		}
	}
	row("view", string(f.View), f.ViewSource, "")
	row("head", string(f.Cranial), f.CranialSource, f.CranialConflict)
	if f.View != imaging.Lateral { // there it points at the reader, or away
		row("patient's left", string(f.PatientLeft), f.LeftSource, f.LeftConflict)
	}
	if s := f.Scale; s.Known {
		fmt.Fprintf(w, "  scale: %.4g mm per pixel, plane: %s (%s)\n", s.Row, s.Plane, s.Source)
	} else {
		fmt.Fprintf(w, "  scale: none, %s\n", s.Because)
	}
	for _, c := range f.Scale.Conflicts {
		fmt.Fprintf(w, "  scale: %s\n", oneLine(c))
	}
	for _, n := range h.Notes {
		fmt.Fprintf(w, "  note: %s\n", oneLine(n))
	}
}
