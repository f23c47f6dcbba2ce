package sidecar

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/google/renameio/v2"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
	"leadline/measure/mark"
	"leadline/measure/placement"
)

// Store is the one writer of an observer's sidecars in a folder, and works on
// that of one study. It is not for use by several goroutines at once.
type Store struct {
	dir, observer string
	path          string // of the sidecar; empty until it is found or placed
	lock          *os.File
	// doc is the file as last read or written, nil where there was none; last
	// is what it holds.
	doc  []byte
	last Report

	now    func() time.Time
	step   func(name string) error // a test's way to fail or stop between the steps of a write
	verify bool                    // Check what is saved
}

// verifySaves makes every Store check what it saves against the templates.
var verifySaves bool

// Lock makes the caller the one writer of the observer's sidecar in dir, until
// Close. Where another process is, it gives imaging.ErrInUse naming it;
// where dir cannot be written, imaging.ErrBadInput saying what to do.
func Lock(dir, observer string) (*Store, error) {
	if strings.TrimSpace(observer) == "" {
		return nil, fmt.Errorf("%w: no observer: say who marks", imaging.ErrBadInput)
	}
	f, err := hold(dir, observer)
	if err != nil {
		return nil, err
	}
	s := &Store{
		dir: dir, observer: observer, lock: f,
		now: time.Now, step: func(string) error { return nil }, verify: verifySaves,
	}
	s.sweep()
	return s, nil
}

// sweep removes what writes of these sidecars that were cut short left behind;
// nobody else can be writing them now.
func (s *Store) sweep() {
	entries, err := os.ReadDir(s.dir)
	if err != nil {
		return
	}
	for _, e := range entries {
		if unfinished(e.Name(), s.observer) {
			os.Remove(filepath.Join(s.dir, e.Name()))
		}
	}
}

// Load reads the sidecar of the images' study; found is false where there is
// none yet, and the report then holds the observer's name alone. See the
// function Load.
func (s *Store) Load(images []*imaging.Header) (r Report, found bool, err error) {
	k, err := load(s.dir, s.observer, images)
	if err != nil {
		return Report{}, false, err
	}
	s.path, s.doc, s.last = k.path, k.doc, k.report
	return k.report, k.doc != nil, nil
}

// Save writes the report if it differs from what is kept, as the next revision,
// whole or not at all: a crash at any moment leaves the former file or the new
// one. It fills in what saving decides: UIDs of new marks, Revision,
// SOPInstance, Predecessors, Issued, Created and Changed; for these the store's
// own count goes, not the report's.
//
// Where the file was changed by something else since it was read, Save gives
// imaging.ErrConflict and writes nothing.
func (s *Store) Save(r *Report) error {
	if r.Book.Observer != s.observer {
		return fmt.Errorf("%w: a report of observer %q cannot be saved as that of %q", imaging.ErrBadInput, r.Book.Observer, s.observer)
	}
	if s.path == "" {
		k, err := locate(s.dir, s.observer, r.Images)
		if err != nil {
			return err
		}
		s.path = k.path
	}
	if err := s.unchanged(); err != nil {
		return err
	}
	next := *r
	next.Book, next.Placement = tidy(r.Book), rounded(r.Placement)
	next.Responses, next.Operation = tidyTests(r.Responses), r.Operation.Clone()
	next.Revision, next.Issued, next.SOPInstance = s.last.Revision, s.last.Issued, s.last.SOPInstance
	next.Predecessors, next.Created, next.Changed = slices.Clone(s.last.Predecessors), s.last.Created, s.last.Changed
	if s.doc != nil {
		same, err := Encode(next)
		if err != nil {
			return fmt.Errorf("%s: %w", s.path, err)
		}
		if bytes.Equal(same, s.doc) {
			s.last, *r = next, next
			return nil
		}
	}
	next.Revision++
	if next.Issued > 0 {
		// What left the tool keeps its UID; the changed report is its successor.
		next.Predecessors = append(next.Predecessors, next.SOPInstance)
		next.SOPInstance, next.Issued = "", 0
	}
	if next.SOPInstance == "" {
		next.SOPInstance = mark.NewUID()
	}
	next.Changed = s.now().Truncate(time.Microsecond)
	if next.Created.IsZero() {
		next.Created = next.Changed
	}
	return s.put(next, r)
}

