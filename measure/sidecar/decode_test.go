package sidecar

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/placement"
)

// What a report cannot keep is refused with one line that names it.
func TestEncodeRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(r *Report)
		words []string
	}{
		"no image":        {func(r *Report) { r.Images = nil }, []string{"no image"}},
		"no observer":     {func(r *Report) { r.Book.Observer = " " }, []string{"who marked"}},
		"never saved":     {func(r *Report) { r.SOPInstance = "" }, []string{"never saved"}},
		"two studies":     {func(r *Report) { r.Images[1].Study = "1.2.3" }, []string{"different patients or studies"}},
		"two patients":    {func(r *Report) { r.Images[1].PatientID = "other" }, []string{"different patients or studies"}},
		"image twice":     {func(r *Report) { r.Images[1] = r.Images[0] }, []string{"twice"}},
		"no class":        {func(r *Report) { r.Images[1].SOPClass = "" }, []string{"not a UID"}},
		"unknown image":   {func(r *Report) { r.Book.Marks[0].Frame.Instance = "1.2.3" }, []string{"ventral-margin", "1.2.3", "not one of the case"}},
		"frame too high":  {func(r *Report) { r.Book.Marks[3].Frame.Last = 25 }, []string{"needle N2", "5-25", "24"}},
		"frame 0":         {func(r *Report) { r.Book.Marks[3].Frame.First = 0 }, []string{"needle N2"}},
		"outside":         {func(r *Report) { r.Book.Marks[0].Points[3].X = 1024.5 }, []string{"ventral-margin", "point 3", "1024.5", "outside"}},
		"not a number":    {func(r *Report) { r.Book.Marks[0].Points[3].Y = math.NaN() }, []string{"point 3", "outside"}},
		"no points":       {func(r *Report) { r.Book.Marks[0].Points = nil }, []string{"0 points"}},
		"too many points": {func(r *Report) { r.Book.Marks[0].Points = make([]r2.Vec, maxPointsMark+1) }, []string{"8001 points"}},
		"no tracking":     {func(r *Report) { r.Book.Marks[0].UID = "x" }, []string{"tracking UID"}},
		"no structure":    {func(r *Report) { r.Book.Marks[0].Structure = "" }, []string{"what it is"}},
		"infinite":        {func(r *Report) { r.Placement.Results[0].Value = math.Inf(1) }, []string{"Depth"}},
		"no unit":         {func(r *Report) { r.Placement.Results[0].Unit = "cm" }, []string{"N1 tip-depth-along-needle", "cm"}},
		"no quantity":     {func(r *Report) { r.Placement.Results[0].Quantity = "" }, []string{"what it is"}},
		"control":         {func(r *Report) { r.Book.Marks[0].Detail = "a\x1b[2J" }, []string{"control characters"}},
		"not UTF-8":       {func(r *Report) { r.Placement.Cautions[0] = "\xff" }, []string{"cautions"}},
		"empty note":      {func(r *Report) { r.Placement.Results[2].Notes[0] = "" }, []string{"N2"}},
		"year":            {func(r *Report) { r.Book.Statements[0].When = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) }, []string{"10000"}},
		"predecessor":     {func(r *Report) { r.Predecessors = []string{"x"} }, []string{"predecessor"}},
		"revision":        {func(r *Report) { r.Issued = 9 }, []string{"revision 4"}},
	} {
		t.Run(name, func(t *testing.T) {
			r := sample()
			c.spoil(&r)
			_, err := Encode(r)
			wants(t, err, imaging.ErrBadInput, c.words...)
		})
	}
}

// A name that PN cannot hold comes back as it was entered.
func TestObserversNames(t *testing.T) {
	for _, name := range []string{"Observer A", `A\B`, "A=B", "A^B", strings.Repeat("é", 80), " spaced ", "О. Ж. 観察者", "=\\^"} {
		r := sample()
		r.Book.Observer = name
		r.Book.Statements[0].Observer = name
		doc, err := Encode(r)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Decode(doc)
		if err != nil || got.Book.Observer != name || got.Book.Statements[0].Observer != name {
			t.Errorf("%q came back as %q, %q (%v)", name, got.Book.Observer, got.Book.Statements[0].Observer, err)
		}
		if v := Check(doc); len(v) > 0 {
			t.Errorf("%q: %v", name, v)
		}
	}
}

// Identity is the images' own: neither file names nor anything else of this
// machine is in the report.
func TestNoIdentityBeyondTheImages(t *testing.T) {
	r := sample()
	for _, h := range r.Images {
		h.File, h.Institution, h.Manufacturer = "/home/reader/SMITH_JOHN.dcm", "Some Hospital", "Some Maker"
	}
	r.Placement.Films[0].Film.File = "SMITH_JOHN.dcm"
	doc, err := Encode(r)
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"SMITH", "reader", "Some Hospital", "Some Maker"} {
		if bytes.Contains(doc, []byte(word)) {
			t.Errorf("the report holds %q", word)
		}
	}
}

