package note

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"leadline/imaging/radiation"
	"leadline/measure/operation"
	"leadline/measure/placement"
	"leadline/measure/response"
	"leadline/measure/sidecar"
)

// Material is what a note is made of.
type Material struct {
	Report    sidecar.Report
	Radiation radiation.Record
}

// writer words one case.
type writer struct {
	placement.Placement
	Material
	shared      string // the scale of most lengths, which carry none; empty: each carries its own
	sharedByAll bool
	comparison  response.Comparison

	device *placement.Device // within {each device}
	values []string          // what tokens stand for
	blocks [][]block
}

// A value in a text that is not yet laid out is a token: a sign that no template
// holds, around its number. So a value never reads as a sign of the template.
const (
	valueSign = "\x01"
	blockSign = "\x02"
)

func (w *writer) value(s string) string {
	w.values = append(w.values, strings.Join(strings.Fields(s), " "))
	return valueSign + strconv.Itoa(len(w.values)-1) + valueSign
}

// evaluate gives the nodes as text with tokens, and whether a field in them is not
// blank, or there is none.
func (w *writer) evaluate(nodes []node) (text string, filled bool) {
	var b strings.Builder
	fields := 0
	for _, n := range nodes {
		switch n.kind {
		case literal:
			b.WriteString(n.text)
		case section:
			if s, ok := w.evaluate(n.inner); ok {
				b.WriteString(s)
				filled = true
			}
			fields++
		case eachDevice:
			for i := range w.Devices {
				w.device = &w.Devices[i]
				s, _ := w.evaluate(n.inner)
				b.WriteString(s)
			}
			w.device = nil
		case fieldNode:
			fields++
			if slices.Contains(blockFields, n.text) {
				if list := w.list(n.text); len(list) > 0 {
					w.blocks = append(w.blocks, list)
					b.WriteString("\n\n" + blockSign + strconv.Itoa(len(w.blocks)-1) + blockSign + "\n\n")
					filled = true
				}
				continue
			}
			said := w.field(n.text)
			filled = filled || said != ""
			if said == "" {
				said = operation.NotRecorded
			}
			b.WriteString(w.value(said))
		}
	}
	return b.String(), filled || fields == 0
}

// field is the value of a field that stands in a line, empty where it is blank.
func (w *writer) field(name string) string {
	switch name {
	case "observer":
		return w.Report.Book.Observer
	case "scale":
		return strings.TrimSpace(w.scaleSentence())
	case "radiation":
		return w.radiation()
	}
	if d := w.device; d != nil {
		own := resultsOf(w.Placement, d.Object)
		switch name {
		case "device":
			return fmt.Sprintf("%s (%s)", d.Object, d.Kind)
		case "side":
			return w.sideWithBasis(*d)
		case "level":
			return w.levelWithBasis(*d)
		case "placement":
			return w.heading(*d)
		case "approach":
			return w.approach(*d, own)
		case "entry":
			return w.entry(own)
		case "depth":
			return w.depth(*d, own)
		}
	}
	if w.Report.Operation[name] == "" {
		return ""
	}
	return w.Report.Operation.Told(name)
}

func (w *writer) radiation() string {
	var said []string
	for _, f := range w.Radiation.Figures {
		said = append(said, f.Sentence())
	}
	return strings.Join(said, "; ")
}

var blockToken = regexp.MustCompile("^" + blockSign + `([0-9]+)` + blockSign + "$")
var valueToken = regexp.MustCompile(valueSign + `([0-9]+)` + valueSign + `\.?`)

// lay turns a text with tokens into blocks.
func (w *writer) lay(text string) []block {
	var out []block
	open := false // the last paragraph goes on
	for _, line := range strings.Split(text, "\n") {
		line = strings.Join(strings.Fields(line), " ")
		m := blockToken.FindStringSubmatch(line)
		switch {
		case line == "":
			open = false
		case m != nil:
			n, _ := strconv.Atoi(m[1])
			out = append(out, w.blocks[n]...)
			open = false
		case strings.HasPrefix(line, "# "):
			out = append(out, block{kind: heading, text: w.filled(line[2:])})
			open = false
		case strings.HasPrefix(line, "- "):
			out = append(out, block{kind: item, text: w.filled(line[2:])})
			open = false
		case open:
			out[len(out)-1].text += " " + w.filled(line)
		default:
			out = append(out, block{kind: paragraph, text: w.filled(line)})
			open = true
		}
	}
	return underHeadings(out)
}

// underHeadings leaves out headings with nothing under them.
func underHeadings(all []block) []block {
	var out []block
	for i, b := range all {
		if b.kind == heading && (i+1 == len(all) || all[i+1].kind == heading) {
			continue
		}
		out = append(out, b)
	}
	return out
}

// filled puts the values in place of their tokens. Where a value ends its sentence
// itself, the template's full stop after it goes.
func (w *writer) filled(line string) string {
	return strings.TrimSpace(valueToken.ReplaceAllStringFunc(line, func(t string) string {
		n, _ := strconv.Atoi(strings.Trim(t, valueSign+"."))
		said := w.values[n]
		if strings.HasSuffix(t, ".") && !strings.HasSuffix(said, ".") {
			said += "."
		}
		return said
	}))
}
