package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"leadline/imaging"
	"leadline/imaging/phantom"
	"leadline/measure/note"
	"leadline/measure/placement"
	"leadline/measure/response"
	"leadline/measure/sidecar"
)

// key tells the figures of a case apart.
type figureKey struct{ object, quantity, of, plane, contact string }

// TestSameNumberEverywhere: over fifty cases, the practice films marked with other
// hands, each figure of JSON, CSV, report, table and note is one number, rounded
// as it is printed there.
func TestSameNumberEverywhere(t *testing.T) {
	dir := t.TempDir()
	if _, err := phantom.Practice(dir, func(int, int) {}); err != nil {
		t.Fatal(err)
	}
	of := reader{observer: phantom.Observer}
	if err := of.open(dir); err != nil {
		t.Fatal(err)
	}
	defer of.close()
	marks, err := of.readMarks(filepath.Join(dir, phantom.MarksName))
	if err != nil {
		t.Fatal(err)
	}
	cases := 50
	if testing.Short() {
		cases = 5
	}
	for n := range cases {
		rng := rand.New(rand.NewPCG(uint64(n), 5))
		report := sidecar.Report{Images: of.kase.Headers(), Revision: 1, SOPInstance: "2.25.9", Changed: time.Unix(0, 0).UTC()}
		report.Book.Observer = phantom.Observer
		for _, m := range marks {
			m = m.Clone()
			for i := range m.Points {
				m.Points[i].X += rng.NormFloat64()
				m.Points[i].Y += rng.NormFloat64()
			}
			report.Book.Marks = append(report.Book.Marks, m)
		}
		amplitude := math.Round(rng.Float64()*90+5) / 10
		report.Responses = []response.Test{{Object: "N1", Contact: -1, PelvicFloor: response.At(amplitude), Unit: "mA", PulseWidth: imaging.Known(210)}}
		report.Placement = of.compute(report.Book, noOptions)
		if !sameNumbers(t, &of, report, amplitude) {
			t.Fatalf("case %d", n)
		}
	}
}

func sameNumbers(t *testing.T, of *reader, report sidecar.Report, amplitude float64) bool {
	t.Helper()
	p := report.Placement
	var doc struct{ Results []resultJSON }
	var text bytes.Buffer
	if err := of.printJSON(&text, p); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	if len(doc.Results) < 20 {
		t.Errorf("%d figures only", len(doc.Results))
	}
	want := map[figureKey]resultJSON{}
	for _, r := range doc.Results {
		want[keyOf(r)] = r
	}
	inCSV(t, of, report, want, amplitude)
	inReport(t, report, want)
	inTable(t, of, p, want)
	inNote(t, report, want, amplitude)
	inSheet(t, report, want, of)
	return !t.Failed()
}

func keyOf(r resultJSON) figureKey {
	k := figureKey{r.Object, r.Quantity, r.Of, r.Plane, ""}
	if r.Contact != nil {
		k.contact = strconv.Itoa(*r.Contact)
	}
	return k
}

// inCSV: to the last bit.
func inCSV(t *testing.T, of *reader, report sidecar.Report, want map[figureKey]resultJSON, amplitude float64) {
	var b bytes.Buffer
	if err := writeRows(&b, of.rows("case", report)); err != nil {
		t.Fatal(err)
	}
	all, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range all[0] {
		at[name] = i
	}
	found := 0
	for _, row := range all[1:] {
		cell := func(c string) string { return row[at[c]] }
		number := func(c string) float64 {
			v, err := strconv.ParseFloat(cell(c), 64)
			if err != nil {
				t.Errorf("%s %q: %v", c, cell(c), err)
			}
			return v
		}
		if cell("quantity") == "threshold-pelvic-floor" {
			found++
			if number("value") != amplitude || cell("unit") != "mA" {
				t.Errorf("CSV has the amplitude %s %s, logged %g mA", cell("value"), cell("unit"), amplitude)
			}
			continue
		}
		r, ok := want[figureKey{cell("object"), cell("quantity"), cell("of"), cell("plane"), cell("contact")}]
		if !ok {
			t.Errorf("CSV has %v, JSON has not", row)
			continue
		}
		found++
		if number("value") != r.Value || cell("unit") != r.Unit || r.U95 != nil && (number("u95") != *r.U95 || number("lo") != *r.Lo || number("hi") != *r.Hi) {
			t.Errorf("%s %s: CSV %s, JSON %v", r.Object, r.Quantity, cell("value"), r.Value)
		}
	}
	if found != len(want)+1 {
		t.Errorf("CSV has %d of %d figures", found, len(want)+1)
	}
}

