package mark_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
)

const uid1, uid2 = "1.2.826.0.1.3680043.10.543.1", "1.2.826.0.1.3680043.10.543.2"

var headers = []*imaging.Header{
	{File: "films/frontal.dcm", SOPInstance: uid1, Columns: 1024, Rows: 768, Frames: 1},
	{File: "films/lateral.dcm", SOPInstance: uid2, Columns: 1024, Rows: 1024, Frames: 12},
}

func find(name string) (*imaging.Header, bool) {
	for _, h := range headers {
		if name == h.SOPInstance || name == strings.TrimPrefix(h.File, "films/") {
			return h, true
		}
	}
	return nil, false
}

func fileName(uid string) string {
	h, ok := find(uid)
	if !ok {
		return ""
	}
	return strings.TrimPrefix(h.File, "films/")
}

const head = "instance,frame,structure,level,side,object,index,x,y\n"

func read(text string) ([]mark.Mark, error) { return mark.ReadCSV(strings.NewReader(text), find) }

func TestReadCSV(t *testing.T) {
	got, err := read("\ufeff" + `instance,frame,y,x,index,object,side,level,structure,detail,origin,sd` + "\r\n" +
		`lateral.dcm,5-12,30.25,20.5,1,N1,right,S3,needle,,suggested,` + "\r\n" +
		`lateral.dcm,3,1024,0,0,,,,ventral-margin,,,` + "\r\n" +
		`` + "\r\n" +
		uid2 + `,5-12,10.1,20,0,N1,right,S3,needle,,suggested,1.5` + "\r\n" +
		`lateral.dcm,3,2,1.5e2,1,,,,ventral-margin,,,` + "\r\n" +
		`,,,,,,,,,,,` + "\r\n" +
		`lateral.dcm,3,2,1,3,L1,,,contact,1.27,,` + "\r\n" +
		`lateral.dcm,3,2,1,0,L1,,,contact,,changed,` + "\r\n" +
		`"frontal.dcm",1,2,1,0,,left,S3,foramen,arc dorsal,,` + "\r\n" +
		`frontal.dcm,1,3,1,1,,left,S3,foramen, dorsal arc ,,`)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 5 {
		t.Fatalf("%d marks: %+v", len(got), got)
	}
	seen := map[string]bool{}
	for i := range got {
		// UIDs without registration: PS3.5 B.2.
		n, ok := strings.CutPrefix(got[i].UID, "2.25.")
		if _, err := strconv.ParseFloat(n, 64); !ok || err != nil || len(got[i].UID) > 64 || seen[got[i].UID] || strings.HasPrefix(n, "0") {
			t.Errorf("UID %q", got[i].UID)
		}
		seen[got[i].UID] = true
		got[i].UID = ""
	}
	want := []mark.Mark{
		// 10.1 in single precision is 10.1000003814697265625 (IEEE 754 binary32).
		{Frame: mark.FrameRef{Instance: uid2, First: 5, Last: 12}, Structure: mark.Needle, Level: "S3", Side: "right", Object: "N1",
			Points: []r2.Vec{{X: 20, Y: 10.1000003814697265625}, {X: 20.5, Y: 30.25}}, SD: imaging.Known(1.5), Origin: mark.Suggested},
		{Frame: mark.One(uid2, 3), Structure: mark.VentralMargin, Points: []r2.Vec{{X: 0, Y: 1024}, {X: 150, Y: 2}}, Origin: mark.ByHand},
		{Frame: mark.One(uid2, 3), Structure: mark.Contact, Object: "L1", Index: 3, Detail: "1.27", Points: []r2.Vec{{X: 1, Y: 2}}, Origin: mark.ByHand},
		{Frame: mark.One(uid2, 3), Structure: mark.Contact, Object: "L1", Points: []r2.Vec{{X: 1, Y: 2}}, Origin: mark.Changed},
		{Frame: mark.One(uid1, 1), Structure: mark.Foramen, Level: "S3", Side: "left", Detail: "dorsal arc", Points: []r2.Vec{{X: 1, Y: 2}, {X: 1, Y: 3}}, Origin: mark.ByHand},
	}
	for i := range want {
		if !reflect.DeepEqual(got[i], want[i]) {
			t.Errorf("mark %d:\n%+v, want\n%+v", i, got[i], want[i])
		}
	}
}

