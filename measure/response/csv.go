package response

import (
	"cmp"
	"io"
	"slices"
	"strconv"
	"strings"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/table"
)

// Columns of responses.csv; all but object may be left out.
var csvColumns = []string{"object", "contact", "pelvic-floor", "leg-foot", "sensory", "unit", "polarity", "pulse-width-us", "rate-hz",
	"motor", "sensation", "evoked-uv", "state", "root", "note"}

// ReadCSV reads tests from a table with a row for each. A threshold is an
// amplitude, or > and the highest amplitude that gave no response; motor and
// sensation are words with blanks between; polarity is electrodes with their signs.
// What cannot be read is refused by the number of its line, wrapping
// imaging.ErrBadInput, and no test is returned.
func ReadCSV(r io.Reader) ([]Test, error) {
	var out []Test
	var lines []int
	err := table.Read(r, csvColumns, 1, func(row table.Row) error {
		t := Test{
			Object: row.Cell("object"), Contact: -1, Unit: row.Cell("unit"), Polarity: strings.Join(strings.Fields(row.Cell("polarity")), " "),
			State: State(row.Cell("state")), Root: mark.Level(row.Cell("root")), Note: row.Cell("note"),
		}
		if c := row.Cell("contact"); c != "" {
			n, err := strconv.ParseUint(c, 10, 8)
			if err != nil {
				return row.Fault("contact %s is not a number from 0, 0 nearest the tip", quote(c))
			}
			t.Contact = int(n)
		}
		for _, k := range Kinds() {
			th, ok := ParseThreshold(row.Cell(string(k)))
			if !ok {
				return row.Fault("%s %s is neither an amplitude nor > and one: write it with a decimal point, without its unit", k, quote(row.Cell(string(k))))
			}
			t.Put(k, th)
		}
		for _, n := range []struct {
			column string
			to     *imaging.Number
		}{{"pulse-width-us", &t.PulseWidth}, {"rate-hz", &t.Rate}, {"evoked-uv", &t.Evoked}} {
			c := row.Cell(n.column)
			if c == "" {
				continue
			}
			v, ok := decimal(c)
			if !ok {
				return row.Fault("%s %s is not a number: write it with a decimal point, without its unit", n.column, quote(c))
			}
			*n.to = imaging.Known(v)
		}
		for _, w := range strings.Fields(row.Cell("motor")) {
			t.Motor = append(t.Motor, Motor(w))
		}
		for _, w := range strings.Fields(row.Cell("sensation")) {
			t.Sensation = append(t.Sensation, Sensation(w))
		}
		if err := t.Check(); err != nil {
			return row.Fault("%s", strings.TrimPrefix(err.Error(), imaging.ErrBadInput.Error()+": "))
		}
		if i := slices.IndexFunc(out, t.repeats); i >= 0 {
			return row.Fault("%s stands on line %d already with the same settings", t.Name(), lines[i])
		}
		out, lines = append(out, t), append(lines, row.Line)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// Put sets the threshold of a kind.
func (t *Test) Put(k Kind, th Threshold) {
	switch k {
	case PelvicFloor:
		t.PelvicFloor = th
	case LegFoot:
		t.LegFoot = th
	default:
		t.Sensory = th
	}
}

// ParseThreshold reads what Threshold.String writes.
func ParseThreshold(s string) (t Threshold, ok bool) {
	if s == "" {
		return Threshold{}, true
	}
	rest, none := strings.CutPrefix(s, ">")
	v, ok := decimal(strings.TrimSpace(rest))
	return Threshold{Amplitude: imaging.Known(v), None: none}, ok
}

func decimal(s string) (float64, bool) {
	if strings.Trim(s, ".0123456789") != "" {
		return 0, false
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil
}

// WriteCSV writes tests as ReadCSV reads them, by object and contact.
func WriteCSV(w io.Writer, tests []Test) error {
	var rows [][]string
	for _, t := range Sorted(tests) {
		contact := ""
		if t.Contact >= 0 {
			contact = strconv.Itoa(t.Contact)
		}
		opt := func(n imaging.Number) string {
			if !n.Known {
				return ""
			}
			return Figure(n.Value)
		}
		rows = append(rows, []string{t.Object, contact, t.PelvicFloor.String(), t.LegFoot.String(), t.Sensory.String(), t.Unit, t.Polarity,
			opt(t.PulseWidth), opt(t.Rate), strings.ReplaceAll(list(t.Motor), ",", ""), strings.ReplaceAll(list(t.Sensation), ",", ""),
			opt(t.Evoked), string(t.State), string(t.Root), t.Note})
	}
	return table.Write(w, csvColumns, rows)
}

// Sorted by object, N2 before N10, then by contact; tests of one
// keep their order.
func Sorted(tests []Test) []Test {
	out := slices.Clone(tests)
	slices.SortStableFunc(out, func(a, b Test) int {
		return cmp.Or(mark.CompareObjects(a.Object, b.Object), cmp.Compare(a.Contact, b.Contact))
	})
	return out
}
