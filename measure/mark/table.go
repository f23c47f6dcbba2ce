package mark

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

// Columns of marks.csv; the last three may be left out.
var csvColumns = []string{"instance", "frame", "structure", "level", "side", "object", "index", "x", "y", "sd", "origin", "detail"}

const csvRequired = 9 // the first so many of csvColumns

// Limits of a file of marks: far above any case, far below what would hurt.
const (
	maxCSVBytes = 16 << 20
	maxCSVRows  = 200_000
)

// ReadCSV reads marks from a table of vertices, one a row, in any order, under
// a header row that names the columns: instance, frame, structure, level, side,
// object, index, x, y and, where wanted, sd, origin, detail. Text is UTF-8;
// cells are separated by commas (RFC 4180).
//
// Rows belong to one mark where instance, frame, structure, level, side, object
// and detail are the same; a contact is a row of its own, numbered by index.
// x and y are SR coordinates in pixels, 0 to Columns and 0 to Rows; they are
// rounded to single precision. sd is in pixels, detail of a known-length or
// contact in mm. sd and origin may stand on every row of a mark or on some, but
// must not differ. Each mark gets a new UID. Marks come in the order of their
// first rows.
//
// find looks an instance up by SOP Instance UID or file name. What cannot be
// read is refused by the number of its line, wrapping imaging.ErrBadInput, and
// no mark is returned.
func ReadCSV(r io.Reader, find func(nameOrUID string) (*imaging.Header, bool)) ([]Mark, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxCSVBytes+1))
	if err != nil {
		return nil, fmt.Errorf("marks cannot be read: %w", err)
	}
	if len(text) > maxCSVBytes {
		return nil, &problem{text: fmt.Sprintf("more than %d MiB: not a table of marks", maxCSVBytes>>20)}
	}
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	if i := firstInvalid(text); i >= 0 {
		return nil, &problem{line: 1 + bytes.Count(text[:i], []byte("\n")), text: "not UTF-8 text: save the table as CSV in UTF-8"}
	}
	t := table{find: find, csv: csv.NewReader(bytes.NewReader(text)), at: map[key]*draft{}}
	t.csv.FieldsPerRecord = -1
	t.csv.ReuseRecord = true
	if err := t.read(); err != nil {
		return nil, err
	}
	return t.marks()
}

func firstInvalid(text []byte) int {
	if utf8.Valid(text) {
		return -1
	}
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRune(text[i:])
		if r == utf8.RuneError && n == 1 {
			return i
		}
		i += n
	}
	return -1
}

// key tells marks apart.
type key struct {
	frame     FrameRef
	structure Structure
	level     Level
	side      Side
	object    string
	detail    string
	index     int // of a contact
}

// draft is a mark whose rows are being gathered.
type draft struct {
	mark   Mark
	line   int // of its first row
	points map[int]vertex
}

type vertex struct {
	at   r2.Vec
	line int
}

type table struct {
	find   func(string) (*imaging.Header, bool)
	csv    *csv.Reader
	column [12]int // field number of each of csvColumns, -1: not there
	drafts []*draft
	at     map[key]*draft
}

func (t *table) read() error {
	if err := t.header(); err != nil {
		return err
	}
	for rows := 0; ; rows++ {
		record, err := t.csv.Read()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return malformed(err)
		}
		if rows >= maxCSVRows {
			return t.fault("more than %d rows: not a table of marks", maxCSVRows)
		}
		if blank(record) {
			continue
		}
		if err := t.row(record); err != nil {
			return err
		}
	}
}

func (t *table) fault(format string, args ...any) error {
	line, _ := t.csv.FieldPos(0)
	return &problem{line: line, text: fmt.Sprintf(format, args...)}
}

func malformed(err error) error {
	var p *csv.ParseError
	if errors.As(err, &p) {
		return &problem{line: p.Line, text: fmt.Sprintf("not a row of CSV (%v): check the quotation marks", p.Err)}
	}
	return err
}

func blank(record []string) bool {
	return !slices.ContainsFunc(record, func(s string) bool { return strings.TrimSpace(s) != "" })
}

func (t *table) header() error {
	record, err := t.csv.Read()
	if err == io.EOF {
		return &problem{text: "empty: the first row must name the columns " + strings.Join(csvColumns[:csvRequired], ",")}
	}
	if err != nil {
		return malformed(err)
	}
	for i := range t.column {
		t.column[i] = -1
	}
	for field, cell := range record {
		name := strings.TrimSpace(cell)
		i := slices.Index(csvColumns, name)
		switch {
		case name == "" && field > 0: // a spreadsheet's empty column
		case i < 0 && len(record) == 1 && strings.ContainsAny(name, ";\t"):
			return t.fault("the columns must be separated by commas")
		case i < 0:
			return t.fault("column %s is not known: use %s", quote(name), strings.Join(csvColumns, ","))
		case t.column[i] >= 0:
			return t.fault("column %s stands there twice", name)
		default:
			t.column[i] = field
		}
	}
	for i, name := range csvColumns[:csvRequired] {
		if t.column[i] < 0 {
			return t.fault("column %s is missing: the first row must name %s", name, strings.Join(csvColumns[:csvRequired], ","))
		}
	}
	return nil
}