func TestReadCSVWithoutRows(t *testing.T) {
	if m, err := read(head); err != nil || len(m) != 0 {
		t.Errorf("%v, %v", m, err)
	}
}

func TestCSVKnowsNoNegativeZero(t *testing.T) {
	m, err := read(head + "frontal.dcm,1,promontory,,,,0,-0,-0.0\n")
	if err != nil || math.Signbit(m[0].Points[0].X) || math.Signbit(m[0].Points[0].Y) {
		t.Errorf("%+v, %v", m, err)
	}
	m[0].Points[0].X = math.Copysign(0, -1)
	var b bytes.Buffer
	if err := mark.WriteCSV(&b, m, fileName); err != nil || strings.Contains(b.String(), "-0") {
		t.Errorf("%v: %s", err, b.String())
	}
}

// Every kind of row, one mark each, all of which must be taken.
func TestReadCSVTakes(t *testing.T) {
	for _, rows := range []string{
		"f,1,midline,,midline,,0,1,1\nf,1,midline,,midline,,1,1,2",
		"f,1,si-line,,,,0,1,1\nf,1,si-line,,,,1,1,2",
		"f,1,medial-line,,left,,0,1,1\nf,1,medial-line,,left,,1,1,2\nf,1,medial-line,,right,,0,5,1\nf,1,medial-line,,right,,1,5,2",
		"f,1,fusion-line,,,,0,1,1,S2/S3\nf,1,fusion-line,,,,1,1,2,S2/S3",
		"f,1,fusion-line,S3,,,0,1,1,S2/S3\nf,1,fusion-line,S3,,,1,1,2,S2/S3",
		"f,1,promontory,,,,0,1,1", "f,1,coccyx-tip,,,,0,1,1",
		"f,1,sciatic-notch,,left,,0,1,1\nf,1,sciatic-notch,,right,,0,1,1",
		"f,1,sciatic-notch,,,,0,1,1,first\nf,1,sciatic-notch,,,,0,1,1,second",
		"f,1,wire,,,W1,0,1,1\nf,1,wire,,,W1,1,1,2", "f,1,lead,,,L1.2,0,1,1\nf,1,lead,,,L1.2,1,1,2",
		"f,1,known-length,,,,0,1,1,10\nf,1,known-length,,,,1,1,2,10", "f,1,known-length,,,N1,0,1,1,8.89\nf,1,known-length,,,N1,1,1,2,8.89",
		"f,1,foramen,S3,left,,0,1,1\nf,1,foramen,S3,left,,1,1,2\nf,1,foramen,S3,left,,2,2,2",
		"f,1,skin-line,,,,0,0,0\nf,1,skin-line,,,,1,1024,768", "f,1,promontory,S1,,,0,+1.,.5e1", "f,1,promontory,,,,0,-0,0",
	} {
		text := strings.ReplaceAll(strings.TrimSpace(head)+",detail\n"+rows, "f,", "frontal.dcm,")
		if m, err := read(text); err != nil || len(m) == 0 {
			t.Errorf("%s: %v", rows, err)
		}
	}
}

