package intake

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
)

// walk lists the files of the folder and its subfolders in the order of names.
// What begins with a dot, and what Leadline writes itself, is left out.
func (c *Collection) walk() ([]entry, error) {
	root, err := filepath.EvalSymlinks(c.Path)
	if err != nil {
		return nil, unreadable(c.Path, err)
	}
	w := walker{c: c, root: root}
	err = w.folder("", 0)
	return w.entries, err
}

type walker struct {
	c       *Collection
	root    string // without links
	count   int
	entries []entry
}

// folder lists the folder rel, as many folders down.
func (w *walker) folder(rel string, depth int) error {
	shown := filepath.Join(w.c.Path, rel)
	if depth > maxDepth {
		return fmt.Errorf("%s: %w: folders nested deeper than %d; open the folder of one case", shown, imaging.ErrBadInput, maxDepth)
	}
	list, err := readFolder(filepath.Join(w.root, rel), maxFiles-w.count+1)
	if err != nil {
		if rel == "" {
			return unreadable(shown, err)
		}
		w.c.Refused = append(w.c.Refused, unreadable(shown, err))
		return nil
	}
	if w.count += len(list); w.count > maxFiles {
		return fmt.Errorf("%s: %w: more than %d files; open the folder of one case", w.c.Path, imaging.ErrBadInput, maxFiles)
	}
	for _, e := range list {
		at := filepath.Join(rel, e.Name())
		switch {
		case e.IsDir() && strings.HasPrefix(e.Name(), "."), !e.IsDir() && SideFile(e.Name()):
		case e.IsDir():
			if err := w.folder(at, depth+1); err != nil {
				return err
			}
		default:
			w.file(at, e)
		}
	}
	return nil
}

// readFolder gives up to most entries of a folder, by name.
func readFolder(dir string, most int) ([]fs.DirEntry, error) {
	f, err := os.Open(dir)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	list, err := f.ReadDir(most)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	slices.SortFunc(list, func(a, b fs.DirEntry) int { return strings.Compare(a.Name(), b.Name()) })
	return list, nil
}

// file takes up a file, or says why it is passed over.
func (w *walker) file(rel string, e fs.DirEntry) {
	shown := filepath.Join(w.c.Path, rel)
	if e.Type()&fs.ModeSymlink != 0 {
		w.c.pass(shown, w.link(filepath.Join(w.root, rel)))
		return
	}
	info, err := e.Info()
	if err != nil || !info.Mode().IsRegular() { // pipes and devices would block
		w.c.pass(shown, NoFile)
		return
	}
	w.entries = append(w.entries, entry{
		path: shown, rel: filepath.ToSlash(rel), size: info.Size(),
		film: func() (*dicomfile.File, error) { return dicomfile.Open(shown) },
		bytes: func() (io.ReaderAt, io.Closer, error) {
			f, err := os.Open(shown)
			return f, f, err
		},
	})
}

// link says where a link leads.
func (w *walker) link(p string) Reason {
	end, err := filepath.EvalSymlinks(p)
	if err != nil {
		return LinkOut
	}
	if rel, err := filepath.Rel(w.root, end); err != nil || !filepath.IsLocal(rel) || rel != "." && hidden(filepath.ToSlash(rel)) {
		return LinkOut
	}
	return Link
}
