package dicomfile

import (
	"encoding/binary"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
)

// dataset reads the kept elements of a file as values. What it cannot read it
// notes, and gives as not given.
type dataset struct {
	elements
	order binary.ByteOrder
	text  text
	notes []string
}

func (d *dataset) note(t tag.Tag, format string, args ...any) {
	name := t.String()
	if info, err := tag.Find(t); err == nil {
		name = info.Name + " " + name
	}
	d.notes = append(d.notes, name+": "+fmt.Sprintf(format, args...))
}

// trim takes off the padding of PS3.5 6.2.
func trim(s string) string { return strings.Trim(s, " \x00") }

// codes are the values of a string of the default repertoire: AE, AS, CS, DA,
// DS, DT, IS, TM and UI.
func (d *dataset) codes(t tag.Tag) []string {
	e, ok := d.elements[t]
	if !ok || trim(string(e.value)) == "" {
		return nil
	}
	values := strings.Split(strings.ToValidUTF8(string(e.value), "\uFFFD"), `\`)
	for i := range values {
		values[i] = trim(values[i])
	}
	return values
}

func (d *dataset) code(t tag.Tag) string {
	if v := d.codes(t); len(v) > 0 {
		return v[0]
	}
	return ""
}

// texts are the values of a string in the file's character set.
func (d *dataset) texts(t tag.Tag) []string {
	e, ok := d.elements[t]
	if !ok || len(e.value) == 0 {
		return nil
	}
	values := strings.Split(d.text.decode(e.value), `\`)
	for i := range values {
		values[i] = trim(values[i])
	}
	return values
}

func (d *dataset) line(t tag.Tag) string {
	if v := d.texts(t); len(v) > 0 {
		return v[0]
	}
	return ""
}

// numbers are the values of DS, IS or a binary number. One bad value makes the
// whole attribute not given: its values stand for each other's order.
func (d *dataset) numbers(t tag.Tag) []float64 {
	e, ok := d.elements[t]
	if !ok || len(e.value) == 0 {
		return nil
	}
	var out []float64
	size := map[string]int{"US": 2, "SS": 2, "UL": 4, "SL": 4, "FL": 4, "FD": 8}[e.vr]
	if size > 0 {
		if len(e.value)%size != 0 {
			d.note(t, "%d bytes are no whole values; taken as not given", len(e.value))
			return nil
		}
		for b := e.value; len(b) > 0; b = b[size:] {
			var v float64
			switch e.vr {
			case "US":
				v = float64(d.order.Uint16(b))
			case "SS":
				v = float64(int16(d.order.Uint16(b)))
			case "UL":
				v = float64(d.order.Uint32(b))
			case "SL":
				v = float64(int32(d.order.Uint32(b)))
			case "FL":
				v = float64(math.Float32frombits(d.order.Uint32(b)))
			case "FD":
				v = math.Float64frombits(d.order.Uint64(b))
			}
			if math.IsNaN(v) || math.IsInf(v, 0) {
				d.note(t, "not a finite number; taken as not given")
				return nil
			}
			out = append(out, v)
		}
		return out
	}
	values := d.codes(t)
	for _, s := range values {
		v, err := strconv.ParseFloat(s, 64)
		// PS3.5 6.2 allows DS and IS no words and no hexadecimal.
		if err != nil || strings.Trim(s, "0123456789+-.eE") != "" || math.IsInf(v, 0) {
			d.note(t, "%q is not a number; taken as not given", shorten(s))
			return nil
		}
		out = append(out, v)
	}
	return out
}

func shorten(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

func (d *dataset) number(t tag.Tag) imaging.Number {
	if v := d.numbers(t); len(v) > 0 {
		return imaging.Known(v[0])
	}
	return imaging.Number{}
}

// positive is a number that has a meaning above zero only.
func (d *dataset) positive(t tag.Tag) imaging.Number {
	n := d.number(t)
	if n.Known && n.Value <= 0 {
		d.note(t, "%g is not above zero; taken as not given", n.Value)
		return imaging.Number{}
	}
	return n
}

// whole is an attribute that must be a whole number from lo to hi; given is
// false where it is not there.
func (d *dataset) whole(t tag.Tag, lo, hi int) (v int, given bool, err error) {
	notes := len(d.notes)
	n := d.number(t)
	if len(d.notes) > notes {
		return 0, false, fmt.Errorf("%w: %s", imaging.ErrDamaged, strings.TrimSuffix(d.notes[len(d.notes)-1], "; taken as not given"))
	}
	if !n.Known {
		return 0, false, nil
	}
	if n.Value != math.Trunc(n.Value) || n.Value < float64(lo) || n.Value > float64(hi) {
		info, _ := tag.Find(t)
		return 0, true, fmt.Errorf("%w: %s %s is %g, not from %d to %d", imaging.ErrDamaged, info.Name, t, n.Value, lo, hi)
	}
	return int(n.Value), true, nil
}

// spacing is a pair of distances, rows first (PS3.3 10.7.1.3).
func (d *dataset) spacing(t tag.Tag) imaging.Spacing {
	v := d.numbers(t)
	switch {
	case len(v) == 0:
		return imaging.Spacing{}
	case len(v) != 2:
		d.note(t, "%d values where two are due; taken as not given", len(v))
		return imaging.Spacing{}
	case v[0] <= 0 || v[1] <= 0:
		d.note(t, "%g and %g are not both above zero; taken as not given", v[0], v[1])
		return imaging.Spacing{}
	}
	return imaging.Spacing{Row: v[0], Column: v[1], Known: true}
}

// oneOf is a code out of a set; another is noted and taken as not given.
func (d *dataset) oneOf(t tag.Tag, allowed ...string) string {
	c := strings.ToUpper(d.code(t))
	if c == "" {
		return ""
	}
	for _, a := range allowed {
		if c == a {
			return c
		}
	}
	d.note(t, "%q is not a value of this attribute; taken as not given", shorten(c))
	return ""
}

// coded is the first item of a sequence of codes (PS3.3 8.8). An attribute
// that may have just one item and has more is noted.
func (d *dataset) coded(t tag.Tag) imaging.Code {
	items := d.elements[t].items
	if len(items) == 0 {
		return imaging.Code{}
	}
	if len(items) > 1 {
		d.note(t, "%d codes where one is due; the first is read", len(items))
	}
	item := &dataset{elements: items[0], order: d.order, text: d.text}
	return imaging.Code{Value: item.code(tag.CodeValue), Scheme: item.code(tag.CodingSchemeDesignator), Meaning: item.line(tag.CodeMeaning)}
}