func TestReadCSVRefuses(t *testing.T) {
	ok := "frontal.dcm,1,midline,,,,0,10,10\nfrontal.dcm,1,midline,,,,1,10,700\n" // lines 2 and 3
	extra := strings.TrimSpace(head) + ",sd,origin,detail\n"
	n1 := "frontal.dcm,1,needle,,,N1,0,5,5,"
	for _, c := range []struct {
		name, text, want string // what the error must say, from its start
	}{
		{"empty", "", "empty"},
		{"no header", ok, `line 1: column "frontal.dcm" is not known`},
		{"unknown column", "instance,frame,structure,level,side,object,index,x,y,z\n", `line 1: column "z" is not known`},
		{"missing column", "instance,frame,structure,level,side,object,index,x\n", "line 1: column y is missing"},
		{"column twice", "instance,frame,structure,level,side,object,index,x,y,x\n", "line 1: column x stands there twice"},
		{"semicolons", "instance;frame;structure;level;side;object;index;x;y\n", "line 1: the columns must be separated by commas"},
		{"UTF-16", "\xff\xfei\x00n\x00", "line 1: not UTF-8"},
		{"Latin-1 on line 3", head + "frontal.dcm,1,midline,,,,0,10,10\nfrontal\xe9.dcm,1,midline,,,,1,10,700\n", "line 3: not UTF-8"},
		{"bare quote", head + ok + "fr\"ontal.dcm,1,midline,,,,0,10,10\n", "line 4: not a row of CSV"},
		{"unended quote", head + ok + "\"frontal.dcm,1,midline,,,,0,10,10\n", "line 4: not a row of CSV"},
		{"too many cells", head + "frontal.dcm,1,midline,,,,0,10,10,7\n", `line 2: "7" stands under no column`},
		{"structure", head + ok + "frontal.dcm,1,Midline,,,,0,10,10\n", `line 4: structure "Midline" is not known: use ventral-margin, dorsal-margin,`},
		{"structure empty", head + "frontal.dcm,1,,,,,0,10,10\n", `line 2: structure "" is not known`},
		{"instance", head + ok + "other.dcm,1,midline,,,,0,10,10\n", `line 4: instance "other.dcm" is not in this case`},
		{"instance empty", head + ",1,midline,,,,0,10,10\n", "line 2: instance is empty"},
		{"instance that writes to the terminal", head + "a\x1b[31m\u202eb.dcm,1,midline,,,,0,10,10\n", `line 2: instance "a\x1b[31m\u202eb.dcm" is not`},
		{"frame 0", head + "lateral.dcm,0,midline,,,,0,10,10\n", `line 2: frame "0" is not a frame number`},
		{"frame -1", head + "lateral.dcm,-1,midline,,,,0,10,10\n", `line 2: frame "-1" is not a frame number`},
		{"frame 1.0", head + "lateral.dcm,1.0,midline,,,,0,10,10\n", `line 2: frame "1.0" is not a frame number`},
		{"frame empty", head + "lateral.dcm,,midline,,,,0,10,10\n", `line 2: frame "" is not a frame number`},
		{"frame as a spreadsheet's date", head + "lateral.dcm,05-Dec,midline,,,,0,10,10\n", `line 2: frame "05-Dec" is not a frame number`},
		{"frame back to front", head + "lateral.dcm,12-5,midline,,,,0,10,10\n", `line 2: frame "12-5" is not a frame number`},
		{"frame outside", head + "frontal.dcm,2,midline,,,,0,10,10\n", "line 2: frame 2 lies outside the instance: it has frames 1 to 1"},
		{"span outside", head + "lateral.dcm,5-13,midline,,,,0,10,10\n", "line 2: frame 5-13 lies outside the instance: it has frames 1 to 12"},
		{"frame beyond counting", head + "lateral.dcm,99999999999999999999,midline,,,,0,10,10\n", "line 2: frame"},
		{"index", head + "frontal.dcm,1,midline,,,,one,10,10\n", `line 2: index "one" is not a vertex number`},
		{"index negative", head + "frontal.dcm,1,midline,,,,-1,10,10\n", `line 2: index "-1" is not a vertex number`},
		{"index huge", head + "frontal.dcm,1,midline,,,,4000000000,10,10\n", `line 2: index "4000000000" is not a vertex number`},
		{"level", head + "frontal.dcm,1,foramen,S6,,,0,10,10\n", `line 2: level "S6" is not known`},
		{"level of a midline", head + "frontal.dcm,1,midline,S3,,,0,10,10\n", "line 2: a midline has no level"},
		{"level of a promontory", head + "frontal.dcm,1,promontory,S2,,,0,10,10\n", "line 2: the promontory is the upper edge of S1"},
		{"side", head + "frontal.dcm,1,foramen,,Left,,0,10,10\n", `line 2: side "Left" is not known`},
		{"side of a margin", head + "frontal.dcm,1,ventral-margin,,left,,0,10,10\n", "line 2: a ventral-margin is not of one side"},
		{"no object", head + "frontal.dcm,1,needle,,,,0,10,10\n", "line 2: a needle needs an object, such as N1"},
		{"object of another kind", head + "frontal.dcm,1,needle,,,L1,0,10,10\n", `line 2: object "L1" cannot have a needle`},
		{"needle with a contact", head + "frontal.dcm,1,contact,,,N1,0,10,10\n", `line 2: object "N1" cannot have a contact`},
		{"object malformed", head + "frontal.dcm,1,needle,,,N,0,10,10\n", `line 2: object "N" is not a device`},
		{"object N0", head + "frontal.dcm,1,needle,,,N0,0,10,10\n", `line 2: object "N0" is not a device`},
		{"object N1.", head + "frontal.dcm,1,needle,,,N1.,0,10,10\n", `line 2: object "N1." is not a device`},
		{"object n1", head + "frontal.dcm,1,needle,,,n1,0,10,10\n", `line 2: object "n1" is not a device`},
		{"object of a landmark", head + "frontal.dcm,1,foramen,S3,,N1,0,10,10\n", "line 2: a foramen belongs to no device"},
		{"x not a number", head + "frontal.dcm,1,midline,,,,0,ten,10\n", `line 2: x "ten" is not a number`},
		{"x empty", head + "frontal.dcm,1,midline,,,,0,,10\n", `line 2: x "" is not a number`},
		{"decimal comma", head + "frontal.dcm,1,midline,,,,0,\"1,5\",10\n", `line 2: x "1,5" is not a number: write it with a decimal point`},
		{"x infinite", head + "frontal.dcm,1,midline,,,,0,inf,10\n", `line 2: x "inf" is not a number`},
		{"x too big for a number", head + "frontal.dcm,1,midline,,,,0,1e999,10\n", `line 2: x "1e999" is not a number`},
		{"y NaN", head + "frontal.dcm,1,midline,,,,0,1,NaN\n", `line 2: y "NaN" is not a number`},
		{"x hexadecimal", head + "frontal.dcm,1,midline,,,,0,0x10,1\n", `line 2: x "0x10" is not a number`},
		{"x outside", head + "frontal.dcm,1,midline,,,,0,1024.5,10\n", "line 2: x 1024.5 lies outside the image: it is 0 to 1024 here"},
		{"x before", head + "frontal.dcm,1,midline,,,,0,-0.5,10\n", "line 2: x -0.5 lies outside the image"},
		{"y outside", head + "frontal.dcm,1,midline,,,,0,10,768.01\n", "line 2: y 768.01"},
		{"y single precision overflow", head + "frontal.dcm,1,midline,,,,0,10,1e300\n", "line 2: a point is not a finite number"},
		{"vertex missing", head + "frontal.dcm,1,midline,,,,0,10,10\nfrontal.dcm,1,midline,,,,2,10,700\n", "line 2: the midline that begins here has no vertex 1"},
		{"no vertex 0", head + ok + "lateral.dcm,1,midline,,,,1,10,10\nlateral.dcm,1,midline,,,,2,10,700\n", "line 4: the midline that begins here has no vertex 0"},
		{"vertex twice", head + ok + "frontal.dcm,1,midline,,,,1,11,700\n", "line 4: vertex 1 of this midline stands on line 3 already"},
		{"vertex twice by file name and UID", head + ok + uid1 + ",1,midline,,,,1,11,700\n", "line 4: vertex 1 of this midline stands on line 3 already"},
		{"contact twice", head + "lateral.dcm,1,contact,,,L1,2,1,1\nlateral.dcm,1,contact,,,L1,2,5,5\n", "line 3: contact 2 of L1 stands on line 2 already"},
		{"one point of a line", head + "frontal.dcm,1,midline,,,,0,10,10\n", "line 2: a midline needs at least 2 points, not 1"},
		{"three points of the sacroiliac line", head + "frontal.dcm,1,si-line,,,,0,10,10\nfrontal.dcm,1,si-line,,,,1,20,10\nfrontal.dcm,1,si-line,,,,2,30,10\n", "line 2: a si-line takes exactly 2 points, not 3"},
		{"two promontories", head + "frontal.dcm,1,promontory,,,,0,10,10\nfrontal.dcm,1,promontory,,,,1,20,10\n", "line 2: a promontory takes exactly 1 point, not 2"},
		{"foramen of two points", head + "frontal.dcm,1,foramen,,,,0,10,10\nfrontal.dcm,1,foramen,,,,1,20,10\n", "line 2: a foramen needs at least 3 points, not 2"},
		{"arc of one point", extra + "frontal.dcm,1,foramen,,,,0,10,10,,,arc\n", "line 2: a foramen arc needs at least 2 points, not 1"},
		{"sd 0", extra + n1 + "0,,\n", `line 2: sd "0" is not a standard deviation`},
		{"sd negative", extra + n1 + "-1,,\n", `line 2: sd "-1" is not a standard deviation`},
		{"sd infinite", extra + n1 + "inf,,\n", `line 2: sd "inf" is not a standard deviation`},
		{"sd differs", extra + n1 + "1,,\n" + "frontal.dcm,1,needle,,,N1,1,5,9,2,,\n", "line 3: sd 2 is not that of this mark's other rows, 1"},
		{"origin", extra + n1 + ",machine,\n", `line 2: origin "machine" is not known`},
		{"origin differs", extra + n1 + ",hand,\n" + "frontal.dcm,1,needle,,,N1,1,5,9,,changed,\n", "line 3: origin changed is not that of this mark's other rows, hand"},
		{"detail of a needle", extra + n1 + ",,long\n", "line 2: a needle has no detail"},
		{"detail of a foramen", extra + "frontal.dcm,1,foramen,,,,0,10,10,,,front\n", `line 2: detail "front" is not known for a foramen`},
		{"foramen dorsal and ventral", extra + "frontal.dcm,1,foramen,,,,0,10,10,,,dorsal ventral\n", `line 2: detail "dorsal ventral" is not known for a foramen`},
		{"fusion line out of step", extra + "frontal.dcm,1,fusion-line,,,,0,10,10,,,S2/S4\n", `line 2: detail "S2/S4" is not known for a fusion-line`},
		{"fusion line of another level", extra + "frontal.dcm,1,fusion-line,S4,,,0,10,10,,,S2/S3\n", "line 2: level S4 does not border the fusion-line S2/S3"},
		{"known length without length", extra + "frontal.dcm,1,known-length,,,,0,10,10,,,\n", `line 2: detail "" of a known-length is not a length in mm`},
		{"known length with unit", extra + "frontal.dcm,1,known-length,,,,0,10,10,,,10 mm\n", `line 2: detail "10 mm" of a known-length is not a length in mm`},
		{"known length 0", extra + "frontal.dcm,1,known-length,,,,0,10,10,,,0\n", `line 2: detail "0" of a known-length`},
		{"contact negative", extra + "lateral.dcm,1,contact,,,L1,2,1,1,,,-3\n", `line 2: detail "-3" of a contact is not a length in mm`},
		{"notch", extra + "lateral.dcm,1,sciatic-notch,,,,0,1,1,,,third\n", `line 2: detail "third" is not known for a sciatic-notch`},
		{"a formula", head + "=1+1,1,midline,,,,0,10,10\n", `line 2: instance "=1+1" is not in this case`},
		{"a very long word", head + "frontal.dcm,1," + strings.Repeat("x", 5000) + ",,,,0,10,10\n", "line 2: structure \"" + strings.Repeat("x", 40) + "…\" is not known"},
		{"a row of two lines", head + "\"frontal\n.dcm\",1,midline,,,,0,10,10\n", `line 2: instance "frontal\n.dcm" is not`},
	} {
		m, err := read(c.text)
		if err == nil || m != nil {
			t.Errorf("%s: taken as %+v", c.name, m)
			continue
		}
		if !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%s: %q, want %q", c.name, err, c.want)
		}
		if !errors.Is(err, imaging.ErrBadInput) {
			t.Errorf("%s: %v is not bad input", c.name, err)
		}
		if strings.ContainsAny(err.Error(), "\n\r\x1b") || len(err.Error()) > 400 {
			t.Errorf("%s: not one short harmless line: %q", c.name, err)
		}
	}
}

