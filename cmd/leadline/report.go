package main

import (
	"fmt"

	"leadline/measure/sidecar"
)

var reportCommand = command{
	name:  "report",
	args:  "CASE --out FILE.dcm [--observer NAME]",
	about: "write marks and measurements as a DICOM structured report",
	help: `Writes what the observer's marks file holds as a DICOM Comprehensive SR (PS3.16
TID 1500) that an archive takes. The report carries the patient's identity as the
images do. A report changed since it was last written out gets a new SOP Instance
UID and names the one before. An existing DICOM file is not overwritten. Where sources of a side
disagree nothing is written until the side is confirmed.`,
	examples: []string{"leadline report out/practice --out report.dcm"},
	run:      runReport,
}

func runReport(c *call) error {
	var of reader
	of.flags(c)
	out := c.String("out", "", "`FILE.dcm` to write")
	path, err := c.operand()
	switch {
	case err != nil:
		return err
	case *out == "":
		return c.usage("no file to write: give --out FILE.dcm")
	}
	if err := replaceable(*out); err != nil {
		return err
	}
	defer of.close()
	if err := of.open(path); err != nil {
		return err
	}
	if err := of.settleObserver(); err != nil {
		return err
	}
	err = of.writing(func(store *sidecar.Store, report *sidecar.Report, found bool) error {
		if !found {
			return of.noMarks(fmt.Sprintf("no marks of observer %q", of.observer))
		}
		if err := of.placed(*report); err != nil {
			return err
		}
		if err := of.sideSettled(*report); err != nil {
			return err
		}
		return uninterrupted(func() error { return store.Issue(*out, report) })
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "report of %s written to %s\n", of.observer, *out)
	return nil
}
