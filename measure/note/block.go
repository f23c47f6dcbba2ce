package note

import (
	"fmt"
	"slices"
	"strings"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/operation"
	"leadline/measure/placement"
	"leadline/measure/response"
)

// A note is laid out in blocks before it takes on a format.
type blockKind int

const (
	paragraph blockKind = iota
	heading
	item
	grid
)

type block struct {
	kind blockKind
	text string
	rows [][]string // of a grid; the first names the columns
}

func items(lines []string) []block {
	var out []block
	for _, l := range lines {
		out = append(out, block{kind: item, text: l})
	}
	return out
}

// list gives a field that is a list or a table.
func (w *writer) list(name string) []block {
	switch name {
	case "positions":
		return w.positions()
	case "responses":
		return items(w.responses())
	case "thresholds":
		return items(w.thresholds())
	case "measurements":
		return items(measured(w.details()))
	case "cautions":
		return items(w.cautions())
	case "on-record":
		return items(w.onRecord())
	}
	return nil
}

// positions sets them beside each other by side and level.
func (w *writer) positions() []block {
	head := []string{"Position", "Side", "Level by film", "Approach", "Tip or contact"}
	tested := len(w.Report.Responses) > 0
	if tested {
		head = append(head, response.Headings()...)
	}
	rows := [][]string{head}
	for _, r := range w.comparison.Rows {
		row := []string{r.Name(), "not marked", "not marked", "not marked", "not marked"}
		if r.Marked {
			row = []string{r.Name(), sideState(r.Device), levelState(r.Device), w.angle(r.Device), w.depthCell(r)}
		}
		if tested {
			row = append(row, r.Cells()...)
		}
		rows = append(rows, row)
	}
	if len(rows) == 1 {
		return nil
	}
	return []block{{kind: grid, rows: rows}}
}

// sideState is the side in a word or two, with whether it is confirmed.
func sideState(d placement.Device) string {
	if d.SideConfirmed || d.Side == mark.NoSide {
		return SideWord(d.Side)
	}
	return SideWord(d.Side) + ", not confirmed"
}

func levelState(d placement.Device) string {
	if d.LevelConfirmed || d.Level == "" {
		return LevelWord(d)
	}
	return LevelWord(d) + ", not confirmed"
}

func (w *writer) angle(d placement.Device) string {
	r, _, ok := steadiest(resultsOf(w.Placement, d.Object))
	if !ok {
		return "not measured"
	}
	_, to, _ := strings.Cut(Name(r), " to ")
	return w.Measured(r).Figure() + " to " + to
}

func (w *writer) depthCell(r response.Row) string {
	if r.HasDepth {
		return w.Measured(r.Depth).Headline() + w.inScale(r.Depth)
	}
	if r.Test == nil && r.Device.Kind == mark.Lead {
		var depths []placement.Result
		for _, v := range resultsOf(w.Placement, r.Device.Object) {
			if v.Quantity == "contact-depth" {
				depths = append(depths, v)
			}
		}
		if depths != nil {
			return classes(depths)
		}
	}
	return "not measured"
}

// responses tells what was seen and felt at each position, with the settings.
func (w *writer) responses() []string {
	var out []string
	for _, r := range w.comparison.Rows {
		if r.Test == nil {
			continue
		}
		t := r.Test
		said := []string{"motor " + orNot(t.MotorWords()), "sensation " + orNot(t.SensationWords())}
		if t.Evoked.Known {
			said = append(said, "evoked muscle response "+response.Figure(t.Evoked.Value)+" µV")
		}
		said = append(said, "settings "+orNot(t.Settings()))
		if t.Note != "" {
			said = append(said, t.Note)
		}
		out = append(out, r.Name()+": "+strings.Join(said, "; "))
	}
	return out
}

func orNot(s string) string {
	if s == "" {
		return operation.NotRecorded
	}
	return s
}

