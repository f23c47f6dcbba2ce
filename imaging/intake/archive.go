package intake

import (
	"archive/zip"
	"cmp"
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

// maxListing is the bytes of an archive's list of entries; maxFiles and
// maxDepth hold for what it lists.
const maxListing = 8 << 20

// gatherArchive makes cases of a zip archive (PKWARE APPNOTE.TXT 6.3). No entry
// is ever written under its own name: stored ones are read where they lie in
// the archive; deflated ones are inflated, as far as they are looked at, into
// one temporary file without a name.
func (c *Collection) gatherArchive(f *os.File) error {
	if ext := filepath.Ext(c.Name); strings.EqualFold(ext, ".zip") {
		c.Name = strings.TrimSuffix(c.Name, ext)
	}
	a := &archive{c: c, f: f, space: &space{}}
	c.release = func() error { return errors.Join(a.space.close(), f.Close()) }
	info, err := f.Stat()
	if err != nil {
		return unreadable(c.Path, err)
	}
	entries, err := a.list(info.Size())
	if err != nil {
		return err
	}
	return c.gather(entries)
}

type archive struct {
	c     *Collection
	f     io.ReaderAt
	space *space
}

// list reads what the archive holds, and checks it before anything is inflated.
func (a *archive) list(size int64) ([]entry, error) {
	budget := &budgeted{ReaderAt: a.f, limited: true, left: maxListing}
	r, err := zip.NewReader(budget, size)
	budget.limited = false
	switch {
	case errors.Is(err, errBudget) || r != nil && len(r.File) > maxFiles:
		return nil, fmt.Errorf("%s: %w: more than %d files; open an archive of one case", a.c.Path, imaging.ErrBadInput, maxFiles)
	case r == nil:
		return nil, fmt.Errorf("%s: %w: the zip archive cannot be read (%v); copy it again", a.c.Path, imaging.ErrDamaged, err)
	}
	var entries []entry
	var taken []extent
	byName := map[string]int{}
	for _, z := range r.File {
		rel, ok := nameWithin(z.Name)
		if !ok {
			a.refuse(z.Name, imaging.ErrBadInput, "its name leads out of the archive, so it is not read")
			continue
		}
		if strings.Count(rel, "/") > maxDepth {
			return nil, fmt.Errorf("%s: %w: folders nested deeper than %d; open an archive of one case", a.c.Path, imaging.ErrBadInput, maxDepth)
		}
		e, at, ok := a.entry(z, rel, size)
		if !ok {
			continue
		}
		byName[rel]++
		entries, taken = append(entries, e), append(taken, at)
	}
	if x, y, overlap := overlapping(taken); overlap {
		return nil, fmt.Errorf("%s: %w: its entries %q and %q share bytes, as in no archive packed from files; it is not read", a.c.Path, imaging.ErrDamaged, x, y)
	}
	slices.SortStableFunc(entries, func(x, y entry) int { return cmp.Compare(x.rel, y.rel) })
	return slices.DeleteFunc(entries, func(e entry) bool {
		if n := byName[e.rel]; n > 1 {
			a.refuse(e.rel, imaging.ErrConflict, fmt.Sprintf("%d entries bear this name, so none is used; pack the archive again", n))
			byName[e.rel] = -1
		}
		return byName[e.rel] != 1
	}), nil
}

// nameWithin is an entry's name as a path within the archive, without a closing
// slash. Some programs write backslashes against APPNOTE.TXT 4.4.17; a name
// from the root, with a drive, or with a step upwards is none.
func nameWithin(name string) (rel string, ok bool) {
	rel = strings.ReplaceAll(name, `\`, "/")
	if strings.HasPrefix(rel, "/") || strings.ContainsAny(rel, ":\x00") || slices.Contains(strings.Split(rel, "/"), "..") {
		return "", false
	}
	return path.Clean(rel), true
}

func (a *archive) refuse(name string, kind error, why string) {
	a.c.Refused = append(a.c.Refused, fmt.Errorf("%s: %q: %w: %s", a.c.Path, name, kind, why))
}

// extent is which bytes of the archive an entry takes.
type extent struct {
	name     string
	from, to int64
}

// overlapping finds two entries that share bytes: so a small archive would
// expand without end.
func overlapping(taken []extent) (x, y string, overlap bool) {
	slices.SortFunc(taken, func(a, b extent) int { return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to)) })
	for i := 1; i < len(taken); i++ {
		if taken[i-1].to > taken[i].from {
			return taken[i-1].name, taken[i].name, true
		}
	}
	return "", "", false
}

// entry checks one entry of an archive of size bytes; not ok where it is passed
// over or refused.
func (a *archive) entry(z *zip.File, rel string, size int64) (e entry, at extent, ok bool) {
	shown := filepath.Join(a.c.Path, filepath.FromSlash(rel))
	switch mode := z.Mode(); {
	case strings.HasSuffix(z.Name, "/"), mode.IsDir(), hidden(rel):
		return
	case mode&fs.ModeSymlink != 0:
		a.c.pass(shown, LinkOut)
		return
	case !mode.IsRegular():
		a.c.pass(shown, NoFile)
		return
	case SideFile(path.Base(rel)):
		a.c.pass(shown, Side)
		return
	case z.Flags&(1<<0|1<<6|1<<13) != 0: // APPNOTE.TXT 4.4.4
		a.refuse(rel, imaging.ErrUnsupported, "it is encrypted; unpack the archive with its password and open the folder")
		return
	case z.Method != zip.Store && z.Method != zip.Deflate:
		a.refuse(rel, imaging.ErrUnsupported, fmt.Sprintf("it is packed by method %d, and stored and deflated entries are read; unpack the archive and open the folder", z.Method))
		return
	}
	from, err := z.DataOffset()
	packed, whole := z.CompressedSize64, z.UncompressedSize64
	switch {
	case err != nil:
		a.refuse(rel, imaging.ErrDamaged, fmt.Sprintf("it has no head (%v); copy the archive again", err))
		return
	case packed > uint64(size) || from > size-int64(packed):
		a.refuse(rel, imaging.ErrDamaged, "it ends beyond the archive; copy the archive again")
		return
	case z.Method == zip.Store && packed != whole:
		a.refuse(rel, imaging.ErrDamaged, fmt.Sprintf("it is stored in %d bytes and claims %d; copy the archive again", packed, whole))
		return
	case whole > maxSpace && z.Method == zip.Deflate:
		a.refuse(rel, imaging.ErrUnsupported, fmt.Sprintf("it claims %d bytes, and up to %d are inflated; unpack the archive and open the folder", whole, int64(maxSpace)))
		return
	}
	at = extent{name: rel, from: from, to: from + int64(packed)}
	section := io.NewSectionReader(a.f, from, int64(packed))
	e = entry{path: shown, rel: rel, size: int64(whole)}
	var src io.ReaderAt = section
	rest := func() {}
	if z.Method == zip.Deflate {
		in := &inflated{space: a.space, packed: section, size: int64(whole), sum: z.CRC32}
		src, rest = in, in.rest
	}
	e.film = func() (*dicomfile.File, error) {
		defer rest()
		return dicomfile.New(src, e.size, shown)
	}
	e.bytes = func() (io.ReaderAt, io.Closer, error) { return src, closer(rest), nil }
	return e, at, true
}

type closer func()

func (c closer) Close() error { c(); return nil }

// hidden says whether a file or a folder it is in begins with a dot.
func hidden(rel string) bool {
	return strings.HasPrefix(rel, ".") || strings.Contains(rel, "/.")
}

// budgeted reads, while limited, no more than what is left.
type budgeted struct {
	io.ReaderAt
	limited bool
	left    int64
}

var errBudget = errors.New("more was read than allowed")

func (b *budgeted) ReadAt(p []byte, off int64) (int, error) {
	n, err := b.ReaderAt.ReadAt(p, off)
	if b.limited {
		if b.left -= int64(n); b.left < 0 {
			return 0, errBudget
		}
	}
	return n, err
}
