// Package intake makes cases of what a C-arm or an archive hands over: a folder
// with its subfolders, a zip archive of one, or a single file. It tells films
// from all else, studies and patients from each other, and copies from films
// that only claim to be the same. Nothing it reads is changed, and nothing
// outside the folder or the archive is read.
package intake

import (
	"errors"
	"path/filepath"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
)

// Case is the frames of one procedure: images of one patient and one study.
type Case struct {
	Path string // of the folder, archive or file
	Dir  string // folder in which sidecars go: the folder itself, or the one the archive or file lies in
	Name string // last part of the path
	// Number is the case's among the cases at Path, from 1, and Of is how many
	// there are.
	Number, Of int
	// Files are ordered by acquisition date and time, series number, instance
	// number, place in a DICOMDIR, and name.
	Files []*dicomfile.File
	Findings

	release func() error
}

// Open opens the one case at path: see Survey for what a path may be, and
// Collection.Choose for the error where it holds several. The caller closes the
// case.
func Open(path string) (*Case, error) { return OpenStudy(path, "") }

// OpenStudy opens one of the cases at path: that of the study with this UID or
// number (see Collection.Choose); empty: the only one there is. The caller
// closes the case. Errors are those of Survey and Collection.Choose.
func OpenStudy(path, study string) (*Case, error) {
	all, err := Survey(path)
	if err != nil {
		return nil, err
	}
	c, err := all.Choose(study)
	if err != nil {
		return nil, errors.Join(err, all.Close())
	}
	return c, nil
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
		if c.Relative(f.Header.File) == filepath.Clean(nameOrUID) {
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

// Relative is the path of a file within the case's folder or archive; its name,
// where the case is that file.
func (c *Case) Relative(file string) string { return Within(c.Path, file) }

// Within is the path of a file below root; its name, where it is root.
func Within(root, file string) string {
	rel, err := filepath.Rel(root, file)
	switch {
	case err != nil:
		return file
	case rel == ".":
		return filepath.Base(file)
	}
	return rel
}

// Close lets go of all files.
func (c *Case) Close() error {
	errs := []error{closeAll(c.Files)}
	if c.release != nil {
		errs = append(errs, c.release())
		c.release = nil
	}
	return errors.Join(errs...)
}

func closeAll(files []*dicomfile.File) error {
	var errs []error
	for _, f := range files {
		errs = append(errs, f.Close())
	}
	return errors.Join(errs...)
}
