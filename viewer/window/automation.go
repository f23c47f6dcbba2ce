package window

import (
	"bytes"
	"encoding/json"
	"os"

	"github.com/google/renameio/v2"

	"leadline/viewer/board"
	"leadline/viewer/desk"
)

// automation writes what is shown to a file, for a program that drives the
// window with real events and must know where to click.
type automation struct{ last []byte }

type shown struct {
	Frames int         `json:"frames"` // drawn so far
	Panes  [2]shownTab `json:"panes"`
	Hits   []shownHit  `json:"hits"`
	// Cursors are the panes' crosshairs, SR points.
	Cursors [2][2]float64 `json:"cursors"`
	Focus   string        `json:"focus"`
	Device  string        `json:"device"`
	Draft   string        `json:"draft"`
	Points  int           `json:"points"` // of the draft
	Marks   int           `json:"marks"`
	// Selected is the name of the selected mark, Point the SR point of it in
	// hand, if one is.
	Selected string      `json:"selected"`
	Point    *[2]float64 `json:"point,omitempty"`
	Asking   string      `json:"asking"`
	Caution  bool        `json:"caution"`
	Case     string      `json:"case"`
	Choosing string      `json:"choosing"` // cases, images, or nothing
	Thumbs   int         `json:"thumbs"`   // small pictures shown
	Notice   string      `json:"notice"`
	Saved    string      `json:"saved"`
	Current  bool        `json:"current"` // the numbers are those of the marks
	// Held counts the buttons and keys that the window takes to be down.
	Held int `json:"held"`
}

type shownTab struct {
	Instance string     `json:"instance"`
	Frame    string     `json:"frame"`
	Ready    bool       `json:"ready"`   // its picture is shown
	Playing  bool       `json:"playing"` // its run is
	Turned   int        `json:"turned"`  // counts the frames of it that were shown
	Span     [2]int     `json:"span"`    // chosen of it
	Bar      [4]float64 `json:"bar"`     // the run bar: x, y, width, height
	Place    [4]float64 `json:"place"`   // x, y, width, height on the screen
	// ToScreen takes SR pixels to the screen: x' = a x + b y + c, y' = d x + e y + f.
	ToScreen [6]float64 `json:"toScreen"`
}

type shownHit struct {
	Key   string     `json:"key"`
	Place [4]float64 `json:"place"`
}

func (s *automation) write(a *app) {
	d := a.d
	out := shown{Frames: a.frames, Focus: d.Focus().String(), Device: d.Device(), Marks: len(d.Book().Marks),
		Caution: d.Caution(), Notice: d.Notice().Text}
	_, out.Saved = d.Saved()
	_, out.Current = d.Placement()
	out.Held = len(a.keys.down)
	for _, down := range a.pointer.pressed {
		if down {
			out.Held++
		}
	}
	if dr := d.Draft(); dr != nil {
		out.Draft, out.Points = string(dr.Mark.Structure), len(dr.Mark.Points)
	}
	if m, ok := d.Selected(); ok {
		out.Selected = desk.NameOf(m)
		if v := d.Selection().Vertex; v >= 0 && v < len(m.Points) {
			out.Point = &[2]float64{m.Points[v].X, m.Points[v].Y}
		}
	}
	if q := d.Question(); q != nil {
		out.Asking = q.Title
	}
	out.Case = d.Name()
	switch {
	case d.Cases() != nil:
		out.Choosing = "cases"
	case d.Chooser() != nil:
		out.Choosing = "images"
	}
	if a.over != nil {
		out.Thumbs = len(a.over.Thumbs)
	}
	for _, id := range panes {
		out.Cursors[id] = [2]float64{d.Pane(id).Cursor.X, d.Pane(id).Cursor.Y}
		r, v := a.places.Film[id], a.views[id]
		t := shownTab{Instance: d.Pane(id).Ref.Instance, Frame: d.Pane(id).Ref.Span(), Place: [4]float64{r.Min.X, r.Min.Y, r.W(), r.H()}}
		t.Ready = a.shown(id) != nil && a.films[id].ref == d.Pane(id).Ref
		if run, ok := d.Run(id); ok {
			if f := a.films[id]; f != nil {
				t.Turned = f.turned
			}
			t.Playing, t.Span = run.Playing, [2]int{run.First, run.Last}
			b := board.RunLine(d, a.places, id)
			t.Bar = [4]float64{b.Min.X, b.Min.Y, b.W(), b.H()}
		}
		t.ToScreen[0], t.ToScreen[1], t.ToScreen[2], t.ToScreen[3], t.ToScreen[4], t.ToScreen[5] = v.Affine()
		out.Panes[id] = t
	}
	add := func(hits []board.Hit) {
		for _, h := range hits {
			out.Hits = append(out.Hits, shownHit{h.Key, [4]float64{h.Place.Min.X, h.Place.Min.Y, h.Place.W(), h.Place.H()}})
		}
	}
	for _, p := range a.parts {
		add(p.Hits)
	}
	if a.over != nil {
		add(a.over.Hits)
	}
	doc, err := json.MarshalIndent(out, "", " ")
	if err != nil || bytes.Equal(doc, s.last) {
		return
	}
	s.last = doc
	// Best effort: what reads it waits for the next.
	_ = renameio.WriteFile(a.opt.Automation, doc, os.FileMode(0o600))
}
