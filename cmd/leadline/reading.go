package main

import (
	"errors"
	"fmt"
	"strings"

	"leadline/imaging/intake"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/sidecar"
)

// reader is whose marks on which case a command reads or changes.
type reader struct {
	observer string // as given; empty: the only one there is
	marks    string // folder of the sidecars; empty: the case's own
	study    string // UID or number of the study; empty: the only one there is
	kase     *intake.Case
}

// flags adds --observer, --marks and --study.
func (r *reader) flags(c *call) {
	c.StringVar(&r.observer, "observer", "", "whose marks, as `NAME`; may be left out where just one observer has marks")
	c.StringVar(&r.marks, "marks", "", "`DIR` of the marks, where they are not kept beside the images")
	c.StringVar(&r.study, "study", "", "which study, by `NUMBER` or UID as 'leadline list' shows them; may be left out where CASE holds just one")
}

// open reads the case's headers. The caller closes it.
func (r *reader) open(path string) error {
	kase, err := intake.OpenStudy(path, r.study)
	r.kase = kase
	return err
}

// typed is the case as it is named on a command line.
func (r *reader) typed() string {
	if r.kase.Of == 1 {
		return r.kase.Path
	}
	return fmt.Sprintf("%s --study %d", r.kase.Path, r.kase.Number)
}

func (r *reader) close() {
	if r.kase != nil {
		r.kase.Close()
	}
}

func (r *reader) dir() string {
	if r.marks != "" {
		return r.marks
	}
	return r.kase.Dir
}

// load reads the observer's report; its placement is computed anew, so that
// what is said always follows from the marks.
func (r *reader) load(opt placement.Options) (sidecar.Report, error) {
	if err := r.settleObserver(); err != nil {
		return sidecar.Report{}, err
	}
	report, found, err := sidecar.Load(r.dir(), r.observer, r.kase.Headers())
	switch {
	case err != nil:
		return report, err
	case !found:
		return report, r.noMarks(fmt.Sprintf("no marks of observer %q", r.observer))
	}
	report.Placement = r.compute(report.Book, opt)
	return report, nil
}

// noMarks says that there are none, and how some come about.
func (r *reader) noMarks(none string) error {
	return badInput("%s holds %s: take some in with 'leadline mark %s --import marks.csv --observer NAME', or draw them with 'leadline open'",
		r.dir(), none, r.typed())
}

func (r *reader) compute(book mark.Book, opt placement.Options) placement.Placement {
	return placement.Compute(placement.Films(r.kase.Headers(), book), book, opt)
}

// settleObserver takes the only observer there is where none was named.
func (r *reader) settleObserver() error {
	if r.observer != "" {
		return nil
	}
	names, err := sidecar.ObserversOf(r.dir(), r.kase.Headers())
	switch {
	case err != nil:
		return err
	case len(names) == 0:
		return r.noMarks("no marks yet")
	case len(names) > 1:
		return badInput("%s holds marks of %d observers: say whose with --observer: %s", r.dir(), len(names), strings.Join(names, ", "))
	}
	r.observer = names[0]
	return nil
}

// writing hands the observer's report, its placement computed anew, to do while
// nobody else can write it. found is false where there is none yet.
func (r *reader) writing(do func(store *sidecar.Store, report *sidecar.Report, found bool) error) (err error) {
	if strings.TrimSpace(r.observer) == "" {
		return badInput("no observer given: say who marks or states this with --observer NAME")
	}
	store, err := sidecar.Lock(r.dir(), r.observer)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	report, found, err := store.Load(r.kase.Headers())
	if err != nil {
		return err
	}
	report.Images = r.kase.Headers()
	report.Placement = r.compute(report.Book, noOptions)
	return do(store, &report, found)
}

// change lets edit alter the observer's book, computes the placement and saves
// both, with the former revision kept where keep is set.
func (r *reader) change(keep bool, edit func(*mark.Book) error) (report sidecar.Report, err error) {
	return r.amend(keep, func(report *sidecar.Report) error { return edit(&report.Book) })
}

// amend is change for whatever else the observer's report holds.
func (r *reader) amend(keep bool, edit func(*sidecar.Report) error) (report sidecar.Report, err error) {
	err = r.writing(func(store *sidecar.Store, current *sidecar.Report, found bool) error {
		if err := edit(current); err != nil {
			return err
		}
		current.Placement = r.compute(current.Book, noOptions)
		return uninterrupted(func() error {
			if found && keep {
				if err := store.Keep(); err != nil {
					return err
				}
			}
			report = *current
			return store.Save(&report)
		})
	})
	return report, err
}

// report opens the case and reads the observer's report.
func (r *reader) report(path string, opt placement.Options) (sidecar.Report, error) {
	if err := r.open(path); err != nil {
		return sidecar.Report{}, err
	}
	return r.load(opt)
}

// namable is report for what names a side to others: it refuses while sources
// of a side disagree, with the command that settles it.
func (r *reader) namable(path string) (sidecar.Report, error) {
	report, err := r.report(path, noOptions)
	if err != nil {
		return report, err
	}
	return report, r.sideSettled(report)
}

// placed refuses a report that holds no needle, wire or lead: there is nothing
// to tell or to keep.
func (r *reader) placed(report sidecar.Report) error {
	if len(report.Placement.Devices) == 0 {
		return badInput("%s has marked no needle, wire or lead in %s: draw one with 'leadline open', or take marks in with 'leadline mark %s --import marks.csv --observer NAME'",
			r.observer, r.kase.Path, r.typed())
	}
	return nil
}

// sideSettled refuses while sources of a side disagree.
func (r *reader) sideSettled(report sidecar.Report) error {
	if err := report.Placement.SideConflict(); err != nil {
		return fmt.Errorf("%w: leadline confirm %s --observer %q --object OBJECT --side left|right --basis BASIS", err, r.typed(), r.observer)
	}
	return nil
}
