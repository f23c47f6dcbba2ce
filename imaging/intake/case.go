// Package intake gathers the image files of one case from a folder or a file.
package intake

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
)

// Case is the frames of one procedure: images of one patient and one study.
type Case struct {
	Path string // as given
	Dir  string // folder in which the files lie, and where sidecars go
	Name string // last part of the path
	// Files are ordered by acquisition date and time, series number, instance
	// number and name.
	Files []*dicomfile.File
	// Passed are the paths of files that hold no image: no DICOM, or reports,
	// presentation states and directories.
	Passed []string
	// Refused says of each DICOM image that cannot be used why.
	Refused []error
}

// Limits of a folder. A case is some dozens of files; above these it is a
// folder of something else.
const (
	maxFiles = 5000
	maxDepth = 16
)

// SideFile says whether a file name is one that Leadline itself writes beside
// images: sidecars, their locks and former revisions, marks, and files half
// written.
func SideFile(name string) bool {
	return strings.HasPrefix(name, ".") || strings.Contains(name, ".leadline.") || strings.HasSuffix(name, ".leadline") ||
		name == "marks.csv" || name == "truth.json"
}

// Open reads the headers of all images at path: a single file, or a folder with
// its subfolders. Links to folders are not followed. The caller closes the
// case. Errors wrap imaging.ErrBadInput (no such path, too many files, more than
// one patient or study), ErrNotDICOM (no image in it), or, of a single file,
// what dicomfile.Open says.
func Open(path string) (*Case, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	c := &Case{Path: path, Name: name(path)}
	if !info.IsDir() {
		c.Dir = filepath.Dir(path)
		f, err := dicomfile.Open(path)
		if err != nil {
			return nil, err
		}
		c.Files = []*dicomfile.File{f}
		return c, nil
	}
	c.Dir = path
	if err := c.gather(); err != nil {
		c.Close()
		return nil, err
	}
	return c, nil
}

func name(path string) string {
	if abs, err := filepath.Abs(path); err == nil {
		return filepath.Base(abs)
	}
	return filepath.Base(path)
}

func unreadable(path string, err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		err = p.Err
	}
	return fmt.Errorf("%s: %w: %v; give a folder of DICOM files, or one file", path, imaging.ErrBadInput, err)
}

func (c *Case) gather() error {
	paths, err := c.list()
	if err != nil {
		return err
	}
	first := map[string]*dicomfile.File{}
	for _, p := range paths {
		f, err := dicomfile.Open(p)
		switch {
		case errors.Is(err, imaging.ErrNotDICOM), errors.Is(err, dicomfile.ErrNoImage):
			c.Passed = append(c.Passed, p)
			continue
		case err != nil:
			c.Refused = append(c.Refused, err)
			continue
		}
		if kept := first[f.Header.SOPInstance]; kept != nil {
			kept.Header.Notes = append(kept.Header.Notes, fmt.Sprintf("%s has the same SOP Instance UID and is left out", c.relative(p)))
			if err := f.Close(); err != nil {
				return err
			}
			continue
		}
		first[f.Header.SOPInstance] = f
		c.Files = append(c.Files, f)
	}
	if len(c.Files) == 0 {
		return c.nothing(len(paths))
	}
	if err := c.one(); err != nil {
		return err
	}
	slices.SortStableFunc(c.Files, byTime)
	return nil
}

// list walks the folder in the order of names.
func (c *Case) list() ([]string, error) {
	root, err := filepath.EvalSymlinks(c.Dir)
	if err != nil {
		return nil, unreadable(c.Dir, err)
	}
	var paths []string
	count := 0
	err = filepath.WalkDir(root, func(p string, e fs.DirEntry, err error) error {
		shown := p
		if rel, rerr := filepath.Rel(root, p); rerr == nil {
			shown = filepath.Join(c.Dir, rel)
		}
		if err != nil {
			if p == root {
				return unreadable(c.Dir, err)
			}
			c.Refused = append(c.Refused, unreadable(shown, err))
			if e != nil && e.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if count++; count > maxFiles {
			return fmt.Errorf("%s: %w: more than %d files; open the folder of one case", c.Dir, imaging.ErrBadInput, maxFiles)
		}
		if e.IsDir() {
			if rel, _ := filepath.Rel(root, p); strings.Count(rel, string(filepath.Separator)) >= maxDepth {
				return fmt.Errorf("%s: %w: folders nested deeper than %d; open the folder of one case", shown, imaging.ErrBadInput, maxDepth)
			}
			if p != root && strings.HasPrefix(e.Name(), ".") {
				return fs.SkipDir
			}
			return nil
		}
		if SideFile(e.Name()) {
			return nil
		}
		// A link counts as what it leads to; pipes and devices would block.
		info, err := os.Stat(p)
		if err != nil || !info.Mode().IsRegular() {
			c.Passed = append(c.Passed, shown)
			return nil
		}
		paths = append(paths, shown)
		return nil
	})
	return paths, err
}

func (c *Case) relative(p string) string {
	if rel, err := filepath.Rel(c.Dir, p); err == nil {
		return rel
	}
	return p
}

// nothing says why a folder holds no case.
func (c *Case) nothing(files int) error {
	switch {
	case len(c.Refused) == 1:
		return c.Refused[0]
	case len(c.Refused) > 1:
		return fmt.Errorf("%w; and %d more files that cannot be used", c.Refused[0], len(c.Refused)-1)
	case files+len(c.Passed) == 0:
		return fmt.Errorf("%s: %w: the folder is empty; give a folder of DICOM files", c.Dir, imaging.ErrNotDICOM)
	}
	return fmt.Errorf("%s: %w: none of its %d files is a DICOM image; give a folder of DICOM files", c.Dir, imaging.ErrNotDICOM, len(c.Passed))
}

// Headers of all files, in their order.
func (c *Case) Headers() []*imaging.Header {
	out := make([]*imaging.Header, len(c.Files))
	for i, f := range c.Files {
		out[i] = f.Header
	}
	return out
}

// File with the SOP Instance UID, or nil.
func (c *Case) File(instanceUID string) *dicomfile.File {
	for _, f := range c.Files {
		if f.Header.SOPInstance == instanceUID {
			return f
		}
	}
	return nil
}

// Find gives the file with a SOP Instance UID, a path relative to the case's
// folder, or a file name, in this order. A name that two files bear finds none.
func (c *Case) Find(nameOrUID string) (*dicomfile.File, bool) {
	if nameOrUID == "" {
		return nil, false
	}
	if f := c.File(nameOrUID); f != nil {
		return f, true
	}
	var found *dicomfile.File
	for _, f := range c.Files {
		if c.relative(f.Header.File) == filepath.Clean(nameOrUID) {
			return f, true
		}
	}
	for _, f := range c.Files {
		if filepath.Base(f.Header.File) == nameOrUID {
			if found != nil {
				return nil, false
			}
			found = f
		}
	}
	return found, found != nil
}

// Close lets go of all files.
func (c *Case) Close() error {
	var errs []error
	for _, f := range c.Files {
		errs = append(errs, f.Close())
	}
	return errors.Join(errs...)
}
