package desk

import (
	"context"
	"fmt"
	"image"
	"strconv"
	"strings"
	"sync"

	"leadline/imaging"
	"leadline/imaging/grayscale"
	"leadline/measure/mark"
)

// ChooserColumns of the chooser's pictures.
const ChooserColumns = 4

// ThumbSide is the longer side of a small picture, in pixels.
const ThumbSide = 192

// Choosable is a frame in the chooser.
type Choosable struct {
	Ref   mark.FrameRef
	Title string // file and frame
	Line  string // view, time
	Marks int
	Pane  PaneID // that would show it
	Shown bool   // in a pane now
}

// Chooser is the choice of frames while it is on show.
type Chooser struct {
	List []Choosable
	At   int
}

// Chooser on show, or nil.
func (d *Desk) Chooser() *Chooser { return d.chooser }

// ShowChooser shows small pictures of the case's frames to choose from.
func (d *Desk) ShowChooser() {
	c := &Chooser{}
	var refs []mark.FrameRef
	for _, f := range d.choices() {
		h := d.header(f.ref.Instance)
		if h == nil {
			continue
		}
		r := d.Reading(f.ref)
		view := string(r.View)
		if r.View == imaging.NoView {
			view = "view not known"
		}
		pane := d.focus
		if r.View == imaging.Frontal || r.View == imaging.Lateral {
			if pane = FrontalPane; r.View == imaging.Lateral {
				pane = LateralPane
			}
		}
		title := baseName(h.File)
		switch {
		case f.ref.Last > f.ref.First:
			title += ", mean of " + f.ref.Span()
		case h.Frames > 1 && f.marks > 0:
			title += ", frame " + f.ref.Span()
		case h.Frames > 1:
			title += fmt.Sprintf(", run of %d", h.Frames)
		}
		shown := f.ref == d.panes[0].Ref || f.ref == d.panes[1].Ref
		if shown && f.ref == d.panes[d.focus].Ref {
			c.At = len(c.List)
		}
		c.List = append(c.List, Choosable{Ref: f.ref, Title: title, Line: strings.TrimSuffix(view+", "+clockWords(h.AcquisitionTime), ", "),
			Marks: f.marks, Pane: pane, Shown: shown})
		refs = append(refs, f.ref)
	}
	if len(c.List) == 0 {
		return
	}
	d.chooser = c
	d.thumbs.make(d.cfg, refs)
}

// clockWords sets colons into a DICOM time (PS3.5 table 6.2-1, TM).
func clockWords(t string) string {
	t, _, _ = strings.Cut(strings.ReplaceAll(t, ":", ""), ".")
	switch len(t) {
	case 6:
		return t[:2] + ":" + t[2:4] + ":" + t[4:]
	case 4:
		return t[:2] + ":" + t[2:]
	}
	return ""
}

// pressChooser takes keys while the chooser is on show.
func (d *Desk) pressChooser(key string) {
	c := d.chooser
	n := len(c.List)
	if i, ok := strings.CutPrefix(key, "#"); ok {
		if k, err := strconv.Atoi(i); err == nil && k >= 0 && k < n {
			c.At = k
			key = "Enter"
		}
	}
	switch key {
	case "Left":
		c.At = max(c.At-1, 0)
	case "Right":
		c.At = min(c.At+1, n-1)
	case "Up":
		if c.At >= ChooserColumns {
			c.At -= ChooserColumns
		}
	case "Down":
		if c.At+ChooserColumns < n {
			c.At += ChooserColumns
		}
	case "Home":
		c.At = 0
	case "End":
		c.At = n - 1
	case "Enter", "Space":
		d.chooser = nil
		f := c.List[c.At]
		d.focus = f.Pane
		d.put(f.Pane, f.Ref)
	case "Escape", "Shift+Tab":
		d.chooser = nil
	case "Ctrl+q":
		d.Quit()
	}
}

// Thumb gives the small picture of a frame; nil while it is not made.
func (d *Desk) Thumb(ref mark.FrameRef) *image.RGBA { return d.thumbs.of(ref) }

// thumbs are small pictures, made aside, one after the other.
type thumbs struct {
	sync.Mutex
	made   map[mark.FrameRef]*image.RGBA
	cancel context.CancelFunc
	ended  sync.WaitGroup
}

func (t *thumbs) of(ref mark.FrameRef) *image.RGBA {
	t.Lock()
	defer t.Unlock()
	return t.made[ref]
}

// make makes those of the frames that are not made yet.
func (t *thumbs) make(cfg Config, refs []mark.FrameRef) {
	t.stop()
	if cfg.Frame == nil {
		return
	}
	ctx, cancel := context.WithCancel(context.Background())
	t.cancel = cancel
	t.ended.Add(1)
	go func() {
		defer t.ended.Done()
		for _, ref := range refs {
			if t.of(ref) != nil {
				continue
			}
			pic := blank()
			f, err := cfg.Frame(ctx, ref, func(int) {})
			if ctx.Err() != nil {
				return
			}
			if err == nil {
				if small, err := thumbnail(f); err == nil {
					pic = small
				}
			}
			t.Lock()
			if t.made == nil {
				t.made = map[mark.FrameRef]*image.RGBA{}
			}
			t.made[ref] = pic
			t.Unlock()
			cfg.Wake()
		}
	}()
}

// stop ends the making.
func (t *thumbs) stop() {
	if t.cancel != nil {
		t.cancel()
		t.cancel = nil
	}
	t.ended.Wait()
}

// blank stands for a frame that cannot be read: the panes say why.
func blank() *image.RGBA { return image.NewRGBA(image.Rect(0, 0, 1, 1)) }

// thumbnail is a frame as it is shown at first, each pixel the mean of those it
// stands for.
func thumbnail(f *imaging.Frame) (*image.RGBA, error) {
	gray, err := grayscale.New(f.Header.Of(f.First))
	if err != nil {
		return nil, err
	}
	var table []uint8
	if f.RGB == nil {
		table = gray.Table(grayscale.First(f, gray))
	}
	shrink := max(float64(max(f.Columns, f.Rows))/ThumbSide, 1)
	w, h := max(int(float64(f.Columns)/shrink), 1), max(int(float64(f.Rows)/shrink), 1)
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		y0, y1 := y*f.Rows/h, max((y+1)*f.Rows/h, y*f.Rows/h+1)
		for x := range w {
			x0, x1 := x*f.Columns/w, max((x+1)*f.Columns/w, x*f.Columns/w+1)
			var sum [3]int
			for j := y0; j < y1; j++ {
				for i := x0; i < x1; i++ {
					at := j*f.Columns + i
					for k := range 3 {
						if f.RGB != nil {
							sum[k] += int(f.RGB[3*at+k])
						} else {
							sum[k] += int(table[f.Samples[at]])
						}
					}
				}
			}
			n := (y1 - y0) * (x1 - x0)
			p := out.Pix[out.PixOffset(x, y):]
			p[0], p[1], p[2], p[3] = uint8(sum[0]/n), uint8(sum[1]/n), uint8(sum[2]/n), 0xFF
		}
	}
	return out, nil
}
