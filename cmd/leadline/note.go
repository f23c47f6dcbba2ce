package main

import (
	"fmt"

	"leadline/measure/note"
)

var noteCommand = command{
	name:  "note",
	args:  "CASE [--observer NAME]",
	about: "the placement in words, to paste into the operation note",
	help: `Prints a paragraph for each needle or lead with its side and level and what they
rest on, the approach, and the tip or contacts against the ventral margin; then
the further figures and the cautions. Where sources of a side disagree nothing
is printed until the side is confirmed.`,
	examples: []string{"leadline note out/practice", "leadline note out/practice --observer \"Observer A\" > note.txt"},
	run:      runNote,
}

func runNote(c *call) error {
	var of reader
	of.flags(c)
	path, err := c.operand()
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
	text, err := note.Text(report)
	if err != nil {
		return err
	}
	_, err = fmt.Fprint(c.out, text)
	return err
}
