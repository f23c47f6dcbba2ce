package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/suyashkumar/dicom"

	"leadline/imaging/dicomfile"
	"leadline/measure/sidecar"
	"leadline/viewer/handout"
)

var archiveCommand = command{
	name:  "archive",
	args:  "CASE --out DIR [--observer NAME]",
	about: "write report, sheet, marks and annotated films as DICOM files",
	help: `Writes into a new folder what an archive takes of the case:
  report.dcm             Comprehensive SR, as 'leadline report' writes it
  sheet.dcm              the sheet as an Encapsulated PDF
  01-frontal-marks.dcm   marks and figures over the original frame: a Grayscale
                         Softcopy Presentation State, for each marked film
  01-frontal-film.dcm    the annotated film: a Secondary Capture, marks burnt in
They carry the patient's identity as the images do. Written again unchanged they keep
their UIDs; once the marks have changed all take new ones, and the report names the
one before. Where sources of a side disagree nothing is written until the side is
confirmed.`,
	examples: []string{"leadline archive out/practice --out out/objects"},
	run:      runArchive,
}

func runArchive(c *call) error {
	var of reader
	of.flags(c)
	out := c.String("out", "", "`DIR` to write to, new or empty")
	path, err := c.operand()
	switch {
	case err != nil:
		return err
	case *out == "":
		return c.usage("no folder to write to: give --out DIR")
	}
	if held, err := os.ReadDir(*out); err == nil && len(held) > 0 {
		return badInput("%s is not empty: name a new folder", *out)
	}
	if !isDir(filepath.Dir(filepath.Clean(*out))) {
		return badInput("there is no folder %s to make %s in: make it first", filepath.Dir(filepath.Clean(*out)), filepath.Base(*out))
	}
	defer of.close()
	if err := of.open(path); err != nil {
		return err
	}
	if err := of.settleObserver(); err != nil {
		return err
	}
	written := 0
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
		return uninterrupted(func() (err error) {
			written, err = of.writeObjects(store, report, *out)
			return err
		})
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "%s of %s written to %s\n", count(written, "object"), of.observer, *out)
	return nil
}

// writeObjects fills a folder beside dir and renames it once it is whole. The
// report goes first: the UIDs of all others follow from its own.
func (r *reader) writeObjects(store *sidecar.Store, report *sidecar.Report, dir string) (written int, err error) {
	dir = filepath.Clean(dir)
	making, err := os.MkdirTemp(filepath.Dir(dir), ".objects-")
	if err != nil {
		return 0, err
	}
	defer os.RemoveAll(making)
	if err := store.Issue(filepath.Join(making, "report.dcm"), report); err != nil {
		return 0, err
	}
	put := func(name string, ds dicom.Dataset, err error) error {
		if err == nil {
			err = dicomfile.Write(filepath.Join(making, name), ds)
		}
		written++
		return err
	}
	sheet, err := r.sheetFilms(*report)
	if err != nil {
		return 0, err
	}
	ds, err := handout.Document(*report, sheet)
	if err := put("sheet.dcm", ds, err); err != nil {
		return 0, err
	}
	number := 0
	for _, f := range report.Placement.Films {
		if len(marksOn(f, report.Book)) == 0 {
			continue
		}
		number++
		film, err := r.handed(f)
		if err != nil {
			return 0, err
		}
		name := fmt.Sprintf("%02d-%s", number, orWords(string(f.View), "film"))
		ds, err := handout.State(*report, film, number)
		if err := put(name+"-marks.dcm", ds, err); err != nil {
			return 0, err
		}
		ds, err = handout.Capture(*report, film, number)
		if err := put(name+"-film.dcm", ds, err); err != nil {
			return 0, err
		}
	}
	if err := os.Chmod(making, 0o755); err != nil {
		return 0, err
	}
	if held, err := os.ReadDir(dir); err == nil && len(held) == 0 {
		if err := os.Remove(dir); err != nil {
			return 0, err
		}
	}
	return written + 1, os.Rename(making, dir)
}
