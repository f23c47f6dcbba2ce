package board

import (
	"fmt"
	"path/filepath"

	"leadline/viewer/desk"
	"leadline/viewer/scene"
)

// cases lists what can be opened.
func cases(c *desk.Cases, at Places) *Part {
	u := at.Unit
	w := min(680*u, at.Whole.W()-40*u)
	h := (168 + 40*float64(max(len(c.Paths), 1))) * u
	part, p, r := overlay(at, w, h, true)
	x, y := r.Min.X+26*u, r.Min.Y+36*u
	p.text(x, y, "Open a case", 19, true, scene.White)
	if !c.Only {
		p.right(r.Max.X-26*u, y, "Esc closes this list", 12.5, false, scene.Grey)
	}
	y += 24 * u
	p.text(x, y, "Drop a folder, a zip archive or a file on this window, or choose one of the last:", 13, false, scene.Grey)
	y += 32 * u
	for i, path := range c.Paths {
		n := fmt.Sprint(i + 1)
		kw := p.key(x, y, n, scene.White)
		p.fit(x+kw+12*u, y-2*u, w-100*u, filepath.Base(path), 13.5, true, scene.White)
		p.fit(x+kw+12*u, y+13*u, w-100*u, filepath.Dir(path), 11.5, false, scene.Grey)
		part.Hits = append(part.Hits, Hit{scene.Box(x-8*u, y-18*u, w-36*u, 38*u), n})
		y += 40 * u
	}
	if len(c.Paths) == 0 {
		p.text(x, y, "No case has been opened yet.", 13.5, false, scene.White)
		y += 40 * u
	}
	y += 8 * u
	for _, line := range []struct{ key, words string }{{"P", "type a path"}, {"F", "forget all cases listed here, and how they were looked at; marks stay"}} {
		if line.key == "F" && len(c.Paths) == 0 {
			continue
		}
		kw := p.key(x, y, line.key, scene.White)
		p.fit(x+kw+12*u, y+4.5*u, w-100*u, line.words, 13, false, scene.White)
		part.Hits = append(part.Hits, Hit{scene.Box(x-8*u, y-14*u, w-36*u, 28*u), key(line.key)})
		y += 30 * u
	}
	part.Drawing = p.drawing()
	return part
}

// opening says that a case is being opened.
func opening(t desk.Target, at Places) *Part {
	u := at.Unit
	w := min(460*u, at.Whole.W()-40*u)
	part, p, r := overlay(at, w, 92*u, true)
	p.fit(r.Min.X+24*u, r.Min.Y+38*u, w-48*u, "Opening "+filepath.Base(t.Path)+" …", 16, true, scene.White)
	p.text(r.Min.X+24*u, r.Min.Y+64*u, "Esc gives it up", 12.5, false, scene.Grey)
	part.Hits = []Hit{{r, "Escape"}}
	part.Drawing = p.drawing()
	return part
}
