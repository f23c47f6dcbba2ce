package mark

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"gonum.org/v1/gonum/spatial/r2"
)

// WriteCSV writes marks as ReadCSV reads them, in a fixed order: by instance,
// frame, structure (in the order of Structures), object, level, side, detail,
// contact, vertex. Coordinates have the fewest digits that keep single
// precision. Everything but UID and History comes back.
//
// name gives the file name of an instance. Where it is empty, or is one that a
// spreadsheet would change or take for a formula, the SOP Instance UID is
// written in its place.
//
// Marks that break the rules of their structure, or that the table could not
// keep apart, are refused (imaging.ErrBadInput) before anything is written.
func WriteCSV(w io.Writer, marks []Mark, name func(uid string) string) error {
	rows := slices.Clone(marks)
	label, err := labels(marks, name)
	if err != nil {
		return err
	}
	for i := range rows {
		m := &rows[i]
		if m.Structure == Foramen {
			if d, ok := foramenDetail(m.Detail); ok {
				m.Detail = d
			}
		}
		if m.Frame.Last < m.Frame.First {
			m.Frame.Last = m.Frame.First
		}
	}
	order := func(a, b Mark) int {
		return cmp.Or(
			cmp.Compare(label[a.Frame.Instance], label[b.Frame.Instance]),
			cmp.Compare(a.Frame.Instance, b.Frame.Instance),
			cmp.Compare(a.Frame.First, b.Frame.First),
			cmp.Compare(a.Frame.Last, b.Frame.Last),
			cmp.Compare(rank(a.Structure), rank(b.Structure)),
			CompareObjects(a.Object, b.Object),
			cmp.Compare(a.Level, b.Level),
			cmp.Compare(a.Side, b.Side),
			cmp.Compare(a.Detail, b.Detail),
			cmp.Compare(a.Index, b.Index),
		)
	}
	slices.SortStableFunc(rows, order)

	var out bytes.Buffer
	table := csv.NewWriter(&out)
	table.Write(csvColumns) // a buffer does not fail; Flush and Error below
	for i, m := range rows {
		if i > 0 && order(rows[i-1], m) == 0 {
			return &problem{text: fmt.Sprintf("%s stands there twice: give the two another level, side, object or detail", where(m, label))}
		}
		// The image's own size is not known here: it was checked when the
		// mark was made.
		if err := m.Check(maxFrames, maxFrames); err != nil {
			return fmt.Errorf("%s: %w", where(m, label), err)
		}
		if m.Frame.First < 1 || label[m.Frame.Instance] == "" {
			return &problem{text: fmt.Sprintf("%s: the mark is on no frame", where(m, label))}
		}
		sd, origin := "", m.Origin
		if m.SD.Known {
			sd = strconv.FormatFloat(m.SD.Value, 'f', -1, 64)
		}
		if origin == "" {
			origin = ByHand
		}
		for v, p := range m.Points {
			if m.Structure == Contact {
				v = m.Index
			}
			table.Write([]string{label[m.Frame.Instance], m.Frame.Span(), string(m.Structure), string(m.Level), string(m.Side),
				m.Object, strconv.Itoa(v), single(p.X), single(p.Y), sd, string(origin), m.Detail})
		}
	}
	table.Flush()
	if err := table.Error(); err != nil {
		return err
	}
	_, err = w.Write(out.Bytes())
	return err
}

// labels says what each instance is called in the table.
func labels(marks []Mark, name func(uid string) string) (map[string]string, error) {
	label, shared := map[string]string{}, map[string]int{}
	for _, m := range marks {
		uid := m.Frame.Instance
		if _, ok := label[uid]; !ok {
			label[uid] = plain(name(uid), uid)
			shared[label[uid]]++
		}
	}
	for uid, l := range label {
		if shared[l] > 1 {
			label[uid], l = uid, uid
		}
		if l == uid && strings.Trim(uid, ".0123456789") != "" {
			return nil, &problem{text: fmt.Sprintf("SOP Instance UID %s is not a UID, and its file has no name that a table can hold: rename the file", quote(uid))}
		}
	}
	return label, nil
}

// where says which mark is meant.
func where(m Mark, label map[string]string) string {
	s := fmt.Sprintf("%s, frame %s: %s", quote(label[m.Frame.Instance]), m.Frame.Span(), m.Structure)
	if m.Object != "" {
		s += " " + quote(m.Object)
	}
	return s
}

func rank(s Structure) int {
	return slices.IndexFunc(structures, func(i StructureInfo) bool { return i.Structure == s })
}

// CompareObjects puts N2 before N10, and N1 before N1.2.
func CompareObjects(a, b string) int {
	da, db := Device(a), Device(b)
	byLength := func(a, b string) int { return cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b)) }
	letter := func(s string) string { return s[:min(1, len(s))] }
	return cmp.Or(cmp.Compare(letter(a), letter(b)), byLength(da, db), byLength(a, b))
}

// single writes v with the fewest digits that keep single precision.
func single(v float64) string {
	p := Round(r2.Vec{X: v})
	return strconv.FormatFloat(p.X+0, 'f', -1, 32)
}

// plain gives name where a spreadsheet leaves it as it is, else uid: a first
// character that begins a formula, a number that would lose its zeros, blanks
// at an end and control characters do not survive.
func plain(name, uid string) string {
	switch {
	case name == "", name != strings.TrimSpace(name),
		strings.IndexAny(name, "=+-@|%'\"＝＋－＠") == 0,
		strings.ContainsFunc(name, unicode.IsControl),
		strings.Trim(name, "0123456789.,eE+-") == "",
		strings.ContainsRune(name, unicode.ReplacementChar):
		return uid
	}
	return name
}
