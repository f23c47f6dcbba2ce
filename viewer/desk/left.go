package desk

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"os"
	"path/filepath"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
)

// leftFolder holds, for each case, how it was last looked at. Files and images
// go by digests, so that nothing in it names a patient or an image.
const leftFolder = "left"

// left is how a case was left.
type left struct {
	Panes [2]leftPane          `json:"panes"`
	Focus PaneID               `json:"focus"`
	Runs  map[string]leftStrip `json:"runs,omitempty"`
}

type leftPane struct {
	Image  string         `json:"image"` // digest of the SOP Instance UID
	First  int            `json:"first"`
	Last   int            `json:"last"`
	Window imaging.Window `json:"window"`
	VOI    int            `json:"voi"`
	Zoom   float64        `json:"zoom"`
	Centre [2]float64     `json:"centre"`
}

type leftStrip struct {
	At, First, Last, Pace int
}

// digest stands for a name that is not written down.
func digest(s string) string {
	sum := sha256.Sum256([]byte(s))
	return hex.EncodeToString(sum[:12])
}

// leftFile of a case, by its path and study.
func leftFile(path, study string) string {
	if abs, err := filepath.Abs(path); err == nil {
		path = abs
	}
	return filepath.Join(leftFolder, digest(path+"\x00"+study)+".json")
}

// left is how the desk is now.
func (d *Desk) left() left {
	l := left{Focus: d.focus, Runs: map[string]leftStrip{}}
	for i, p := range d.panes {
		if p.Ref.Instance == "" {
			continue
		}
		l.Panes[i] = leftPane{Image: digest(p.Ref.Instance), First: p.Ref.First, Last: p.Ref.Last,
			Window: p.Window, VOI: p.VOI, Zoom: p.Zoom, Centre: [2]float64{p.Centre.X, p.Centre.Y}}
	}
	for instance, s := range d.strips {
		if h := d.header(instance); h != nil && h.Frames > 1 {
			l.Runs[digest(instance)] = leftStrip{s.at, s.first, s.last, s.pace}
		}
	}
	return l
}

// resume lays the desk out as it was left, as far as that still holds: an image
// that is gone, or whose view is now another, is not put back.
func (d *Desk) resume(l left) {
	changed := false
	for _, h := range d.cfg.Headers {
		s, ok := l.Runs[digest(h.SOPInstance)]
		if ok && h.Frames > 1 && s.At >= 1 && s.At <= h.Frames && s.First >= 0 && s.First <= h.Frames &&
			s.Last >= 0 && s.Last <= h.Frames && (s.Last == 0 || s.Last >= s.First) && s.Pace >= 0 && s.Pace < len(paces) {
			d.strips[h.SOPInstance] = &strip{at: s.At, first: s.First, last: s.Last, pace: s.Pace}
		}
	}
	for i := range l.Panes {
		p, was := PaneID(i), l.Panes[i]
		for _, h := range d.cfg.Headers {
			if was.Image != digest(h.SOPInstance) || was.First < 1 || was.Last < was.First || was.Last > max(h.Frames, 1) {
				continue
			}
			ref := mark.FrameRef{Instance: h.SOPInstance, First: was.First, Last: was.Last}
			if v := d.Reading(ref).View; v == p.Other().View() {
				continue
			}
			d.show(p, ref)
			pane := &d.panes[p]
			if was.Window.Width >= 1 {
				pane.Window, pane.VOI = was.Window, was.VOI
			}
			if was.Zoom > 0 {
				d.SetLook(p, was.Zoom, r2.Vec{X: was.Centre[0], Y: was.Centre[1]})
			}
			changed = true
		}
	}
	if f := l.Focus; (f == FrontalPane || f == LateralPane) && d.panes[f].Ref.Instance != "" {
		d.focus = f
	}
	if changed {
		d.measuring.take(d.measuring.revision, d.cfg.Measure(d.films(), d.now.book))
	}
}

// readLeft gives how a case was left, if that is known.
func readLeft(path, study string) (l left, ok bool) {
	dir, err := stateDir()
	if err != nil {
		return l, false
	}
	data, err := os.ReadFile(filepath.Join(dir, leftFile(path, study)))
	if err != nil || json.Unmarshal(data, &l) != nil {
		return left{}, false
	}
	return l, true
}