// Laterality (PS3.16 TID 300 row 6) and the level at the site are said of a
// confirmed side and level alone.
func TestLateralityOnlyWhileConfirmed(t *testing.T) {
	r := sample()
	for i := range r.Placement.Results {
		r.Placement.Results[i].SideConfirmed, r.Placement.Results[i].LevelConfirmed = false, false
	}
	doc, err := Encode(r)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []code{laterality, siteModifier, lateralLeft, lateralRight} {
		if bytes.Contains(doc, []byte(`"`+c.value+`"`)) {
			t.Errorf("%v is in a report without a confirmed side", c)
		}
	}
	doc, _ = Encode(sample())
	if n := bytes.Count(doc, []byte(`"272741003"`)); n != 2 { // both results of N1, none of N2
		t.Errorf("%d lateralities, want 2", n)
	}
}

// What Decode does not understand it refuses rather than drops.
func TestDecodeRefusesWhatItWouldDrop(t *testing.T) {
	doc, err := Encode(sample())
	if err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(root node){
		"attribute of a newer version": func(root node) { root["00081030"] = node{"vr": "LO", "Value": []any{"Other", "Two"}} },
		"private attribute":            func(root node) { root["00091001"] = node{"vr": "LO", "Value": []any{"x"}} },
		"item of a newer version": func(root node) {
			it, parent := search(root, byConcept("record"))
			set(parent, "0040A730", append(values(parent, "0040A730"), it)...)
		},
		"a meaning changed": func(root node) {
			it, _ := search(root, byConcept("record"))
			set(values(it, "0040A043")[0].(node), "00080104", "Sort of record")
		},
		"a number changed in its decimals alone": func(root node) {
			it, _ := search(root, byConcept("371884006"))
			set(values(it, "0040A300")[0].(node), "0040A30A", json.Number("1.40"))
		},
		"a caution taken out": func(root node) {
			it, parent := search(root, byConcept("purpose"))
			drop(it, parent)
		},
	} {
		t.Run(name, func(t *testing.T) {
			root := parsed(t, doc)
			spoil(root)
			broken, _ := json.Marshal(root)
			if _, err := Decode(broken); !errors.Is(err, imaging.ErrBadInput) {
				t.Errorf("decoded: %v", err)
			}
		})
	}
	// Only how it is written may differ: spaces and the order of names.
	var b bytes.Buffer
	json.Indent(&b, doc, "", "  ")
	if _, err := Decode(b.Bytes()); err != nil {
		t.Errorf("indented: %v", err)
	}
}

// FuzzDecode splices a text into a report in place of some of its bytes:
// whatever comes of it gives a report that is written again as it was read, or
// an error, and Check does not fall over it. The corpus stands in testdata.
func FuzzDecode(f *testing.F) {
	small := sample()
	small.Book.Marks, small.Book.Statements = small.Book.Marks[1:2], small.Book.Statements[:1]
	small.Placement = placement.Placement{Results: small.Placement.Results[:1], Films: small.Placement.Films[:1]}
	whole, err := Encode(small)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(uint(0), uint(0), "")
	f.Add(uint(0), uint(1<<20), `{"00080016":{"vr":"UI","Value":["1.2.840.10008.5.1.4.1.1.88.33"]}}`)
	for _, cut := range []uint{1, 17, 300, 1 << 20} {
		f.Add(uint(len(whole)/3), cut, `]}`)
	}
	for _, word := range []string{`"CONTAINER"`, `"NUM"`, `"SCOORD"`, `"rec-mark"`, `"1.4"`, `"00700022":`} {
		if at := bytes.Index(whole, []byte(word)); at >= 0 {
			f.Add(uint(at), uint(len(word)), `"TEXT"`)
			f.Add(uint(at), uint(len(word)), `null`)
		}
	}
	f.Fuzz(func(t *testing.T, at, cut uint, with string) {
		at = min(at, uint(len(whole)))
		doc := append(append(append([]byte{}, whole[:at]...), with...), whole[at+min(cut, uint(len(whole))-at):]...)
		Check(doc)
		r, err := Decode(doc)
		if err != nil {
			if !errors.Is(err, imaging.ErrBadInput) {
				t.Fatalf("error of no kind: %v", err)
			}
			return
		}
		first, err := Encode(r)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Decode(first)
		if err != nil {
			t.Fatal(err)
		}
		if second, _ := Encode(again); !bytes.Equal(first, second) {
			t.Fatal("encoded again it differs")
		}
	})
}

func BenchmarkEncode(b *testing.B) {
	r := sample()
	for b.Loop() {
		if _, err := Encode(r); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDecode(b *testing.B) {
	doc, err := Encode(sample())
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(doc)))
	for b.Loop() {
		if _, err := Decode(doc); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCheck(b *testing.B) {
	doc, err := Encode(sample())
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		Check(doc)
	}
}
