package table

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

	"leadline/imaging"
)

// Limits of a table: far above any case, far below what would hurt.
const (
	maxBytes = 16 << 20
	maxRows  = 200_000
)

// Fault is something wrong with a line of a table. It wraps imaging.ErrBadInput.
type Fault struct {
	Line int // from 1; 0: of the table as a whole
	What string
}

func (f *Fault) Error() string {
	if f.Line > 0 {
		return fmt.Sprintf("line %d: %s", f.Line, f.What)
	}
	return f.What
}

func (f *Fault) Unwrap() error { return imaging.ErrBadInput }

// Row is one row of a table.
type Row struct {
	Line  int
	cells map[string]string
}

// Cell is the text under the column, without blanks around it; empty where the
// table has no such column.
func (r Row) Cell(column string) string { return r.cells[column] }

// Fault says what is wrong with the row.
func (r Row) Fault(format string, args ...any) error {
	return &Fault{r.Line, fmt.Sprintf(format, args...)}
}

// Read hands every row that is not blank to do. The first row must name columns of
// those given, the first few of which are required; they may come in any order. It
// stops at the first error. What is wrong with the table gives a Fault with its
// line.
func Read(r io.Reader, columns []string, required int, do func(Row) error) error {
	text, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		return err
	}
	if len(text) > maxBytes {
		return &Fault{0, fmt.Sprintf("more than %d MiB: not a table of this kind", maxBytes>>20)}
	}
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	for i := 0; i < len(text); {
		c, n := utf8.DecodeRune(text[i:])
		if c == utf8.RuneError && n == 1 {
			return &Fault{1 + bytes.Count(text[:i], []byte("\n")), "not UTF-8 text: save the table as CSV in UTF-8"}
		}
		i += n
	}
	in := csv.NewReader(bytes.NewReader(text))
	in.FieldsPerRecord = -1
	in.ReuseRecord = true
	names, err := header(in, columns, required)
	if err != nil {
		return err
	}
	for n := 0; ; n++ {
		record, err := in.Read()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return malformed(err)
		}
		line, _ := in.FieldPos(0)
		row := Row{Line: line, cells: map[string]string{}}
		filled := false
		for i, c := range record {
			c = strings.TrimSpace(c)
			filled = filled || c != ""
			switch {
			case i < len(names) && names[i] != "":
				row.cells[names[i]] = Text(c)
			case c != "":
				return row.Fault("%s stands under no column", Quote(c))
			}
		}
		switch {
		case n >= maxRows:
			return row.Fault("more than %d rows: not a table of this kind", maxRows)
		case !filled:
			continue
		}
		if err := do(row); err != nil {
			return err
		}
	}
}

// header reads the names of the columns, in the order of the fields.
func header(in *csv.Reader, columns []string, required int) ([]string, error) {
	record, err := in.Read()
	if err == io.EOF {
		return nil, &Fault{0, "empty: the first row must name the columns " + strings.Join(columns, ",")}
	}
	if err != nil {
		return nil, malformed(err)
	}
	var names []string
	for i, c := range record {
		name := strings.TrimSpace(c)
		switch {
		case name == "" && i > 0: // a spreadsheet's empty column
		case !slices.Contains(columns, name) && len(record) == 1 && strings.ContainsAny(name, ";\t"):
			return nil, &Fault{1, "the columns must be separated by commas"}
		case !slices.Contains(columns, name):
			return nil, &Fault{1, fmt.Sprintf("column %s is not known: use %s", Quote(name), strings.Join(columns, ","))}
		case slices.Contains(names, name):
			return nil, &Fault{1, "column " + name + " stands there twice"}
		}
		names = append(names, name)
	}
	for _, name := range columns[:required] {
		if !slices.Contains(names, name) {
			return nil, &Fault{1, "column " + name + " is missing: the first row must name it"}
		}
	}
	return names, nil
}

func malformed(err error) error {
	var p *csv.ParseError
	if errors.As(err, &p) {
		return &Fault{p.Line, fmt.Sprintf("not a row of CSV (%v): check the quotation marks", p.Err)}
	}
	return err
}

// Quote puts a cell's text into a message: short, and with nothing in it that a
// terminal obeys.
func Quote(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		s = string(r[:most]) + "…"
	}
	return strconv.QuoteToGraphic(s)
}

// Write writes the rows under the columns, each cell made safe by Cell.
func Write(w io.Writer, columns []string, rows [][]string) error {
	var out bytes.Buffer
	table := csv.NewWriter(&out)
	for _, row := range append([][]string{columns}, rows...) {
		cells := make([]string, len(row))
		for i, c := range row {
			cells[i] = Cell(c)
		}
		if err := table.Write(cells); err != nil {
			return err
		}
	}
	table.Flush()
	if err := table.Error(); err != nil {
		return err
	}
	_, err := w.Write(out.Bytes())
	return err
}