// row takes one vertex in.
func (t *table) row(record []string) error {
	cell := func(name string) string {
		if f := t.column[slices.Index(csvColumns, name)]; f >= 0 && f < len(record) {
			return strings.Clone(strings.TrimSpace(record[f]))
		}
		return ""
	}
	for f, s := range record {
		if strings.TrimSpace(s) != "" && !slices.Contains(t.column[:], f) {
			return t.fault("%s stands under no column", quote(s))
		}
	}
	m := Mark{
		Structure: Structure(cell("structure")), Level: Level(cell("level")), Side: Side(cell("side")),
		Object: cell("object"), Detail: cell("detail"), Origin: Origin(cell("origin")),
	}
	info, ok := Info(m.Structure)
	if !ok {
		return t.fault("%s", unknownStructure(string(m.Structure)))
	}
	header, err := t.frame(&m, cell("instance"), cell("frame"))
	if err != nil {
		return err
	}
	index, err := whole(cell("index"), maxCSVRows)
	if err != nil {
		return t.fault("index %s is not a vertex number from 0", quote(cell("index")))
	}
	if m.Structure == Contact {
		m.Index, index = index, 0
	}
	if m.Structure == Foramen {
		if d, ok := foramenDetail(m.Detail); ok {
			m.Detail = d
		}
	}
	if text := info.labels(m); text != "" {
		return t.fault("%s", text)
	}
	if m.Origin != "" && m.Origin != ByHand && m.Origin != Suggested && m.Origin != Changed {
		return t.fault("origin %s is not known: use hand, suggested or changed", quote(string(m.Origin)))
	}
	if s := cell("sd"); s != "" {
		v, err := decimal(s)
		if err != nil || !soundSD(v) {
			return t.fault("sd %s is not a standard deviation in pixels above 0 and up to %d", quote(s), maxSD)
		}
		m.SD = imaging.Known(v)
	}
	var p r2.Vec
	for _, c := range []struct {
		name string
		to   *float64
	}{{"x", &p.X}, {"y", &p.Y}} {
		v, err := decimal(cell(c.name))
		if err != nil {
			return t.fault("%s %s is not a number: write it with a decimal point", c.name, quote(cell(c.name)))
		}
		*c.to = v + 0 // no negative zero
	}
	p = Round(p)
	if text := outside(p, header.Columns, header.Rows); text != "" {
		return t.fault("%s", text)
	}
	return t.add(m, index, p)
}

// frame finds the instance and the frame or span of a row.
func (t *table) frame(m *Mark, instance, span string) (*imaging.Header, error) {
	if instance == "" {
		return nil, t.fault("instance is empty: give a file name or SOP Instance UID")
	}
	h, ok := t.find(instance)
	if !ok || h == nil {
		return nil, t.fault("instance %s is not in this case: give a file name or SOP Instance UID of it", quote(instance))
	}
	frames := max(h.Frames, 1)
	from, to, cut := strings.Cut(span, "-")
	if !cut {
		to = from
	}
	first, err1 := whole(from, maxFrames)
	last, err2 := whole(to, maxFrames)
	if err1 != nil || err2 != nil || first < 1 || last < first {
		return nil, t.fault("frame %s is not a frame number from 1, nor a span such as 5-12", quote(span))
	}
	if last > frames {
		return nil, t.fault("frame %s lies outside the instance: it has frames 1 to %d", span, frames)
	}
	m.Frame = FrameRef{Instance: h.SOPInstance, First: first, Last: last}
	return h, nil
}

// maxFrames is the largest Number of Frames an IS can hold (PS3.5 6.2).
const maxFrames = 1<<31 - 1

// whole reads plain digits, 0 to most.
func whole(s string, most int) (int, error) {
	if s == "" || len(s) > 10 || strings.Trim(s, "0123456789") != "" {
		return 0, strconv.ErrSyntax
	}
	v, err := strconv.Atoi(s)
	if err != nil || v > most {
		return 0, strconv.ErrRange
	}
	return v, nil
}

func (t *table) add(m Mark, index int, p r2.Vec) error {
	line, _ := t.csv.FieldPos(0)
	k := key{m.Frame, m.Structure, m.Level, m.Side, m.Object, m.Detail, m.Index}
	d := t.at[k]
	if d == nil {
		m.UID = NewUID()
		d = &draft{mark: m, line: line, points: map[int]vertex{}}
		t.at[k], t.drafts = d, append(t.drafts, d)
	}
	if v, ok := d.points[index]; ok {
		if m.Structure == Contact {
			return t.fault("contact %d of %s stands on line %d already", m.Index, m.Object, v.line)
		}
		return t.fault("vertex %d of this %s stands on line %d already: two of them must differ in level, side, object or detail", index, m.Structure, v.line)
	}
	d.points[index] = vertex{p, line}
	switch {
	case m.SD.Known && d.mark.SD.Known && m.SD != d.mark.SD:
		return t.fault("sd %g is not that of this mark's other rows, %g: a mark has one", m.SD.Value, d.mark.SD.Value)
	case m.SD.Known:
		d.mark.SD = m.SD
	}
	switch {
	case m.Origin != "" && d.mark.Origin != "" && m.Origin != d.mark.Origin:
		return t.fault("origin %s is not that of this mark's other rows, %s: a mark has one", m.Origin, d.mark.Origin)
	case m.Origin != "":
		d.mark.Origin = m.Origin
	}
	return nil
}

// marks puts the vertices of each mark in order.
func (t *table) marks() ([]Mark, error) {
	out := make([]Mark, 0, len(t.drafts))
	for _, d := range t.drafts {
		m := d.mark
		m.Points = make([]r2.Vec, 0, len(d.points))
		for i := range len(d.points) {
			v, ok := d.points[i]
			if !ok {
				return nil, &problem{line: d.line, text: fmt.Sprintf("the %s that begins here has no vertex %d: number its %d rows from 0 without a gap", m.Structure, i, len(d.points))}
			}
			m.Points = append(m.Points, v.at)
		}
		if m.Origin == "" {
			m.Origin = ByHand
		}
		info, _ := Info(m.Structure)
		if text := info.count(m); text != "" {
			return nil, &problem{line: d.line, text: text}
		}
		out = append(out, m)
	}
	return out, nil
}
