package main

import (
	"fmt"
	"path/filepath"

	"leadline/imaging/phantom"
	"leadline/measure/note"
	"leadline/measure/sidecar"
)

var demoCommand = command{
	name:  "demo",
	args:  "[DIR]",
	about: "write a practice case, measure it, and hold it against its known truth",
	help: `Computes films of an invented patient with two needles and writes them to DIR
(default out/practice) with one observer's marks and the known truth; measures
them, prints the table and the note, and draws the annotated frames to
DIR/frames. At last each figure is compared with the truth. Marks of other
observers in DIR stay.`,
	examples: []string{"leadline demo", "leadline demo ~/practice"},
	run:      runDemo,
}

func runDemo(c *call) error {
	found, err := c.operands()
	switch {
	case err != nil:
		return err
	case len(found) > 1:
		return c.usage("one folder at a time, but got %q and %q", found[0], found[1])
	}
	dir := filepath.Join("out", "practice")
	if len(found) == 1 {
		dir = found[0]
	}
	truth, err := writePractice(c, dir)
	if err != nil {
		return err
	}
	of := reader{observer: phantom.Observer}
	defer of.close()
	if err := of.open(dir); err != nil {
		return err
	}
	report, err := of.practise(filepath.Join(dir, phantom.MarksName))
	if err != nil {
		return err
	}
	return c.show(&of, report, truth, dir)
}

// show prints table and note, draws the frames, and compares with the truth.
func (c *call) show(of *reader, report sidecar.Report, truth phantom.Truth, dir string) error {
	fmt.Fprintf(c.out, "Practice case in %s: computed films of an invented patient. The scenario:\nthe theatre record names the side of N1; nobody has confirmed that of N2.\n\n", dir)
	printTable(c.out, of.kase.Name, of.observer, report.Placement)
	if err := of.sideSettled(report); err != nil {
		return err
	}
	text, err := note.Text(report)
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "\nFor the operation note\n\n%s\nAnnotated frames\n", text)
	pictures, err := of.pictures(report, filepath.Join(dir, "frames"), true, newProgress(c.err, "frames drawn"))
	if err != nil {
		return err
	}
	for _, p := range pictures {
		fmt.Fprintln(c.out, "  "+p)
	}
	return compare(c.out, report.Placement, truth)
}
