package desk

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"leadline/imaging/radiation"
	"leadline/measure/note"
	"leadline/measure/sidecar"
)

// noting writes the note of the case aside.
type noting struct {
	busy   bool
	result chan noted
}

type noted struct {
	where string
	err   error
}

// CopyNote puts the note of the case where it can be pasted from, or, where
// there is no program for the clipboard, in a file; the notice says which. It
// is refused while sources of a side disagree.
func (d *Desk) CopyNote() {
	p, current := d.Placement()
	switch {
	case d.cfg.Note == nil:
		d.refuse(errors.New("no case is open"))
		return
	case d.noting.busy || !current:
		d.say("Still measuring: ask for the note again in a moment.")
		return
	case len(p.Devices) == 0:
		d.refuse(errors.New("mark a needle, wire or lead first: without one there is nothing to tell"))
		return
	}
	if err := p.SideConflict(); err != nil {
		d.refuse(fmt.Errorf("no note while sources of a side disagree: %w: state the side (S)", err))
		return
	}
	d.noting.busy = true
	if d.noting.result == nil {
		d.noting.result = make(chan noted, 1)
	}
	r := sidecar.Report{Book: d.now.book, Responses: d.now.responses, Placement: p}
	write, result, wake := d.cfg.Note, d.noting.result, d.cfg.Wake
	go func() {
		where, err := write(r)
		result <- noted{where, err}
		wake()
	}()
	d.say("Writing the note …")
}

// pollNote takes in a note that is written.
func (d *Desk) pollNote() bool {
	select {
	case n := <-d.noting.result:
		d.noting.busy = false
		if n.err != nil {
			d.refuse(fmt.Errorf("no note: %w", n.err))
		} else {
			d.say("%s", n.where)
		}
		return true
	default:
		return false
	}
}

// writeNote words the case as 'leadline note' does and puts it on the clipboard
// or into a new file in the folder.
func (o *Opened) writeNote(r sidecar.Report, dir string) (string, error) {
	template, err := note.ParseTemplate(strings.NewReader(note.DefaultTemplate()))
	if err != nil {
		return "", err
	}
	text, err := note.Write(note.Material{Report: r, Radiation: radiation.OfCase(o.kase, r.Operation.Radiation())}, template, note.PlainText)
	if err != nil {
		return "", err
	}
	if toClipboard(text) {
		return "The note is on the clipboard.", nil
	}
	f, err := os.CreateTemp(dir, "note-*.txt") // none is replaced
	if err != nil {
		return "", err
	}
	_, err = f.WriteString(text)
	if err := errors.Join(err, f.Close()); err != nil {
		return "", err
	}
	return fmt.Sprintf("The note is in %s; xclip or wl-clipboard would put it on the clipboard.", filepath.Base(f.Name())), nil
}

// toClipboard hands text to a program for the clipboard and reports whether one
// took it.
func toClipboard(text string) bool {
	for _, args := range [][]string{{"wl-copy"}, {"xclip", "-selection", "clipboard"}, {"pbcopy"}} {
		path, err := exec.LookPath(args[0])
		if err != nil {
			continue
		}
		cmd := exec.Command(path, args[1:]...)
		cmd.Stdin = strings.NewReader(text)
		if err := cmd.Run(); err == nil {
			return true
		}
	}
	return false
}
