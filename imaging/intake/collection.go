package intake

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
)

// Limits of a folder or archive. A case is some dozens of files; above these it
// is a folder of something else.
const (
	maxFiles = 5000 // files and folders
	maxDepth = 16   // folders within folders
)

// Collection is all that lies at a path: the cases in it, each of one patient
// and one study, and what else was found.
type Collection struct {
	Path, Dir string // see Case
	Name      string
	// Cases are ordered by the time of their first film. Their Findings are
	// those of the whole collection.
	Cases []*Case
	Findings

	release func() error
}

// entry is one file of a folder or archive.
type entry struct {
	path string // as messages name it
	rel  string // within the folder or archive, with slashes
	size int64
	// film reads the file as an image.
	film func() (*dicomfile.File, error)
	// bytes opens the file to be read byte by byte.
	bytes func() (io.ReaderAt, io.Closer, error)
}

// Survey reads the headers of all images at path: a folder with its subfolders,
// a zip archive of one, or a single file. A DICOMDIR stands for its folder.
// Links are not followed: what they lead to within the folder is found where it
// lies, and what lies outside is none of it. The caller closes the collection,
// or the case that Choose makes of it.
//
// Errors wrap imaging.ErrBadInput (no such path, too many files, folders too
// deep), ErrNotDICOM (no image in it), ErrDamaged (of an archive), ErrConflict
// (nothing but images that contradict each other), or, of a single file, what
// dicomfile.Open says.
func Survey(path string) (*Collection, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	c := &Collection{Path: path, Dir: path, Name: name(path)}
	switch {
	case info.IsDir():
		err = c.gatherFolder()
	case info.Mode().IsRegular():
		c.Dir = filepath.Dir(path)
		err = c.gatherFile()
	default:
		return nil, fmt.Errorf("%s: %w: neither a folder nor a file; give a folder of DICOM files, a zip archive of one, or one file", path, imaging.ErrBadInput)
	}
	if err != nil {
		return nil, errors.Join(err, c.Close())
	}
	return c, nil
}

func name(p string) string {
	if abs, err := filepath.Abs(p); err == nil {
		return filepath.Base(abs)
	}
	return filepath.Base(p)
}

func unreadable(path string, err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		err = p.Err
	}
	return fmt.Errorf("%s: %w: %v; give a folder of DICOM files, a zip archive of one, or one file", path, imaging.ErrBadInput, err)
}

func (c *Collection) gatherFolder() error {
	entries, err := c.walk()
	if err != nil {
		return err
	}
	return c.gather(entries)
}

// gatherFile takes one file: an archive, a DICOMDIR, or an image.
func (c *Collection) gatherFile() error {
	f, err := os.Open(c.Path)
	if err != nil {
		return unreadable(c.Path, err)
	}
	head := make([]byte, 4)
	n, err := f.ReadAt(head, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		f.Close()
		return unreadable(c.Path, err)
	}
	if isArchive(head[:n]) {
		return c.gatherArchive(f)
	}
	if err := f.Close(); err != nil {
		return err
	}
	film, err := dicomfile.Open(c.Path)
	if isDirectory(filepath.Base(c.Path), err) {
		c.Path, c.Name = c.Dir, name(c.Dir)
		return c.gatherFolder()
	}
	if err != nil {
		return err
	}
	c.tellApart([]*dicomfile.File{film}, nil)
	return nil
}

// isArchive says whether a file that begins so is a zip archive, empty or not
// (APPNOTE.TXT 4.3.7, 4.3.16).
func isArchive(head []byte) bool {
	return bytes.HasPrefix(head, []byte("PK\x03\x04")) || bytes.HasPrefix(head, []byte("PK\x05\x06"))
}

// gather makes cases of the files of a folder or archive.
func (c *Collection) gather(entries []entry) (err error) {
	var films []found
	var directories []entry
	for _, e := range entries {
		f, err := e.film()
		switch {
		case isDirectory(e.rel, err):
			directories = append(directories, e)
			c.pass(e.path, Directory)
		case errors.Is(err, dicomfile.ErrNoImage):
			c.pass(e.path, NoImage)
			c.Others = append(c.Others, Other{e.path, e.size, e.bytes})
		case errors.Is(err, dicomfile.ErrOtherKind):
			c.pass(e.path, OtherKind)
		case errors.Is(err, imaging.ErrNotDICOM):
			why := NotDICOM
			if errors.Is(err, imaging.ErrUnsupported) { // a zip archive
				why = Archive
			}
			c.pass(e.path, why)
		case err != nil:
			c.Refused = append(c.Refused, err)
		default:
			films = append(films, found{f, e})
		}
	}
	films, err = c.single(films)
	files := make([]*dicomfile.File, len(films))
	for i, f := range films {
		files[i] = f.File
	}
	if err != nil {
		return errors.Join(err, closeAll(files))
	}
	place := c.consult(directories, entries, films)
	if len(files) == 0 {
		return c.nothing(len(entries))
	}
	c.tellApart(files, place)
	return nil
}

// isDirectory says whether a file that is no image is a directory of files: by
// its header, or, as some programs rewrite that, by its name (PS3.10 8.6).
func isDirectory(rel string, err error) bool {
	return errors.Is(err, dicomfile.ErrDirectory) || err != nil && plainPath(path.Base(rel)) == "DICOMDIR"
}

// nothing says why there is no case.
func (c *Collection) nothing(files int) error {
	switch {
	case len(c.Refused) == 1:
		return c.Refused[0]
	case len(c.Refused) > 1:
		return fmt.Errorf("%w; and %d more files that cannot be used", c.Refused[0], len(c.Refused)-1)
	case files+len(c.Passed) == 0:
		return fmt.Errorf("%s: %w: it is empty; give a folder of DICOM files, or a zip archive of one", c.Path, imaging.ErrNotDICOM)
	}
	var what []string
	give := "give a folder of DICOM files, or a zip archive of one"
	for _, t := range c.Tallies() {
		what = append(what, fmt.Sprintf("%d %s", t.Count, t.Why))
		if t.Why == Archive && c.Path == c.Dir {
			give = "open the archive, such as " + t.First
		}
	}
	return fmt.Errorf("%s: %w: none of its files is a DICOM image (%s); %s", c.Path, imaging.ErrNotDICOM, strings.Join(what, "; "), give)
}

// Choose gives the case of a study, by its UID or its number in Cases, and
// closes all others; empty: the only one there is. Where there are several to
// choose from, or none so named, the error, an imaging.ErrBadInput, names them
// by patient and says how to choose; the collection then stays open.
func (c *Collection) Choose(study string) (*Case, error) {
	chosen, err := c.find(strings.TrimSpace(study))
	if err != nil {
		return nil, err
	}
	var errs []error
	for _, k := range c.Cases {
		if k != chosen {
			errs = append(errs, k.Close())
		}
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	c.Cases, chosen.release, c.release = nil, c.release, nil
	return chosen, nil
}

// Close lets go of all files.
func (c *Collection) Close() error {
	var errs []error
	for _, k := range c.Cases {
		errs = append(errs, k.Close())
	}
	if c.release != nil {
		errs = append(errs, c.release())
		c.release = nil
	}
	c.Cases = nil
	return errors.Join(errs...)
}

// Patients counts the patients of the cases.
func (c *Collection) Patients() int {
	var seen []patient
	for _, k := range c.Cases {
		if p := patientOf(k.Files[0].Header); !slices.Contains(seen, p) {
			seen = append(seen, p)
		}
	}
	return len(seen)
}