// put encodes and writes the report, and hands it to r once it is there.
func (s *Store) put(next Report, r *Report) error {
	doc, err := Encode(next)
	if err != nil {
		return fmt.Errorf("%s: %w", s.path, err)
	}
	if s.verify {
		if v := Check(doc); len(v) > 0 {
			return fmt.Errorf("%s: report breaks its template: %s (and %d more)", s.path, v[0], len(v)-1)
		}
	}
	if err := s.write(doc); err != nil {
		return fmt.Errorf("%s: could not be written, the former report stands: %w", s.path, err)
	}
	s.doc, s.last = doc, next
	*r = next
	return nil
}

// unchanged makes sure that the file is still as it was read or written.
func (s *Store) unchanged() error {
	doc, err := read(s.path)
	switch {
	case err != nil:
		return err
	case bytes.Equal(doc, s.doc) && (doc == nil) == (s.doc == nil):
		return nil
	case s.doc == nil:
		return fmt.Errorf("%s: %w: a report is there that was not read; nothing was written: open the case again", s.path, imaging.ErrConflict)
	case doc == nil:
		return fmt.Errorf("%s: %w: the report was removed by another program since it was read; nothing was written: put it back or open the case again", s.path, imaging.ErrConflict)
	}
	there := "a report that cannot be read"
	if other, err := Decode(doc); err == nil {
		there = fmt.Sprintf("revision %d", other.Revision)
	}
	return fmt.Errorf("%s: %w: %s is there instead of revision %d, changed by another program since it was read; nothing was written and it stands as it is: open the case again",
		s.path, imaging.ErrConflict, there, s.last.Revision)
}

// private is the mode of what Leadline keeps of a patient: for its owner alone. A
// sidecar whose mode somebody changed, to share it, keeps that.
const private = 0o600

// write puts the document in place: a temporary file in the same folder, synced,
// renamed over the former one, and the folder synced.
func (s *Store) write(doc []byte) error {
	pending, err := renameio.NewPendingFile(s.path, renameio.WithTempDir(s.dir),
		renameio.WithPermissions(private), renameio.WithExistingPermissions())
	if err != nil {
		return err
	}
	defer pending.Cleanup()
	if err := s.step("open"); err != nil {
		return err
	}
	half := len(doc) / 2
	if _, err := pending.Write(doc[:half]); err != nil {
		return err
	}
	if err := s.step("half"); err != nil {
		return err
	}
	if _, err := pending.Write(doc[half:]); err != nil {
		return err
	}
	if err := s.step("whole"); err != nil {
		return err
	}
	if err := pending.CloseAtomicallyReplace(); err != nil { // syncs, then renames
		return err
	}
	if d, err := os.Open(s.dir); err == nil {
		d.Sync() // some file systems cannot; the file itself is safe
		d.Close()
	}
	return nil
}

// Keep sets the sidecar as it stands aside, under a name of its own beside it
// that no later Keep overwrites. Where there is none it does nothing.
func (s *Store) Keep() error {
	if s.path == "" {
		return nil
	}
	if err := s.unchanged(); err != nil {
		return err
	}
	if s.doc == nil {
		return nil
	}
	stem := strings.TrimSuffix(s.path, suffix)
	for n := 1; ; n++ {
		path := fmt.Sprintf("%s.r%04d%s.kept", stem, s.last.Revision, suffix)
		if n > 1 {
			path = fmt.Sprintf("%s.r%04d-%d%s.kept", stem, s.last.Revision, n, suffix)
		}
		if there, err := read(path); err == nil && bytes.Equal(there, s.doc) {
			return nil // kept already
		}
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, private)
		if errors.Is(err, os.ErrExist) {
			continue
		}
		if err != nil {
			return unwritable(s.dir, err)
		}
		_, err = f.Write(s.doc)
		err = errors.Join(err, f.Sync(), f.Close())
		if err != nil {
			os.Remove(path)
			return fmt.Errorf("%s: the former revision could not be kept: %w", path, err)
		}
		return nil
	}
}

// Close ends the writing.
func (s *Store) Close() error {
	if s.lock == nil {
		return nil
	}
	f := s.lock
	s.lock = nil
	return letGo(f)
}

// tidy is a copy of the book as it is kept: new marks have a UID, points single
// precision, and a single frame its number twice.
func tidy(b mark.Book) mark.Book {
	b = b.Clone()
	for i := range b.Marks {
		m := &b.Marks[i]
		if m.UID == "" {
			m.UID = mark.NewUID()
		}
		m.Frame = single(m.Frame)
		for j, p := range m.Points {
			m.Points[j] = mark.Round(p)
		}
		m.SD.Value = inDecimals(m.SD.Value)
	}
	for i := range b.Statements {
		st := &b.Statements[i]
		st.Frame = single(st.Frame)
		st.When = st.When.Truncate(time.Microsecond)
	}
	return b
}

