package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"leadline/imaging"
	"leadline/imaging/radiation"
	"leadline/measure/note"
	"leadline/measure/placement"
	"leadline/measure/response"
	"leadline/measure/sidecar"
	"leadline/measure/table"
)

// caseColumns of the table of cases. Programs read them by name: columns may be
// added, but none is renamed and none changes its meaning.
var caseColumns = []string{
	"case", "observer", "object", "device", "side", "side-source", "side-confirmed", "level", "level-source", "level-confirmed",
	"quantity", "of", "contact", "plane", "value", "unit", "u95", "lo", "hi", "magnified", "class", "scale", "budget",
	"pulse-width-us", "rate-hz", "polarity", "state", "motor", "sensation", "root", "source", "notes",
}

// caseRow is one figure of one case: cells by column, and how a person reads it.
type caseRow struct {
	cell         map[string]string
	name, figure string
}

// writeRows writes the table for programs.
func writeRows(w io.Writer, rows []caseRow) error {
	out := make([][]string, len(rows))
	for i, r := range rows {
		out[i] = make([]string, len(caseColumns))
		for j, c := range caseColumns {
			out[i][j] = r.cell[c]
		}
	}
	return table.Write(w, caseColumns, out)
}

// rows of a report: its results, its responses, and what is known of dose.
func (r *reader) rows(name string, report sidecar.Report) []caseRow {
	p := report.Placement
	row := func(object string) caseRow {
		c := caseRow{cell: map[string]string{"case": name, "observer": r.observer, "object": object}}
		for _, d := range p.Devices {
			if d.Object == object {
				c.cell["device"] = string(d.Kind)
				c.place(string(d.Side), d.SideSource, d.SideConfirmed, string(d.Level), d.LevelSource, d.LevelConfirmed)
			}
		}
		return c
	}
	var out []caseRow
	for _, v := range p.Results {
		c := row(v.Object)
		c.place(string(v.Side), v.SideSource, v.SideConfirmed, string(v.Level), v.LevelSource, v.LevelConfirmed)
		c.measured(p, v)
		out = append(out, c)
	}
	for _, t := range response.Sorted(report.Responses) {
		for _, k := range response.Kinds() {
			if t.Threshold(k).Amplitude.Known {
				c := row(t.Object)
				c.response(t, k)
				out = append(out, c)
			}
		}
	}
	for _, f := range radiation.OfCase(r.kase, report.Operation.Radiation()).Figures {
		c := row("")
		c.cell["quantity"], c.cell["value"], c.cell["unit"] = string(f.Kind), decimal(f.Value), f.Unit
		c.cell["of"], c.cell["source"] = f.Of, f.Source
		c.name, c.figure = f.Kind.Words(), f.Told()
		out = append(out, c)
	}
	return out
}

// place says side and level with what they rest on.
func (c caseRow) place(side, sideSource string, sideConfirmed bool, level, levelSource string, levelConfirmed bool) {
	c.cell["side"], c.cell["side-source"], c.cell["side-confirmed"] = side, sideSource, ""
	c.cell["level"], c.cell["level-source"], c.cell["level-confirmed"] = level, levelSource, ""
	if side != "" {
		c.cell["side-confirmed"] = yesNo(sideConfirmed)
	}
	if level != "" {
		c.cell["level-confirmed"] = yesNo(levelConfirmed)
	}
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// decimal writes v with the digits that give it back exactly.
func decimal(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func (c *caseRow) measured(p placement.Placement, v placement.Result) {
	set := map[string]string{"quantity": v.Quantity, "of": v.Of, "plane": v.Plane, "value": decimal(v.Value), "unit": v.Unit, "class": v.Class,
		"scale": v.Scale, "notes": strings.Join(v.Notes, "; ")}
	if v.Contact >= 0 {
		set["contact"] = strconv.Itoa(v.Contact)
	}
	if v.HasU {
		set["u95"], set["lo"], set["hi"] = decimal(v.U95), decimal(v.Lo), decimal(v.Hi)
	}
	if v.Magnified {
		set["magnified"] = "yes"
	}
	var budget []string
	for source, u := range told(v) {
		budget = append(budget, source+" "+decimal(u))
	}
	slices.Sort(budget)
	set["budget"] = strings.Join(budget, "; ")
	for k, s := range set {
		c.cell[k] = s
	}
	c.name, c.figure = note.Name(v), p.Measured(v).Detail()
}

// response fills in a threshold. The highest amplitude without a response is a
// quantity of its own: nobody averages it among thresholds unawares.
func (c *caseRow) response(t response.Test, k response.Kind) {
	th := t.Threshold(k)
	quantity := "threshold-" + string(k)
	c.name = "threshold of " + k.Words()
	if th.None {
		quantity = "none-up-to-" + string(k)
		c.name = "no response of " + k.Words()
	}
	known := func(n imaging.Number) string {
		if !n.Known {
			return ""
		}
		return decimal(n.Value)
	}
	words := func(s string) string { return strings.ReplaceAll(s, ", ", "; ") }
	for k, s := range map[string]string{"quantity": quantity, "value": decimal(th.Amplitude.Value), "unit": t.Unit, "polarity": t.Polarity,
		"pulse-width-us": known(t.PulseWidth), "rate-hz": known(t.Rate), "state": string(t.State), "motor": words(t.MotorWords()),
		"sensation": words(t.SensationWords()), "root": t.RootWords(), "notes": t.Note} {
		c.cell[k] = s
	}
	if t.Contact >= 0 {
		c.cell["contact"] = strconv.Itoa(t.Contact)
	}
	c.figure = th.Told(t.Unit)
	if t.Contact >= 0 {
		c.name += fmt.Sprintf(", contact %d", t.Contact)
	}
}
