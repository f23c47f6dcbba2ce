package intake

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"leadline/imaging/dicomfile"
)

// consult reads the DICOMDIRs and gives where they put each film, from 1. What
// they name is looked up among the files that were found; nothing is opened by
// a name that a DICOMDIR gives. Where it does not fit the folder, a line is
// told.
func (c *Collection) consult(directories, entries []entry, films []found) map[*dicomfile.File]int {
	if len(directories) == 0 {
		return nil
	}
	there := map[string]bool{}
	for _, e := range entries {
		there[plainPath(e.rel)] = true
	}
	film := map[string]*dicomfile.File{}
	for _, f := range films {
		film[plainPath(f.rel)] = f.File
	}
	place := map[*dicomfile.File]int{}
	var searched []string // the folders of those that were read
	for _, d := range directories {
		refs, err := references(d)
		switch {
		case err == nil:
			searched = append(searched, path.Dir(d.rel))
		case len(refs) > 0:
			c.told("%v; it was read up to there", err)
		default:
			c.told("%v; the folder was searched without it", err)
		}
		var outside, missing, other tally
		for _, r := range refs {
			name, ok := r.within(path.Dir(d.rel))
			switch f := film[name]; {
			case !ok:
				outside.add(strings.Join(r.FileID, `\`))
			case !there[name]:
				missing.add(strings.Join(r.FileID, "/"))
			case f == nil:
			case r.SOPInstance != "" && r.SOPInstance != f.Header.SOPInstance:
				other.add(strings.Join(r.FileID, "/"))
			default:
				if place[f] == 0 {
					place[f] = len(place) + 1
				}
			}
		}
		if missing.count > 0 {
			c.told("%s names %s that %s not there%s: copy the rest from the disc if they belong to this case", d.path, missing.files(), missing.are(), missing.such())
		}
		if outside.count > 0 {
			c.told("%s names %s by what is no path within its folder%s: not looked for", d.path, outside.files(), outside.such())
		}
		if other.count > 0 {
			c.told("%s names %s that %s other images than it says%s: what is in the files counts", d.path, other.files(), other.are(), other.such())
		}
	}
	var unnamed tally
	for _, f := range films {
		below := slices.ContainsFunc(searched, func(dir string) bool { return dir == "." || strings.HasPrefix(f.rel, dir+"/") })
		if below && place[f.File] == 0 {
			unnamed.add(f.rel)
		}
	}
	if unnamed.count > 0 {
		c.told("%s beside a DICOMDIR %s not named by it%s: used all the same", unnamed.files(), unnamed.are(), unnamed.such())
	}
	return place
}

func (c *Collection) told(format string, args ...any) {
	c.Told = append(c.Told, fmt.Sprintf(format, args...))
}

func references(d entry) ([]reference, error) {
	r, closer, err := d.bytes()
	if err != nil {
		return nil, unreadable(d.path, err)
	}
	defer closer.Close()
	refs, err := dicomfile.ReadDirectory(r, d.size, d.path)
	out := make([]reference, len(refs))
	for i := range refs {
		out[i] = reference{refs[i]}
	}
	return out, err
}

type reference struct{ dicomfile.Reference }

// within is the plain path of the file, below the folder of the DICOMDIR; not
// ok where the File ID is no path of folders and a name. PS3.10 8.2 allows
// eight parts of eight capitals, digits and underscores; discs have longer ones
// and small letters, which reach nowhere either.
func (r reference) within(dir string) (string, bool) {
	for _, part := range r.FileID {
		if part == "" || part == "." || part == ".." || strings.ContainsAny(part, "/\\:\x00") {
			return "", false
		}
	}
	return plainPath(path.Join(append([]string{dir}, r.FileID...)...)), true
}

// plainPath is a path as compared: a disc may show names in small letters, with
// the version number of ISO 9660, or with a point at the end.
func plainPath(p string) string {
	p, _, _ = strings.Cut(strings.ToUpper(p), ";")
	return strings.TrimSuffix(p, ".")
}

// tally counts names and keeps the first.
type tally struct {
	count int
	first string
}

func (t *tally) add(name string) {
	if t.count++; t.count == 1 {
		t.first = name
	}
}

func (t tally) files() string {
	if t.count == 1 {
		return "1 file"
	}
	return fmt.Sprintf("%d files", t.count)
}

func (t tally) are() string {
	if t.count == 1 {
		return "is"
	}
	return "are"
}

func (t tally) such() string {
	if t.count == 1 {
		return " (" + t.first + ")"
	}
	return " (such as " + t.first + ")"
}
