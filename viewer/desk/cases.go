package desk

import (
	"errors"
	"fmt"
	"path/filepath"
	"strconv"

	"leadline/imaging/intake"
)

// Target is a case to open: a path, and which of several studies there.
type Target struct{ Path, Study string }

// Cases is the list of cases one can open, while it is on show.
type Cases struct {
	Paths []string // newest first; 1 to 9 open them
	// Only says that no case is open: the list cannot be closed.
	Only bool
}

// Cases on show, or nil.
func (d *Desk) Cases() *Cases { return d.cases }

// ShowCases lists the cases opened last.
func (d *Desk) ShowCases() {
	var paths []string
	if d.cfg.Recent != nil {
		paths = d.cfg.Recent()
	}
	d.cases = &Cases{Paths: paths, Only: len(d.cfg.Headers) == 0}
}

// pressCases takes keys while the list is on show.
func (d *Desk) pressCases(key string) {
	c := d.cases
	if n, err := strconv.Atoi(key); err == nil && n >= 1 && n <= len(c.Paths) {
		d.OpenCase(Target{Path: c.Paths[n-1]})
		return
	}
	switch key {
	case "p":
		d.question = &Question{Title: "Open a case", Detail: "Path of a folder, a zip archive or a file", Entry: true, Most: 4096,
			check: func(s string) error {
				if s == "" {
					return fmt.Errorf("type a path, or press Esc")
				}
				return nil
			},
			answer: func(s string) { d.OpenCase(Target{Path: s}) }}
	case "f":
		if d.cfg.Forget == nil {
			return
		}
		if err := d.cfg.Forget(); err != nil {
			d.refuse(err)
			return
		}
		d.forgotten = true
		d.say("The list is empty: no path is kept, nor how a case was looked at.")
		d.ShowCases()
	case "Escape", "Ctrl+o":
		if !c.Only {
			d.cases = nil
		}
	case "Ctrl+q":
		d.Quit()
	}
}

// OpenCase asks the window to open a case in place of this one, which is saved
// first.
func (d *Desk) OpenCase(t Target) {
	d.wanted = &t
	d.opening = &t
	d.say("Opening %s …", filepath.Base(t.Path))
	d.cfg.Wake()
}

// Wanted gives the case that was asked for, once.
func (d *Desk) Wanted() (t Target, ok bool) {
	if d.wanted == nil {
		return t, false
	}
	t, d.wanted = *d.wanted, nil
	return t, true
}

// Opening is the case being opened; ok is false where none is, or where it was
// given up.
func (d *Desk) Opening() (t Target, ok bool) {
	if d.opening == nil {
		return t, false
	}
	return *d.opening, true
}

// NotOpened says why a case could not be opened. Of several studies it asks
// which.
func (d *Desk) NotOpened(err error) {
	t := d.opening
	d.opening = nil
	var several *Several
	if t == nil || !errors.As(err, &several) {
		d.refuse(err)
		return
	}
	q := &Question{Title: "Several studies", Detail: "A case is one patient and one study. Which?"}
	for i, label := range several.Labels {
		q.Choices = append(q.Choices, Choice{strconv.Itoa(i + 1), label})
	}
	q.answer = func(key string) { d.OpenCase(Target{t.Path, key}) }
	d.question = q
	d.notice = Notice{}
}

// Several is the error of opening a path with more than one study.
type Several struct {
	Labels []string // of the first nine: patient, date and number of films
	error
}

func (s *Several) Unwrap() error { return s.error }

// survey opens the one case there, or that of the study named.
func survey(t Target) (*intake.Case, error) {
	all, err := intake.Survey(t.Path)
	if err != nil {
		return nil, err
	}
	c, err := all.Choose(t.Study)
	if err == nil {
		return c, nil
	}
	if len(all.Cases) > 1 && t.Study == "" {
		s := &Several{error: err}
		for _, k := range all.Cases[:min(len(all.Cases), 9)] {
			s.Labels = append(s.Labels, fmt.Sprintf("%s, %s, %d films", k.Patient(), k.Date(), len(k.Files)))
		}
		err = s
	}
	return nil, errors.Join(err, all.Close())
}
