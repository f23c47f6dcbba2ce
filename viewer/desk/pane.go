package desk

import (
	"sort"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
)

// PaneID names one of the two panes.
type PaneID int

// The panes.
const (
	FrontalPane PaneID = iota
	LateralPane
)

// View that the pane is for.
func (p PaneID) View() imaging.View {
	if p == LateralPane {
		return imaging.Lateral
	}
	return imaging.Frontal
}

// Other pane.
func (p PaneID) Other() PaneID { return 1 - p }

func (p PaneID) String() string { return string(p.View()) }

// Pane shows one frame.
type Pane struct {
	Ref mark.FrameRef // zero: nothing
	// Window the frame is shown with; zero width: the one it came with.
	Window imaging.Window
	// VOI is the index of the header's VOI LUT in use, -1 none.
	VOI int
	// Zoom 1 shows the whole frame; Centre is the SR point in the pane's middle.
	Zoom   float64
	Centre r2.Vec
	// Cursor is where a point is set by key, an SR point.
	Cursor r2.Vec
}

// Pane gives what a pane shows.
func (d *Desk) Pane(p PaneID) Pane { return d.panes[p] }

// Focus is the pane that keys speak to.
func (d *Desk) Focus() PaneID { return d.focus }

// SetFocus moves it.
func (d *Desk) SetFocus(p PaneID) { d.focus = p }

// layFilms puts films into panes that are empty or show the other view: the
// marked ones first, then the latest.
func (d *Desk) layFilms() {
	for _, p := range []PaneID{FrontalPane, LateralPane} {
		ref := d.panes[p].Ref
		if ref.Instance == "" {
			continue
		}
		if v := d.Reading(ref).View; v == p.Other().View() {
			d.panes[p] = Pane{}
			d.show(p.Other(), ref)
		}
	}
	for _, p := range []PaneID{FrontalPane, LateralPane} {
		if d.panes[p].Ref.Instance != "" {
			continue
		}
		if ref, ok := d.bestFilm(p.View()); ok {
			d.show(p, ref)
		}
	}
	// What has no known view goes where there is room.
	for _, p := range []PaneID{FrontalPane, LateralPane} {
		if d.panes[p].Ref.Instance != "" {
			continue
		}
		for _, v := range []imaging.View{imaging.NoView, imaging.Oblique} {
			if ref, ok := d.bestFilm(v); ok && ref != d.panes[p.Other()].Ref {
				d.show(p, ref)
				break
			}
		}
	}
	if d.panes[d.focus].Ref.Instance == "" {
		d.focus = d.focus.Other()
	}
}

func (d *Desk) bestFilm(v imaging.View) (mark.FrameRef, bool) {
	films := append([]filmChoice(nil), d.choices()...)
	sort.SliceStable(films, func(i, j int) bool {
		if films[i].marks != films[j].marks {
			return films[i].marks > films[j].marks
		}
		return films[i].time > films[j].time
	})
	for _, f := range films {
		if d.Reading(f.ref).View == v && f.ref != d.panes[0].Ref && f.ref != d.panes[1].Ref {
			return f.ref, true
		}
	}
	return mark.FrameRef{}, false
}

type filmChoice struct {
	ref   mark.FrameRef
	marks int
	time  string
}

// choices are the frames one steps through: the placement's films, and the
// first frame of every instance that has none among them.
func (d *Desk) choices() []filmChoice {
	var out []filmChoice
	seen := map[string]bool{}
	for _, f := range d.measuring.placement.Films {
		seen[f.Film.Ref.Instance] = true
		out = append(out, filmChoice{f.Film.Ref, len(d.Marks(f.Film.Ref)), f.Film.Time})
	}
	for _, h := range d.cfg.Headers {
		if !seen[h.SOPInstance] {
			out = append(out, filmChoice{mark.One(h.SOPInstance, 1), 0, h.AcquisitionDate + h.AcquisitionTime})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].time < out[j].time })
	return out
}

// show puts a frame into a pane, whole.
func (d *Desk) show(p PaneID, ref mark.FrameRef) {
	pane := Pane{Ref: ref, VOI: -1, Zoom: 1}
	if h := d.header(ref.Instance); h != nil {
		pane.Centre = r2.Vec{X: float64(h.Columns) / 2, Y: float64(h.Rows) / 2}
		if old := d.panes[p]; old.Ref.Instance == ref.Instance {
			pane = old
			pane.Ref = ref
		} else {
			pane.Cursor = pane.Centre
		}
	}
	d.panes[p] = pane
	if ref.Instance != "" && ref.Last <= ref.First {
		d.strip(ref.Instance).at = max(ref.First, 1)
	}
	d.askFrames()
}

// StepImage shows the next (1) or previous (-1) image of the case in the pane.
func (d *Desk) StepImage(p PaneID, step int) {
	list := d.choices()
	if len(list) == 0 {
		return
	}
	at := 0
	for i, f := range list {
		if f.ref == d.panes[p].Ref {
			at = i
		}
	}
	d.put(p, list[(at+step+len(list))%len(list)].ref)
}

// put shows a frame of the case in the pane.
func (d *Desk) put(p PaneID, ref mark.FrameRef) {
	d.players[p].on = false
	d.leave(p)
	d.show(p, ref)
	d.measure()
	f, _ := d.filmOf(ref)
	d.say("%s, frame %s.", f.File, ref.Span())
}

// SetWindow shows the pane's frame with a window.
func (d *Desk) SetWindow(p PaneID, w imaging.Window) {
	w.Width = max(w.Width, 1)
	d.panes[p].Window, d.panes[p].VOI = w, -1
}

// SetLook zooms and pans: zoom 1 shows the whole frame, up to 40 times.
func (d *Desk) SetLook(p PaneID, zoom float64, centre r2.Vec) {
	if h := d.header(d.panes[p].Ref.Instance); h != nil {
		centre.X = min(max(centre.X, 0), float64(h.Columns))
		centre.Y = min(max(centre.Y, 0), float64(h.Rows))
	}
	d.panes[p].Zoom = min(max(zoom, 0.25), 40)
	d.panes[p].Centre = centre
}

// Fit shows the whole frame again.
func (d *Desk) Fit(p PaneID) {
	if h := d.header(d.panes[p].Ref.Instance); h != nil {
		d.panes[p].Zoom = 1
		d.panes[p].Centre = r2.Vec{X: float64(h.Columns) / 2, Y: float64(h.Rows) / 2}
	}
}
