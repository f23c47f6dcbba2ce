package main

import "fmt"

var framesCommand = command{
	name:  "frames",
	args:  "CASE --out DIR [--force] [--observer NAME]",
	about: "annotated frames as PNG pictures, without the patient's identity",
	help: `Draws every marked frame with its marks, side and level with their basis, the
figures and the cautions, and writes it as PNG to DIR. Neither name nor number of
the patient, nor any date, nor the name of the image's file goes into picture or
file name; writing burnt into the film itself stays, so look at each picture
before you pass it on. A picture of the same name in DIR, which may be of another
case, is replaced only with --force. Where sources of a side disagree nothing is written until
the side is confirmed.`,
	examples: []string{"leadline frames out/practice --out out/pictures"},
	run:      runFrames,
}

func runFrames(c *call) error {
	var of reader
	of.flags(c)
	out := c.String("out", "", "`DIR` to write to; made if it is not there")
	force := c.Bool("force", false, "replace pictures of the same names")
	path, err := c.operand()
	switch {
	case err != nil:
		return err
	case *out == "":
		return c.usage("no folder to write to: give --out DIR")
	}
	defer of.close()
	report, err := of.namable(path)
	if err != nil {
		return err
	}
	written, err := of.pictures(report, *out, *force, newProgress(c.err, "frames drawn"))
	for _, p := range written {
		fmt.Fprintln(c.out, p)
	}
	return err
}