func single(f mark.FrameRef) mark.FrameRef {
	if f.Last == 0 {
		f.Last = f.First
	}
	return f
}

// rounded is a copy of the placement whose numbers have 10 significant digits.
// A DS value holds them exactly, so every toolkit that reads the report reads the
// same number; and what differs only in the last bits of a sum is no change.
func rounded(p placement.Placement) placement.Placement {
	p.Results, p.Films = slices.Clone(p.Results), slices.Clone(p.Films)
	for i := range p.Results {
		r := &p.Results[i]
		r.Value, r.U95, r.Lo, r.Hi = inDecimals(r.Value), inDecimals(r.U95), inDecimals(r.Lo), inDecimals(r.Hi)
		r.Budget = maps.Clone(r.Budget)
		for k, v := range r.Budget {
			r.Budget[k] = inDecimals(v)
		}
	}
	for i := range p.Films {
		f := &p.Films[i]
		for _, x := range []*float64{&f.Scale.Row, &f.Scale.Column, &f.Scale.Relative, &f.Scale.PlaneOffset, &f.Scale.MaxMagnification, &f.Scale.SourceToPlane} {
			*x = inDecimals(*x)
		}
		f.Points = maps.Clone(f.Points)
		for k, v := range f.Points {
			f.Points[k] = placement.Point{X: inDecimals(v.X), Y: inDecimals(v.Y)}
		}
	}
	return p
}

// Load reads the observer's sidecar in dir without locking it, that of the study
// the images are of; found is false where there is none. Its films get their
// Geometry and headers from images, and its Images are those given: more than it
// knew are welcome.
//
// Where an image that marks, statements or results refer to is not among
// images, or differs in columns, rows or frames, or the file is damaged or
// another observer's, it gives imaging.ErrBadInput saying which; where two
// sidecars are of the study, imaging.ErrConflict.
func Load(dir, observer string, images []*imaging.Header) (r Report, found bool, err error) {
	k, err := load(dir, observer, images)
	return k.report, k.doc != nil, err
}

func load(dir, observer string, images []*imaging.Header) (kept, error) {
	k, err := locate(dir, observer, images)
	switch {
	case err != nil:
		return kept{}, err
	case k.doc == nil:
		k.report = Report{Book: mark.Book{Observer: observer}, Images: images}
		return k, nil
	case k.bad != nil:
		return kept{}, fmt.Errorf("%s: %w; it was left as it is: mend it or move it away", k.path, k.bad)
	case k.report.Book.Observer != observer:
		return kept{}, fmt.Errorf("%s: %w: belongs to observer %q, not to %q", k.path, imaging.ErrBadInput, k.report.Book.Observer, observer)
	}
	if err := k.report.beside(images); err != nil {
		return kept{}, fmt.Errorf("%s: %w", k.path, err)
	}
	return k, nil
}

// read gives the file's bytes; nil where there is none.
func read(path string) ([]byte, error) {
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	doc, err := io.ReadAll(io.LimitReader(f, dicomfile.MaxJSONBytes+1))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if len(doc) > dicomfile.MaxJSONBytes {
		return nil, fmt.Errorf("%s: %w: larger than %d bytes", path, imaging.ErrBadInput, dicomfile.MaxJSONBytes)
	}
	if doc == nil {
		doc = []byte{}
	}
	return doc, nil
}

// Observers are the names of those who have a sidecar in dir, of whichever
// study, sorted. A sidecar that cannot be read is told in err; the others are
// named all the same.
func Observers(dir string) (names []string, err error) { return ObserversOf(dir, nil) }

// ObserversOf is Observers for the study that the images are of.
func ObserversOf(dir string, images []*imaging.Header) (names []string, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("%s: %w: cannot be listed: %v", dir, imaging.ErrBadInput, err)
	}
	damaged := 0
	for _, e := range entries {
		if e.IsDir() || !strings.HasSuffix(e.Name(), suffix) || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		k, bad := open(filepath.Join(dir, e.Name()), images)
		if bad == nil && k.bad != nil {
			bad = fmt.Errorf("%s: %w", k.path, k.bad)
		}
		switch {
		case bad != nil:
			if damaged++; damaged == 1 {
				err = bad
			}
		case k.of(images):
			names = append(names, k.report.Book.Observer)
		}
	}
	if damaged > 1 {
		err = fmt.Errorf("%w (and %d more that cannot be read)", err, damaged-1)
	}
	slices.Sort(names)
	return slices.Compact(names), err
}
