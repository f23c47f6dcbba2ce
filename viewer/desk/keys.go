package desk

import (
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

// Keys are named by the letter they print (capital with Shift), or Enter,
// Escape, Delete, Insert, Backspace, Space, Tab, Up, Down, Left, Right, Home,
// End, PageUp, PageDown, with Ctrl+ and Shift+ before them where held.

// Binding is a line of the list of keys.
type Binding struct{ Keys, Text string }

// Bindings lists every key in groups.
func Bindings() []struct {
	Title string
	Lines []Binding
} {
	type group = struct {
		Title string
		Lines []Binding
	}
	var structures []Binding
	for _, k := range kinds {
		structures = append(structures, Binding{strings.ToUpper(k.Key), k.Name})
	}
	return []group{
		{"Mark", structures},
		{"While marking", []Binding{
			{"click, Space", "set a point"}, {"arrows", "move the crosshair 10 px, Shift 1 px"},
			{"Enter", "end the structure"}, {"Escape", "cancel it"},
			{"Q", "suggest the needle whose tip is near the pointer"},
		}},
		{"Change", []Binding{
			{"click, drag", "select and move"}, {"arrows", "move 1 px, Shift 0.1 px"},
			{", and .", "previous and next point"}, {"Home, End", "previous and next mark"},
			{"Ctrl+click, Insert", "add a point to the line"}, {"Delete", "remove point, Shift: the mark"},
			{"O", "device of the mark"}, {"Y", "level, side, length of the mark"}, {"Shift+R", "response at the position or contact"},
			{"Ctrl+Z", "undo"}, {"Ctrl+Shift+Z", "redo"},
		}},
		{"State, with its basis", []Binding{
			{"S", "side of the device"}, {"T", "level of the device"}, {"Shift+S", "patient's left on the film"},
			{"V", "view of the film"}, {"H", "cranial edge of the film"},
		}},
		{"Runs of frames", []Binding{
			{"/ or Space", "play, stop"}, {"< and >", "previous and next frame"}, {"( and )", "slower and faster"},
			{"Ctrl+Home, Ctrl+End", "first and last frame"}, {"Shift+Home, Shift+End", "begin and end a span here"},
			{"Shift+M", "mean of the span, and back"}, {"click, drag on the bar", "go to a frame; Shift+drag chooses a span"},
		}},
		{"Look", []Binding{
			{"Tab", "other film"}, {"A", "next device, Shift: previous"},
			{"PageUp, PageDown", "previous and next image"}, {"Shift+Tab", "all images, small"},
			{"right-drag, [ ] { }", "window width and centre"}, {"\\", "next window of the film"},
			{"wheel, + and -", "zoom about the cursor"}, {"middle-drag, Ctrl+arrows", "pan; so does Space and drag"},
			{"0", "whole film"}, {"Shift+O", "graphics that came with the frame"}, {"Z", "loupe"}, {"R", "all numbers, cautions, readings"}, {"?", "this list"}, {"Ctrl+C", "note of the case to the clipboard"}, {"Ctrl+O", "open another case"}, {"Ctrl+Q", "close"},
		}},
	}
}

// Press takes a key that the desk alone can answer, and reports whether it
// did; keys of zoom, window and loupe are the window's.
func (d *Desk) Press(key string) bool {
	switch {
	case d.caution:
		if key == "Enter" || key == "Space" {
			d.AcknowledgeCaution()
		} else if key == "Ctrl+q" {
			d.Quit()
		}
		return true
	case d.opening != nil:
		if key == "Escape" {
			d.opening, d.wanted = nil, nil
			d.say("Not opened.")
		}
		return true
	case d.question != nil:
		d.Answer(key)
		return true
	case d.cases != nil:
		d.pressCases(key)
		return true
	case d.chooser != nil:
		d.pressChooser(key)
		return true
	case d.help:
		d.help = false
		return true
	case d.full:
		d.turnPage(key)
		return true
	}
	if d.pressMove(key) || d.pressRun(key) {
		return true
	}
	switch key {
	case "?":
		d.help = true
	case "r":
		d.full, d.page = true, 0
	case "Ctrl+z":
		d.Undo()
	case "Ctrl+Z", "Ctrl+Shift+z", "Ctrl+y":
		d.Redo()
	case "Ctrl+q":
		d.Quit()
	case "Enter":
		if !d.acceptSuggestion() {
			d.Finish()
		}
	case "q":
		d.Suggest()
	case "Escape":
		d.escape()
	case "Delete", "Backspace":
		d.Delete()
	case "Shift+Delete":
		d.DeleteMark()
	case "Insert":
		d.InsertNext()
	case ",":
		d.StepVertex(-1)
	case ".":
		d.StepVertex(1)
	case "Home":
		d.StepMark(-1)
	case "End":
		d.StepMark(1)
	case "Tab":
		d.otherFilm()
	case "Shift+Tab":
		d.ShowChooser()
	case "Ctrl+o":
		d.ShowCases()
	case "PageUp":
		d.StepImage(d.focus, -1)
	case "PageDown":
		d.StepImage(d.focus, 1)
	case "a":
		d.StepDevice(1)
	case "A":
		d.StepDevice(-1)
	case "o":
		d.AskObject()
	case "y":
		d.AskDetail()
	case "Ctrl+c":
		d.CopyNote()
	case "R":
		d.AskResponse()
	case "s":
		d.AskSide()
	case "S":
		d.AskPatientLeft()
	case "t":
		d.AskLevel()
	case "v":
		d.AskView()
	case "h":
		d.AskCranial()
	case "O":
		if d.bare = !d.bare; d.bare {
			d.say("Graphics that came with the frames are hidden.")
		} else {
			d.say("Graphics that came with the frames are shown.")
		}
	case "0":
		d.Fit(d.focus)
	default:
		for _, k := range kinds {
			if k.Key == key {
				d.Begin(k.Structure)
				return true
			}
		}
		return false
	}
	return true
}

// turnPage of the list of all that is known; other keys close it.
func (d *Desk) turnPage(key string) {
	switch key {
	case "PageDown", "Down", "Right", "Space":
		d.page++
	case "PageUp", "Up", "Left":
		d.page = max(d.page-1, 0)
	default:
		d.full = false
	}
}

// escape lets go of the least thing first.
func (d *Desk) escape() {
	switch {
	case d.drag != nil:
		d.PutBack()
	case d.dropSuggestion():
		d.say("Suggestion refused.")
	case d.giveUp(d.focus) || d.giveUp(d.focus.Other()):
	case d.now.draft != nil:
		d.Cancel()
	case d.now.selection.Mark == "" && d.clearSpan(d.focus):
	default:
		d.now.selection = Selection{Vertex: whole}
		d.notice = Notice{}
	}
}

// pressMove takes arrows, and Space while marking.
func (d *Desk) pressMove(key string) bool {
	step := 1.0
	name, small := strings.CutPrefix(key, "Shift+")
	edge, ok := arrowEdges[name]
	if !ok {
		if key == "Space" && d.now.draft != nil {
			d.AddPoint(d.focus, d.panes[d.focus].Cursor)
			return true
		}
		return false
	}
	x, y := edge.Direction()
	if d.now.draft != nil {
		if step = 10; small {
			step = 1
		}
		d.moveCursor(x*step, y*step)
		return true
	}
	if small {
		step = 0.1
	}
	d.Nudge(x*step, y*step)
	return true
}

func (d *Desk) moveCursor(right, down float64) {
	p := &d.panes[d.focus]
	h := d.header(p.Ref.Instance)
	if h == nil {
		return
	}
	c := r2.Add(p.Cursor, d.onImage(p.Ref, right, down))
	p.Cursor = r2.Vec{X: min(max(c.X, 0), float64(h.Columns)), Y: min(max(c.Y, 0), float64(h.Rows))}
}

// otherFilm moves the focus, and with it a draft that has no points yet and is
// marked there as well.
func (d *Desk) otherFilm() {
	to := d.focus.Other()
	if dr := d.now.draft; dr != nil && len(dr.Mark.Points) == 0 && dr.Pane != to && dr.Kind.Shows(d.Reading(d.panes[to].Ref).View) {
		if _, found := d.twin(bound(d, dr.Mark, to)); !found {
			d.aim(to)
		}
	}
	d.focus = to
}

// SetCursor puts the crosshair of a pane at an SR point.
func (d *Desk) SetCursor(p PaneID, at r2.Vec) { d.panes[p].Cursor = at }

// AcknowledgeCaution keeps that the caution has been read.
func (d *Desk) AcknowledgeCaution() {
	d.caution = false
	if d.cfg.Acknowledge != nil {
		if err := d.cfg.Acknowledge(); err != nil {
			d.say("The caution will be shown again next time: %v", err)
		}
	}
}

// NextWindow steps through the windows a frame can be shown with: those of its
// header, then one from its histogram.
func (d *Desk) NextWindow(p PaneID, windows []imaging.Window) {
	if len(windows) == 0 {
		return
	}
	at := -1
	for i, w := range windows {
		if w == d.panes[p].Window {
			at = i
		}
	}
	w := windows[(at+1)%len(windows)]
	d.SetWindow(p, w)
	name := w.Explanation
	if name == "" {
		name = "window"
	}
	d.say("%s: centre %.5g, width %.5g.", name, w.Center, w.Width)
}
