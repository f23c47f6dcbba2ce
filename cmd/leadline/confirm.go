package main

import (
	"fmt"
	"time"

	"leadline/measure/mark"
)

var confirmCommand = command{
	name:  "confirm",
	args:  "CASE --observer NAME ...",
	about: "state view, head, side or level of a film or device, with its basis",
	help: `States, in the observer's name and with today's date, what the headers cannot
know or do not agree on, and prints what now stands.

  --object N1 --side left|right|midline --basis BASIS
      side of a device; BASIS: lead-marker (a radiopaque marker in the field),
      theatre-record, known-needle (a first needle whose side is known): these
      confirm it. stated: says it without confirming it.
  --frame FILE[:N] --patient-left left|right|top|bottom --basis BASIS
      the edge of the film, as stored, where the patient's left lies
  --object N1 --level S3 --basis BASIS
      level of a device; BASIS: counted-from-above, counted-from-below,
      lateral-landmarks: these confirm it. sacroiliac-line, stated: say it
      without confirming it.
  --basis BASIS
      how levels were counted, for the whole case
  --transitional yes|no|not-seen
      transitional anatomy, with a level or for the whole case
  --frame FILE[:N] --view frontal|lateral --cranial top|bottom|left|right
      view of the film, and the edge, as stored, where the head lies

N is a frame number from 1, or a span 5-12; it may be left out for a single
frame.`,
	examples: []string{
		`leadline confirm out/practice --observer "Observer A" --object N2 --side right --basis theatre-record`,
		`leadline confirm out/practice --observer "Observer A" --basis counted-from-above --transitional no`,
		`leadline confirm out/practice --observer "Observer A" --frame lateral.dcm --view lateral --cranial top`,
	},
	run: runConfirm,
}

func runConfirm(c *call) error {
	var by reader
	by.flags(c)
	c.Lookup("observer").Usage = "who states this, as `NAME`"
	var w words
	w.flags(c)
	path, err := c.operand()
	if err != nil {
		return err
	}
	s, err := w.statement()
	if err != nil {
		return c.usage("%s", err)
	}
	defer by.close()
	if err := by.open(path); err != nil {
		return err
	}
	if w.frame != "" {
		if s.Frame, err = by.frame(w.frame); err != nil {
			return err
		}
	}
	s.Observer, s.When = by.observer, time.Now().UTC().Truncate(time.Second)
	report, err := by.change(false, func(b *mark.Book) error {
		if s.Object != "" && !marked(*b, s.Object) {
			return badInput("%s has not marked %s: %s", by.observer, s.Object, devicesOf(*b))
		}
		b.Statements = append(b.Statements, s)
		return nil
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "Stated by %s. What now stands:\n", by.observer)
	for _, d := range report.Placement.Devices {
		printDevice(c.out, d)
	}
	for _, film := range report.Placement.Films {
		printFilm(c.out, film)
	}
	return nil
}