func TestReadCSVLimits(t *testing.T) {
	if _, err := read(head + strings.Repeat("frontal.dcm,1,midline,,,,0,10,10"+strings.Repeat(" ", 1000)+"\n", 17000)); !errors.Is(err, imaging.ErrBadInput) || !strings.Contains(err.Error(), "16 MiB") {
		t.Errorf("17 MB: %v", err)
	}
	var b strings.Builder
	b.WriteString(head)
	for i := range 200_001 {
		fmt.Fprintf(&b, "frontal.dcm,1,midline,,,,%d,1,1\n", i)
	}
	if _, err := read(b.String()); !errors.Is(err, imaging.ErrBadInput) || !strings.Contains(err.Error(), "200000 rows") {
		t.Errorf("too many rows: %v", err)
	}
	if _, err := mark.ReadCSV(failing{}, find); !errors.Is(err, os.ErrPermission) {
		t.Errorf("a reader that fails: %v", err)
	}
}

type failing struct{}

func (failing) Read([]byte) (int, error) { return 0, os.ErrPermission }

// book is one mark of every structure and more, in the order they are written.
func book() []mark.Mark {
	p := func(v ...float64) (out []r2.Vec) {
		for i := 0; i < len(v); i += 2 {
			out = append(out, mark.Round(r2.Vec{X: v[i], Y: v[i+1]}))
		}
		return out
	}
	front, lat, span := mark.One(uid1, 1), mark.One(uid2, 3), mark.FrameRef{Instance: uid2, First: 5, Last: 12}
	return []mark.Mark{
		{Frame: front, Structure: mark.Midline, Points: p(512.1, 20, 500.7, 1e-7), Origin: mark.ByHand},
		{Frame: front, Structure: mark.SILine, Points: p(1, 2, 1024, 768), Origin: mark.ByHand},
		{Frame: front, Structure: mark.MedialLine, Side: "left", Points: p(1, 2, 3, 4), Origin: mark.ByHand},
		{Frame: front, Structure: mark.MedialLine, Side: "right", Points: p(1, 2, 3, 4), Origin: mark.ByHand},
		{Frame: front, Structure: mark.Foramen, Level: "S3", Side: "left", Detail: "dorsal", Points: p(1, 2, 3, 4, 5, 6), Origin: mark.Suggested},
		{Frame: front, Structure: mark.Foramen, Level: "S3", Side: "left", Detail: "ventral arc", Points: p(1, 2, 3, 4), Origin: mark.Changed},
		{Frame: front, Structure: mark.Needle, Level: "S3", Side: "left", Object: "N2", Points: p(1.1, 2.2, 3.3, 4.4), SD: imaging.Known(0.123456789012), Origin: mark.ByHand},
		{Frame: front, Structure: mark.Needle, Object: "N2.2", Points: p(1, 2, 3, 4), Origin: mark.ByHand},
		{Frame: front, Structure: mark.Needle, Object: "N10", Points: p(1, 2, 3, 4), Origin: mark.ByHand},
		{Frame: front, Structure: mark.KnownLength, Detail: "12.5", Points: p(1, 2, 3, 4), Origin: mark.ByHand},
		{Frame: lat, Structure: mark.VentralMargin, Points: p(1, 2, 3, 4, 5, 6, 7, 8, 9.99, 10.01), Origin: mark.ByHand},
		{Frame: lat, Structure: mark.DorsalMargin, Points: p(1, 2, 3, 4), Origin: mark.ByHand},
		{Frame: lat, Structure: mark.SkinLine, Points: p(1, 2, 3, 4), Origin: mark.ByHand},
		{Frame: lat, Structure: mark.FusionLine, Detail: "S2/S3", Points: p(1, 2, 3, 4), Origin: mark.ByHand},
		{Frame: lat, Structure: mark.Promontory, Points: p(0, 0), Origin: mark.ByHand},
		{Frame: lat, Structure: mark.CoccyxTip, Points: p(1024, 1024), Origin: mark.ByHand},
		{Frame: lat, Structure: mark.SciaticNotch, Detail: "first", Points: p(1, 2), Origin: mark.ByHand},
		{Frame: lat, Structure: mark.SciaticNotch, Detail: "second", Points: p(1, 2), Origin: mark.ByHand},
		{Frame: lat, Structure: mark.Wire, Object: "W1", Points: p(1, 2, 3, 4), Origin: mark.ByHand},
		{Frame: span, Structure: mark.Lead, Object: "L1", Points: p(1, 2, 3, 4), Origin: mark.ByHand},
		{Frame: span, Structure: mark.Contact, Object: "L1", Index: 0, Detail: "3", Points: p(1, 2), Origin: mark.ByHand},
		{Frame: span, Structure: mark.Contact, Object: "L1", Index: 1, Detail: "3", Points: p(1, 2), Origin: mark.ByHand},
		{Frame: span, Structure: mark.Contact, Object: "L1", Index: 10, Detail: "3", Points: p(1, 2), Origin: mark.ByHand},
	}
}