// thresholds sets those beside each other that may be, both numbers told.
func (w *writer) thresholds() []string {
	var out []string
	for _, g := range w.comparison.Groups {
		var each []string
		for _, r := range g.Rows {
			said := r.Name()
			if r.Marked {
				said += fmt.Sprintf(" (%s; %s)", sideState(r.Device), levelState(r.Device))
			}
			said += " " + r.Test.Threshold(g.Kind).Told(g.Unit)
			if r.Test.State != "" {
				said += ", " + string(r.Test.State)
			}
			each = append(each, said)
		}
		out = append(out, fmt.Sprintf("%s, %s µs, %s: %s", g.Kind.Words(), response.Figure(g.PulseWidth), g.Device, strings.Join(each, "; ")))
	}
	return append(out, w.comparison.Apart...)
}

// measured are the rows of details, one line for each device.
func measured(rows []row) []string {
	var out []string
	for i, r := range rows {
		switch {
		case i > 0 && r.object == rows[i-1].object:
			out[len(out)-1] += "; " + r.text
		case r.object == "":
			out = append(out, r.text)
		default:
			out = append(out, r.object+", "+r.text)
		}
	}
	return out
}

// cautions are those of the placement, of responses and of radiation, then those
// of every note.
func (w *writer) cautions() []string {
	p := w.Placement
	p.Cautions = slices.Concat(p.Cautions, w.comparison.Cautions, w.contradicted())
	for _, n := range w.Radiation.Notes {
		p.Cautions = append(p.Cautions, "Radiation: "+n+".")
	}
	var out []string
	for _, c := range Cautions(p) {
		if c = plain(c, p); !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}

// contradicted says where the record of the operation and the films, or two of its
// fields, name different sides or levels. Which is right is not for a note to say.
func (w *writer) contradicted() []string {
	r := w.Report.Operation
	var out []string
	differ := func(field string, seen, what string) {
		if recorded := r[field]; recorded != "" && recorded != "both" && !strings.HasPrefix(recorded, "other: ") && seen != "" && seen != recorded {
			label, _ := operation.FieldNamed(field)
			out = append(out, fmt.Sprintf("%s recorded as %s, %s.", label.Label, r.Told(field), what))
		}
	}
	for _, d := range w.Devices {
		if d.Kind != mark.Lead {
			continue
		}
		differ("lead-side", string(d.Side), d.Object+" is "+SideWord(d.Side)+" on the films")
		differ("chosen-level", string(d.Level), d.Object+" is at "+LevelWord(d)+" on the films")
	}
	if lead := r["lead-side"]; lead != "both" {
		differ("chosen-side", lead, "lead side as "+r.Told("lead-side"))
	}
	return out
}

// onRecord says of what an audit looks for whether it is there.
func (w *writer) onRecord() []string {
	frontal, lateral := 0, 0
	for _, f := range w.Films {
		switch f.View {
		case imaging.Frontal:
			frontal++
		case imaging.Lateral:
			lateral++
		}
	}
	frames := "Stored frames in both views: "
	switch {
	case frontal > 0 && lateral > 0:
		frames += "frontal and lateral."
	case frontal > 0:
		frames += "frontal alone."
	case lateral > 0:
		frames += "lateral alone."
	default:
		frames += "no view is known."
	}
	var sides []string
	for _, d := range w.Devices {
		state := "confirmed"
		switch {
		case d.Side == mark.NoSide:
			state = "not stated"
		case !d.SideConfirmed:
			state = "not confirmed"
		}
		sides = append(sides, d.Object+" "+state)
	}
	return []string{
		frames, "Side: " + strings.Join(sides, ", ") + ".",
		"Implanted: " + state(w.Report.Operation, "implanted") + ".",
		"Programming: " + state(w.Report.Operation, "programming") + ".",
	}
}

func state(r operation.Record, field string) string {
	if r[field] == "" {
		return operation.NotRecorded
	}
	return "recorded"
}
