package main

import (
	"fmt"
	"image"
	"os"
	"path/filepath"

	"leadline/imaging"
	"leadline/imaging/grayscale"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/sidecar"
	"leadline/viewer/paint"
	"leadline/viewer/scene"
)

// pictureWidth in pixels: fits a slide and prints well on half a page.
const pictureWidth = 1400

// pictures draws every marked frame into the folder. Where a picture of a name it
// would write is there, it writes none, unless force is set.
func (r *reader) pictures(report sidecar.Report, dir string, force bool, show func(done, total int)) (written []string, err error) {
	var films []placement.FilmReading
	for _, f := range report.Placement.Films {
		if len(marksOn(f, report.Book)) > 0 {
			films = append(films, f)
		}
	}
	if len(films) == 0 {
		return nil, badInput("%s has marked no frame of %s: mark one with 'leadline open' or 'leadline mark'", r.observer, r.kase.Path)
	}
	for i, f := range films {
		if _, err := os.Lstat(pictureName(dir, i, f)); err == nil && !force {
			return nil, badInput("%s is there already, and may be of another case: name another folder, or add --force", pictureName(dir, i, f))
		}
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	for i, f := range films {
		show(i, len(films))
		gray, err := r.shown(f)
		if err != nil {
			return written, err
		}
		s := scene.Film(f, marksOn(f, report.Book), report.Placement, scene.Options{Vertex: -1, Responses: report.Responses})
		name := pictureName(dir, i, f)
		page := paint.Annotated(gray, s, pictureWidth)
		if err := uninterrupted(func() error { return paint.WritePNG(name, page) }); err != nil {
			return written, err
		}
		written = append(written, name)
	}
	show(len(films), len(films))
	return written, nil
}

// pictureName of the i-th film: it names the view alone.
func pictureName(dir string, i int, f placement.FilmReading) string {
	return filepath.Join(dir, fmt.Sprintf("%02d-%s.png", i+1, orWords(string(f.View), "film")))
}

func marksOn(f placement.FilmReading, b mark.Book) []mark.Mark {
	var on []mark.Mark
	for _, m := range b.Marks {
		if m.Frame == f.Film.Ref {
			on = append(on, m)
		}
	}
	return on
}

// shown is the frame as it is shown at first on the screen too; where the header
// has a VOI table and no window, by that table.
func (r *reader) shown(f placement.FilmReading) (*image.Gray, error) {
	file := r.kase.File(f.Film.Ref.Instance)
	frame, err := file.Frame(f.Film.Ref.First, f.Film.Ref.Last)
	if err != nil {
		return nil, err
	}
	gray, err := grayscale.New(file.Header.Of(f.Film.Ref.First))
	if err != nil {
		return nil, err
	}
	if noWindow(file.Header.Of(f.Film.Ref.First)) {
		return grayscale.Render(frame, gray.VOITable(0)), nil
	}
	return grayscale.Render(frame, gray.Table(grayscale.First(frame, gray))), nil
}

// windowOf is the window that shown uses; of no width where it uses a table.
func (r *reader) windowOf(f placement.FilmReading) (imaging.Window, error) {
	file := r.kase.File(f.Film.Ref.Instance)
	if noWindow(file.Header.Of(f.Film.Ref.First)) {
		return imaging.Window{}, nil
	}
	frame, err := file.Frame(f.Film.Ref.First, f.Film.Ref.Last)
	if err != nil {
		return imaging.Window{}, err
	}
	gray, err := grayscale.New(file.Header.Of(f.Film.Ref.First))
	if err != nil {
		return imaging.Window{}, err
	}
	return grayscale.First(frame, gray), nil
}

// noWindow reports whether a frame is to be shown by a VOI table.
func noWindow(h *imaging.Header) bool { return len(h.Windows) == 0 && len(h.VOILUTs) > 0 }