// inReport: a report keeps 10 significant digits, or what a DS value holds.
func inReport(t *testing.T, report sidecar.Report, want map[figureKey]resultJSON) {
	doc, err := sidecar.Encode(report)
	if err != nil {
		t.Fatal(err)
	}
	back, err := sidecar.Decode(doc)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range back.Placement.Results {
		k := figureKey{v.Object, v.Quantity, v.Of, v.Plane, ""}
		if v.Contact >= 0 {
			k.contact = strconv.Itoa(v.Contact)
		}
		if r, ok := want[k]; !ok || math.Abs(r.Value-v.Value) > 1e-9*math.Abs(r.Value) {
			t.Errorf("%s %s: report %v, JSON %v", v.Object, v.Quantity, v.Value, r.Value)
		}
	}
}

var figure = regexp.MustCompile(`-?[0-9]+(?:\.[0-9]+)?`)

// printed reports whether text begins with v as it is rounded there; a sign may be
// told by words.
func printed(text string, v float64) bool {
	s := figure.FindString(text)
	shown, err := strconv.ParseFloat(s, 64)
	_, fraction, _ := strings.Cut(s, ".")
	half := 0.5*math.Pow(10, -float64(len(fraction))) + 1e-9
	return err == nil && (math.Abs(shown-v) <= half || math.Abs(shown+v) <= half)
}

// inTable: what 'leadline measure' prints.
func inTable(t *testing.T, of *reader, p placement.Placement, want map[figureKey]resultJSON) {
	var b bytes.Buffer
	printTable(&b, "case", of.observer, p)
	lines := strings.Split(b.String(), "\n")
	for _, v := range p.Results {
		r := want[keyOf(of.resultJSON(v))]
		ok := false
		for _, l := range lines {
			if rest, found := strings.CutPrefix(strings.TrimSpace(l), note.Name(v)+"  "); found && printed(rest, r.Value) {
				ok = true
			}
		}
		if !ok {
			t.Errorf("%s %s: %v is not in the table", v.Object, v.Quantity, r.Value)
		}
	}
}

// inNote: the headline figures of each needle's paragraph and of the table in it.
func inNote(t *testing.T, report sidecar.Report, want map[figureKey]resultJSON, amplitude float64) {
	report.Book.Observer = "A" // no figure in a name
	said, err := note.Text(report)
	if err != nil {
		t.Fatal(err)
	}
	best := func(object, quantity string) (resultJSON, bool) {
		var out resultJSON
		found := false
		for k, r := range want {
			if k.object == object && k.quantity == quantity && (!found || k.plane == "3d") {
				out, found = r, true
			}
		}
		return out, found
	}
	for _, d := range report.Placement.Devices {
		i := strings.Index(said, d.Object+" ("+string(d.Kind)+")")
		if i < 0 {
			t.Errorf("%s has no paragraph", d.Object)
			continue
		}
		paragraph, _, _ := strings.Cut(said[i:], "\n")
		row := regexp.MustCompile(`(?m)^` + d.Object + `  .*$`).FindString(said)
		cells := regexp.MustCompile(`  +`).Split(row, -1)
		if len(cells) != 9 {
			t.Fatalf("row %q", row)
		}
		for _, c := range []struct{ quantity, before, cell string }{
			{"insertion-angle-chord", "runs at ", cells[3]}, {"tip-depth-along-needle", "its tip is ", cells[4]}, {"entry-offset-midline", "It enters ", ""},
		} {
			r, ok := best(d.Object, c.quantity)
			_, after, found := strings.Cut(paragraph, c.before)
			if !ok || !found || !printed(after, r.Value) || c.cell != "" && !printed(c.cell, r.Value) {
				t.Errorf("%s %s is %v, the note says %q and %q", d.Object, c.quantity, r.Value, after, c.cell)
			}
		}
		if wanted := fmt.Sprintf("%g mA", amplitude); d.Object == "N1" && cells[5] != wanted {
			t.Errorf("the note's amplitude is %q, want %q", cells[5], wanted)
		}
	}
}
