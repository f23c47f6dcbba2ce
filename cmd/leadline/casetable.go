package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"leadline/imaging/intake"
	"leadline/measure/sidecar"
)

var tableCommand = command{
	name:  "table",
	args:  "DIR [--csv] [--out FILE]",
	about: "every figure of every case below a folder, one a row",
	help: `Looks below DIR for folders in which marks are kept, and lists of each case and
observer every measured quantity, threshold and dose, one a row. With --csv it is a
table for a spreadsheet or a statistics program; the columns are described in the
README. Numbers have the digits they are computed with. A case is named by its
folder, so a folder named for a patient names the patient here.

A case that cannot be read is told at the end, and the exit status is then 2.`,
	examples: []string{"leadline table ~/cases", "leadline table ~/cases --csv --out year.csv"},
	run:      runTable,
}

func runTable(c *call) error {
	asCSV := c.Bool("csv", false, "comma-separated, for programs")
	out := c.String("out", "", "write to `FILE` instead of standard output")
	dir, err := c.operand()
	if err != nil {
		return err
	}
	if *out != "" {
		if err := replaceable(*out); err != nil {
			return err
		}
	}
	folders, err := markedFolders(dir)
	if err != nil {
		return err
	}
	var rows []caseRow
	var failed []error
	for i, f := range folders {
		newProgress(c.err, "folders read")(i, len(folders))
		found, err := rowsOf(dir, f)
		rows = append(rows, found...)
		if err != nil {
			failed = append(failed, err)
		}
	}
	write := func(w io.Writer) error {
		if *asCSV {
			return writeRows(w, rows)
		}
		return printRowsOfCases(w, rows)
	}
	if *out != "" {
		err = writeWhole(*out, write)
	} else {
		err = write(c.out)
	}
	switch {
	case err != nil:
		return err
	case len(failed) == 1:
		return fmt.Errorf("1 of %s is not in the table: %w", count(len(folders), "folder"), failed[0])
	case len(failed) > 1:
		return fmt.Errorf("%d of %d folders are not in the table; the first: %w", len(failed), len(folders), failed[0])
	}
	return nil
}

// maxFolderDepth is how far below a folder cases are looked for.
const maxFolderDepth = 16

// markedFolders are the folders at and below dir in which marks are kept, in the
// order of their names. Links are not followed.
func markedFolders(dir string) ([]string, error) {
	if !isDir(dir) {
		return nil, badInput("%s is no folder: name one that holds cases", dir)
	}
	var out []string
	err := filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		switch {
		case err != nil:
			return badInput("%s cannot be listed: %v", path, err)
		case e.IsDir() && path != dir && strings.HasPrefix(e.Name(), "."):
			return filepath.SkipDir
		case e.IsDir() && strings.Count(intake.Within(dir, path), string(filepath.Separator)) >= maxFolderDepth:
			return filepath.SkipDir
		case !e.IsDir() && strings.HasSuffix(e.Name(), ".leadline.json") && !strings.HasPrefix(e.Name(), "."):
			if f := filepath.Dir(path); !slices.Contains(out, f) {
				out = append(out, f)
			}
		}
		return nil
	})
	switch {
	case err != nil:
		return nil, err
	case len(out) == 0:
		return nil, badInput("%s holds no marks: name a folder of cases that were marked", dir)
	}
	return out, nil
}

// rowsOf gives the rows of the cases in a folder, of all observers.
func rowsOf(root, folder string) (rows []caseRow, err error) {
	all, err := intake.Survey(folder)
	if err != nil {
		return nil, err
	}
	defer all.Close()
	for _, k := range all.Cases {
		observers, err := sidecar.ObserversOf(folder, k.Headers())
		if err != nil {
			return rows, err
		}
		name := intake.Within(root, folder)
		if k.Of > 1 {
			name += fmt.Sprintf(" study %d", k.Number)
		}
		for _, o := range observers {
			of := reader{observer: o, kase: k, marks: folder}
			report, err := of.load(noOptions)
			if err != nil {
				return rows, err
			}
			rows = append(rows, of.rows(name, report)...)
		}
	}
	return rows, nil
}

// printRowsOfCases is the table for a person.
func printRowsOfCases(w io.Writer, rows []caseRow) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "case\tobserver\tobject\tside\tlevel\tquantity\tfigure")
	for _, r := range rows {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", r.cell["case"], r.cell["observer"], r.cell["object"],
			confirmedWord(r.cell["side"], r.cell["side-confirmed"]), confirmedWord(r.cell["level"], r.cell["level-confirmed"]), r.name, r.figure)
	}
	return t.Flush()
}

func confirmedWord(word, confirmed string) string {
	if word != "" && confirmed == "no" {
		return word + ", not confirmed"
	}
	return word
}