func TestCSVRoundTrip(t *testing.T) {
	want := book()
	shuffled := book()
	for i := range shuffled { // another order in, the same order out
		j := (i * 7) % len(shuffled)
		shuffled[i], shuffled[j] = shuffled[j], shuffled[i]
	}
	var text bytes.Buffer
	if err := mark.WriteCSV(&text, shuffled, fileName); err != nil {
		t.Fatal(err)
	}
	got, err := read(text.String())
	if err != nil {
		t.Fatalf("%v in\n%s", err, text.String())
	}
	for i := range got {
		got[i].UID = ""
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%+v\nwant\n%+v", got, want)
	}
	var again bytes.Buffer
	if err := mark.WriteCSV(&again, got, fileName); err != nil || again.String() != text.String() {
		t.Errorf("not the same a second time: %v\n%s", err, again.String())
	}
	if !strings.HasPrefix(text.String(), head[:len(head)-1]+",sd,origin,detail\nfrontal.dcm,1,midline,,,,0,512.1,20,,hand,\n") {
		t.Errorf("the table begins %q", text.String()[:120])
	}
}

// Python's own csv module reads the table as we meant it, and its struct module
// rounds to single precision.
func TestCSVReadByPython(t *testing.T) {
	if _, err := os.Stat("/usr/bin/python3"); err != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatal("/usr/bin/python3 is absent: install python3")
		}
		t.Skip("/usr/bin/python3 is absent")
	}
	var text bytes.Buffer
	if err := mark.WriteCSV(&text, book(), fileName); err != nil {
		t.Fatal(err)
	}
	python := exec.Command("/usr/bin/python3", "-c", `
import csv, json, struct, sys
single = lambda s: struct.unpack('<f', struct.pack('<f', float(s)))[0]
rows = list(csv.DictReader(sys.stdin))
assert not any(v[:1] in '=+-@\t\r' for r in rows for v in r.values() if v), 'a cell a spreadsheet would run'
json.dump([[r['instance'], r['frame'], r['structure'], r['object'], r['detail'], int(r['index']), single(r['x']), single(r['y'])] for r in rows], sys.stdout)`)
	python.Stdin = &text
	out, err := python.Output()
	if err != nil {
		t.Fatalf("python3: %v", err)
	}
	var rows [][]any
	if err := json.Unmarshal(out, &rows); err != nil {
		t.Fatal(err)
	}
	for _, m := range book() {
		for i, p := range m.Points {
			if m.Structure == mark.Contact {
				i = m.Index
			}
			want := []any{fileName(m.Frame.Instance), m.Frame.Span(), string(m.Structure), m.Object, m.Detail, float64(i), p.X, p.Y}
			if len(rows) == 0 || !reflect.DeepEqual(rows[0], want) {
				t.Fatalf("python3 reads %v, want %v", rows[:min(1, len(rows))], want)
			}
			rows = rows[1:]
		}
	}
	if len(rows) != 0 {
		t.Errorf("%d rows too many", len(rows))
	}
}

