package main

import (
	"math"

	"leadline/imaging"
	"leadline/measure/placement"
)

var measureCommand = command{
	name:  "measure",
	args:  "CASE [--json] [--budget] [--observer NAME] [--marking-sd PX]",
	about: "entry, angle and depth of each needle and lead, with plus-or-minus",
	help: `Computes, from an observer's marks, where each needle or lead enters, at what
angle, and how far it lies beyond the ventral margin; says what is missing and
what to mark for it. The value after the plus-or-minus sign is half the width of
the 95 % interval. Every length carries the source of its scale; without a scale
lengths are in pixels and no millimetre is printed. Nothing is written.

Where a device is marked on a frontal and a lateral film, both together give its
true position (3d): corrected for distance, lean and, where both sciatic notches
are marked, for how the patient was turned. What one film gives alone stays
uncorrected. --budget shows how much each source of uncertainty gives.

Depth is to the midline sacral cortex, not to bowel, vessel or nerve.`,
	examples: []string{
		"leadline measure out/practice",
		"leadline measure out/practice --json --observer \"Observer A\" > placement.json",
		"leadline measure out/practice --budget",
		"leadline measure out/practice --marking-sd 1.5",
	},
	run: runMeasure,
}

// noOptions: the default standard deviations of the marks.
var noOptions placement.Options

func runMeasure(c *call) error {
	var of reader
	of.flags(c)
	asJSON := c.Bool("json", false, "print JSON, for programs")
	budget := c.Bool("budget", false, "print how much each source of uncertainty gives to each quantity")
	sd := c.Float64("marking-sd", 0, "one standard deviation of every mark, per coordinate, in `PX`; switches the floor for a wrong edge off")
	path, err := c.operand()
	if err != nil {
		return err
	}
	opt := noOptions
	if c.given("marking-sd") {
		if !(*sd > 0) || math.IsInf(*sd, 0) {
			return c.usage("--marking-sd %g is no standard deviation: give pixels above 0", *sd)
		}
		opt.MarkingSD = imaging.Known(*sd)
	}
	defer of.close()
	report, err := of.report(path, opt)
	if err != nil {
		return err
	}
	if *asJSON {
		return of.printJSON(c.out, report.Placement)
	}
	printTable(c.out, of.kase.Name, of.observer, report.Placement)
	if *budget {
		printBudget(c.out, report.Placement)
	}
	return nil
}
