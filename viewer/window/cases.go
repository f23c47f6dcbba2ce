package window

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/hajimehoshi/ebiten/v2"

	"leadline/viewer/desk"
)

// caseHolder holds the case that is shown and the one that is to take its
// place.
type caseHolder struct {
	current *desk.Opened
	next    *desk.Opened // opened; the current one is still being saved
	asked   desk.Target  // being opened
	coming  chan opening // its outcome; nil while nothing is being opened
}

// opening is what came of opening a case.
type opening struct {
	target desk.Target
	opened *desk.Opened
	err    error
}

// close lets go of all.
func (c *caseHolder) close() error {
	var err error
	if c.coming != nil {
		if o := <-c.coming; o.opened != nil {
			err = o.opened.Close()
		}
	}
	if c.next != nil {
		err = errors.Join(err, c.next.Close())
	}
	return errors.Join(err, c.current.Close())
}

// turnCases opens what was asked for or dropped, and puts it in the place of
// the case shown when that one is saved. It reports whether anything changed.
func (a *app) turnCases() bool {
	c := &a.cases
	changed := a.takeDrops()
	if c.current == nil || a.opt.Open == nil {
		return changed
	}
	if c.coming == nil && c.next == nil {
		if t, ok := a.d.Wanted(); ok {
			if c.current.Holds(t) {
				a.d.NotOpened(fmt.Errorf("%s is open already", filepath.Base(t.Path)))
				return true
			}
			c.asked, c.coming = t, make(chan opening, 1)
			go func(to chan<- opening) {
				o, err := a.opt.Open(t)
				to <- opening{t, o, err}
				Wake()
			}(c.coming)
			changed = true
		}
	}
	select {
	case o := <-c.coming:
		c.coming, changed = nil, true
		switch t, on := a.d.Opening(); {
		case !on || t != o.target: // given up meanwhile
			if o.opened != nil {
				if err := o.opened.Close(); err != nil {
					a.d.NotOpened(err)
				}
			}
		case o.err != nil:
			a.d.NotOpened(o.err)
		default:
			c.next = o.opened
			a.d.Quit()
		}
	default:
	}
	if c.next == nil {
		return changed
	}
	a.d.Poll() // what is due to be saved
	switch {
	case a.d.Done():
		former := c.current
		c.current, c.next = c.next, nil
		a.lay(c.current.Desk)
		if err := former.Close(); err != nil {
			a.d.NotOpened(fmt.Errorf("the former case: %w", err))
		}
		changed = true
	case !a.d.Quitting() && a.d.Question() == nil:
		// It could not be saved, and the person stays with it.
		next := c.next
		c.next, changed = nil, true
		if err := next.Close(); err != nil {
			a.d.NotOpened(err)
		}
	}
	return changed
}

// lay shows another desk.
func (a *app) lay(d *desk.Desk) {
	for _, id := range panes {
		a.drop(id)
		a.kept[id] = kept{picture: a.kept[id].picture}
	}
	a.thumbs.clear()
	a.d, a.rows, a.parts, a.over = d, 0, nil, nil
	a.pointer.job = idle
	a.stale, a.dirty = true, true
	ebiten.SetWindowTitle(title(d))
}

// takeDrops asks for what was dropped on the window.
func (a *app) takeDrops() bool {
	dropped := ebiten.DroppedFiles()
	if dropped == nil {
		return false
	}
	paths, err := droppedPaths(dropped)
	if err == nil {
		var t desk.Target
		if t.Path, err = onePath(paths); err == nil && !a.d.Caution() {
			a.d.OpenCase(t)
			return true
		}
	}
	if err != nil {
		a.d.NotOpened(err)
	}
	return true
}

// droppedPaths finds where what was dropped really lies.
func droppedPaths(dropped fs.FS) (paths []string, err error) {
	list, err := fs.ReadDir(dropped, ".")
	if err != nil {
		return nil, err
	}
	for _, e := range list {
		f, err := dropped.Open(e.Name())
		if err != nil {
			return nil, err
		}
		if real, ok := f.(*os.File); ok {
			paths = append(paths, real.Name())
		}
		if err := f.Close(); err != nil {
			return nil, err
		}
	}
	return paths, nil
}

// onePath is the one thing that was dropped or, of several, the folder they all
// lie in: a case is a folder.
func onePath(paths []string) (string, error) {
	if len(paths) == 0 {
		return "", errors.New("what was dropped has no path here: drop a folder, a zip archive or a file")
	}
	if len(paths) == 1 {
		return paths[0], nil
	}
	dir := filepath.Dir(paths[0])
	for _, p := range paths[1:] {
		if filepath.Dir(p) != dir {
			return "", errors.New("what was dropped lies in several folders: drop the folder of one case")
		}
	}
	return dir, nil
}