func TestWriteCSVNames(t *testing.T) {
	m := []mark.Mark{{Frame: mark.One(uid1, 1), Structure: mark.Promontory, Points: []r2.Vec{{X: 1, Y: 1}}}}
	for name, want := range map[string]string{
		"": uid1, "IM0001": "IM0001", "a b.dcm": "a b.dcm", `a"b,c.dcm`: `"a""b,c.dcm"`, "Ärzte.dcm": "Ärzte.dcm",
		"=cmd|x": uid1, "＝1": uid1, "+1.dcm": uid1, "-1.dcm": uid1, "@sum.dcm": uid1, "\tx": uid1, "x\r": uid1, " x": uid1, "'x": uid1,
		"00000001": uid1, "1E5": uid1, "a\nb": uid1, "a\x1bb": uid1,
	} {
		var b bytes.Buffer
		if err := mark.WriteCSV(&b, m, func(string) string { return name }); err != nil {
			t.Errorf("%q: %v", name, err)
		}
		_, row, _ := strings.Cut(b.String(), "\n")
		if !strings.HasPrefix(row, want+",1,promontory,") {
			t.Errorf("%q: %q, want it to begin %q", name, row, want)
		}
	}
	// Two instances that share a file name are told apart by UID.
	m = append(m, mark.Mark{Frame: mark.One(uid2, 1), Structure: mark.Promontory, Points: []r2.Vec{{X: 1, Y: 1}}})
	var b bytes.Buffer
	if err := mark.WriteCSV(&b, m, func(string) string { return "IM1" }); err != nil || strings.Contains(b.String(), "IM1") {
		t.Errorf("%v, %s", err, b.String())
	}
}

