package main

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"

	"leadline/measure/note"
	"leadline/measure/placement"
	"leadline/measure/quantity"
)

// printTable prints a placement for a person: device by device with side and
// level and what they rest on, then what is missing, then the cautions.
func printTable(w io.Writer, kase, observer string, p placement.Placement) {
	fmt.Fprintf(w, "Case %s, marked by %s. ± is half the width of the 95 %% interval.\n", kase, observer)
	if len(p.Devices) == 0 {
		fmt.Fprint(w, `
No needle, wire or lead is marked. What to mark, on one film or both:
  lateral film: needle, wire or lead from skin to tip; ventral-margin and
    dorsal-margin, five points or more each, for depth and angle
  frontal film: the same device; midline, si-line and foramen, for the entry
  which film is which, where its header does not tell: leadline confirm --frame
`)
	}
	for _, d := range p.Devices {
		fmt.Fprintln(w)
		printDevice(w, d)
		printContacts(w, p, d)
		printRows(w, p, func(object string) bool { return object == d.Object })
	}
	known := func(object string) bool {
		return slices.ContainsFunc(p.Devices, func(d placement.Device) bool { return d.Object == object })
	}
	if slices.ContainsFunc(p.Results, func(r placement.Result) bool { return !known(r.Object) }) {
		fmt.Fprintln(w)
		printRows(w, p, func(object string) bool { return !known(object) })
	}
	for _, k := range p.Identities {
		fmt.Fprintf(w, "\n%s\n", k.Said())
	}
	if len(p.Missing) > 0 {
		fmt.Fprintln(w, "\nMissing")
		printMissing(w, p)
	}
	fmt.Fprintln(w, "\nCautions")
	for _, c := range note.Cautions(p) {
		fmt.Fprintln(w, "  "+c)
	}
}

// printContacts says at a glance how a lead's contacts lie.
func printContacts(w io.Writer, p placement.Placement, d placement.Device) {
	var own []placement.Result
	for _, r := range p.Results {
		if r.Object == d.Object {
			own = append(own, r)
		}
	}
	if said := note.Contacts(p, own); said != "" {
		fmt.Fprintf(w, "  %s\n", said)
	}
}

// planes in the order in which they are printed, with their heading.
var planes = []struct{ plane, heading string }{
	{placement.Plane3D, "both films together (3d)"},
	{"lateral", "lateral film alone"},
	{"frontal", "frontal film alone"},
}

// printRows prints the results of the objects asked for, a line each, plane by
// plane, each with the scale of its lengths.
func printRows(w io.Writer, p placement.Placement, wanted func(object string) bool) {
	var all []placement.Result
	for _, plane := range planes {
		var rows []placement.Result
		for _, r := range p.Results {
			if wanted(r.Object) && r.Plane == plane.plane {
				rows = append(rows, r)
			}
		}
		if len(rows) == 0 {
			continue
		}
		printPlane(w, p, plane.heading, rows)
		if plane.plane == placement.Plane3D {
			printGaps(w, p, wanted)
		}
		all = append(all, rows...)
	}
	printNotes(w, all)
}

func printPlane(w io.Writer, p placement.Placement, heading string, rows []placement.Result) {
	var scales []string
	for _, r := range rows {
		if r.Scale != "" && !slices.Contains(scales, r.Scale) {
			scales = append(scales, r.Scale)
		}
	}
	if len(scales) == 1 {
		heading += "; scale: " + scales[0]
	}
	fmt.Fprintf(w, "  %s\n", heading)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		value := p.Measured(r).Detail()
		if class := quantity.Class(r.Quantity, r.Class); !strings.Contains(value, class) {
			value += ", " + class
		}
		fmt.Fprintf(t, "    %s\t%s", note.Name(r), value)
		if len(scales) > 1 && r.Scale != "" {
			fmt.Fprintf(t, "\tscale: %s", r.Scale)
		}
		fmt.Fprintln(t)
	}
	t.Flush()
}

// printGaps says by how much the rays of points that both films show miss each
// other.
func printGaps(w io.Writer, p placement.Placement, wanted func(object string) bool) {
	for _, k := range p.Positions {
		if k.Gapped && wanted(k.Object) {
			fmt.Fprintf(w, "    the rays of its %s miss each other by %.1f mm (%.1f px on the frontal film, %.1f px on the lateral)\n", k.What, k.Gap, k.GapFrontal, k.GapLateral)
		}
	}
}

// printBudget prints what each source gives to each quantity's uncertainty,
// the largest first.
func printBudget(w io.Writer, p placement.Placement) {
	fmt.Fprintln(w, "\nWhat each source gives: standard uncertainties (k = 1), the largest first")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, r := range p.Results {
		if !r.HasU {
			continue
		}
		budget := told(r)
		sources := slices.SortedFunc(maps.Keys(budget), func(a, b string) int {
			if c := cmp.Compare(budget[b], budget[a]); c != 0 {
				return c
			}
			return cmp.Compare(a, b)
		})
		unit := quantity.Suffix(r.Unit)
		var said []string
		for _, s := range sources {
			if text := fmt.Sprintf("%.2f", budget[s]); text != "0.00" {
				said = append(said, s+" "+text+unit)
			}
		}
		name := strings.TrimSpace(r.Object + " " + note.Name(r))
		fmt.Fprintf(t, "  %s\t%s\t%s\n", name, r.Plane, strings.Join(said, ", "))
	}
	t.Flush()
}

// printNotes prints each note once, with the quantity where only one bears it.
// Why a side or level is left out stands with the device already.
func printNotes(w io.Writer, rows []placement.Result) {
	var notes []string
	bearers := map[string][]string{}
	for _, r := range rows {
		for _, n := range r.Notes {
			if strings.HasPrefix(n, "side left out") || strings.HasPrefix(n, "level left out") {
				continue
			}
			if bearers[n] == nil {
				notes = append(notes, n)
			}
			bearers[n] = append(bearers[n], note.Name(r))
		}
	}
	for _, n := range notes {
		if b := bearers[n]; len(b) == 1 {
			n = b[0] + ": " + n
		}
		fmt.Fprintln(w, "  "+n)
	}
}

// printMissing prints what is missing, what needs the same mark in one line.
func printMissing(w io.Writer, p placement.Placement) {
	for i, m := range p.Missing {
		same := func(o placement.Missing) bool { return o.Object == m.Object && o.Because == m.Because }
		if slices.IndexFunc(p.Missing, same) < i {
			continue
		}
		var names []string
		for _, o := range p.Missing {
			if same(o) {
				names = append(names, quantity.Words(o.Quantity))
			}
		}
		fmt.Fprintf(w, "  %s: %s\n", strings.TrimSpace(m.Object+" "+strings.Join(names, ", ")), m.Because)
	}
}

// printDevice prints a device's side and level largest, each with its basis.
func printDevice(w io.Writer, d placement.Device) {
	fmt.Fprintf(w, "%s  %s · %s\n", d.Object, note.SideWord(d.Side), note.LevelWord(d))
	switch {
	case d.SideConflict != "":
		fmt.Fprintf(w, "  side withheld: %s\n", d.SideConflict)
	case d.SideSource != "":
		fmt.Fprintf(w, "  side: %s\n", d.SideSource)
	}
	switch {
	case d.LevelConflict != "":
		fmt.Fprintf(w, "  level withheld: %s\n", d.LevelConflict)
	case d.LevelSource != "":
		fmt.Fprintf(w, "  level: %s\n", d.LevelSource)
	}
}
