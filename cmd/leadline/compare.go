package main

import (
	"fmt"

	"leadline/measure/note"
)

var compareCommand = command{
	name:  "compare",
	args:  "CASE [--format text|markdown|rtf] [--observer NAME]",
	about: "the positions side by side: side, level, depth, responses",
	help: `Sets the positions of a case beside each other by side and level: where each lies
on the film, what stimulation there gave, and the sacral root the responses fit.
Thresholds stand together only where unit, pulse width, kind of device and kind of
response are the same; what is not compared is named with the reason. It states
facts and chooses none. Where sources of a side disagree nothing is printed until
the side is confirmed.`,
	examples: []string{"leadline compare out/practice", "leadline compare out/practice --format markdown"},
	run:      runCompare,
}

func runCompare(c *call) error {
	var of reader
	of.flags(c)
	format := c.String("format", "text", "`FORMAT`: text, markdown or rtf")
	path, err := c.operand()
	if err != nil {
		return err
	}
	defer of.close()
	report, err := of.namable(path)
	if err != nil {
		return err
	}
	if len(report.Placement.Devices) == 0 && len(report.Responses) == 0 {
		return of.placed(report)
	}
	text, err := note.Comparison(note.Material{Report: report}, note.Format(*format))
	if err != nil {
		return err
	}
	_, err = fmt.Fprint(c.out, text)
	return err
}