func TestWriteCSVRefuses(t *testing.T) {
	good := func() mark.Mark { return needleOn(mark.One(uid1, 1)) }
	for name, spoil := range map[string]func(*mark.Mark){
		"structure":        func(m *mark.Mark) { m.Structure = "thread" },
		"no object":        func(m *mark.Mark) { m.Object = "" },
		"one point":        func(m *mark.Mark) { m.Points = m.Points[:1] },
		"no frame":         func(m *mark.Mark) { m.Frame = mark.FrameRef{} },
		"frame 0":          func(m *mark.Mark) { m.Frame.First = 0 },
		"negative":         func(m *mark.Mark) { m.Points[0].X = -1 },
		"level":            func(m *mark.Mark) { m.Level = "=1" },
		"origin":           func(m *mark.Mark) { m.Origin = "=1" },
		"detail":           func(m *mark.Mark) { m.Detail = "=1" },
		"sd":               func(m *mark.Mark) { m.SD = imaging.Known(-1) },
		"UID of a formula": func(m *mark.Mark) { m.Frame.Instance = "=1+1" },
	} {
		m := good()
		spoil(&m)
		var b bytes.Buffer
		err := mark.WriteCSV(&b, []mark.Mark{good(), m}, func(string) string { return "" })
		if !errors.Is(err, imaging.ErrBadInput) || b.Len() > 0 {
			t.Errorf("%s: %v, %d bytes written", name, err, b.Len())
		}
	}
	if err := mark.WriteCSV(&bytes.Buffer{}, []mark.Mark{good(), good()}, fileName); err == nil || !strings.Contains(err.Error(), `"frontal.dcm", frame 1: needle "N1" stands there twice`) {
		t.Errorf("two alike: %v", err)
	}
	if err := mark.WriteCSV(full{}, []mark.Mark{good()}, fileName); !errors.Is(err, os.ErrClosed) {
		t.Errorf("a writer that fails: %v", err)
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, os.ErrClosed }

func needleOn(f mark.FrameRef) mark.Mark {
	return mark.Mark{Frame: f, Structure: mark.Needle, Object: "N1", Points: []r2.Vec{{X: 1, Y: 1}, {X: 2, Y: 2}}}
}

func FuzzReadCSV(f *testing.F) {
	var text bytes.Buffer
	if err := mark.WriteCSV(&text, book(), fileName); err != nil {
		f.Fatal(err)
	}
	f.Add(text.Bytes())
	f.Add([]byte("\ufeff" + head + "frontal.dcm,1,si-line,,,,1,20,10\r\n\"frontal.dcm\",1,si-line,,,,0,1e1,.5\r\n,,,\r\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		marks, err := mark.ReadCSV(bytes.NewReader(text), find)
		if err != nil {
			if !errors.Is(err, imaging.ErrBadInput) || strings.ContainsAny(err.Error(), "\n\r\x1b") {
				t.Fatalf("not one harmless line of bad input: %q", err)
			}
			return
		}
		for i, m := range marks {
			h, ok := find(m.Frame.Instance)
			if !ok || m.Frame.First < 1 || m.Frame.Last < m.Frame.First || m.Frame.Last > h.Frames {
				t.Fatalf("on no frame: %+v", m)
			}
			if err := m.Check(h.Columns, h.Rows); err != nil {
				t.Fatalf("taken, but %v: %+v", err, m)
			}
			marks[i].UID = ""
		}
		var out bytes.Buffer
		if err := mark.WriteCSV(&out, marks, fileName); err != nil {
			t.Fatalf("cannot be written again: %v", err)
		}
		again, err := mark.ReadCSV(&out, find)
		if err != nil || len(again) != len(marks) {
			t.Fatalf("cannot be read again: %v", err)
		}
		for _, m := range again {
			m.UID = ""
			found := false
			for _, o := range marks {
				found = found || reflect.DeepEqual(m, o)
			}
			if !found {
				t.Fatalf("changed on the way: %+v", m)
			}
		}
	})
}
