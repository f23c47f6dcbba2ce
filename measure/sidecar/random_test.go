package sidecar

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/operation"
	"leadline/measure/placement"
	"leadline/measure/response"
	"leadline/measure/scale"
)

func TestMain(m *testing.M) {
	verifySaves = true // every save of every test is checked against the templates
	os.Exit(m.Run())
}

// chance builds random reports: any text, any finite number, any mix of what is
// given and what is not, known words and unknown ones.
type chance struct {
	*rand.Rand
	// filed keeps to what survives in a file: texts that end without white
	// space, which a file cannot tell from the
	// padding of a value (PS3.5 6.2).
	filed bool
}

func random(seed, stream uint64) chance { return chance{Rand: rand.New(rand.NewPCG(seed, stream))} }

func (c chance) some(p float64) bool { return c.Float64() < p }

func (c chance) text() string {
	if c.some(0.3) {
		return ""
	}
	return c.line()
}

func (c chance) line() string {
	letters := []rune(`abcXYZ 0189.,:;'"\^=/<>&%+-ÅéñØ中文русскийעברית😀` + "\n")
	n := 1 + c.IntN(80)
	out := make([]rune, n)
	for i := range out {
		out[i] = letters[c.IntN(len(letters))]
	}
	if c.filed {
		return strings.TrimSpace(string(out)) + "."
	}
	return string(out)
}

func (c chance) lines() []string {
	var out []string
	for range c.IntN(3) {
		out = append(out, c.line())
	}
	return out
}

func (c chance) number() float64 {
	switch c.IntN(6) {
	case 0:
		return 0
	case 1:
		return float64(c.IntN(2000) - 1000)
	case 2:
		return math.Ldexp(c.Float64()-0.5, c.IntN(1800)-900)
	}
	return (c.Float64() - 0.5) * 200
}

func pick[T any](c chance, from ...T) T { return from[c.IntN(len(from))] }

func (c chance) side() mark.Side { return pick[mark.Side](c, "", "left", "right", "midline") }
func (c chance) level() mark.Level {
	return pick[mark.Level](c, "", "S1", "S2", "S3", "S4", "S5")
}
func (c chance) edge() imaging.Edge {
	return pick[imaging.Edge](c, "", "left", "right", "top", "bottom")
}
func (c chance) when() time.Time {
	t := time.Unix(c.Int64N(4e9), 1000*c.Int64N(1e6))
	if c.some(0.5) {
		return t.UTC()
	}
	return t.In(time.FixedZone("", pick(c, 3600, -12600, 7200, 45900)))
}

func (c chance) images() []*imaging.Header {
	base := imaging.Header{
		Study: newUIDOf(c), PatientName: pick(c, "", "PRACTICE^CASE", "Übung^Fall=練習^例"),
		PatientID: pick(c, "", "P-1"), PatientBirthDate: pick(c, "", "19600229"), PatientSex: pick(c, "", "M", "F", "O"),
		StudyDate: pick(c, "", "20250314"), StudyTime: pick(c, "", "09", "0915", "091501", "091501.25"), StudyID: pick(c, "", "7"),
		AccessionNumber: pick(c, "", "A7"), StudyDescription: pick(c, "", "Practice"), ReferringName: pick(c, "", "Doe^J"),
	}
	var out []*imaging.Header
	series := []string{newUIDOf(c), newUIDOf(c)}
	for range 1 + c.IntN(4) {
		h := base
		h.SOPInstance, h.Series = newUIDOf(c), pick(c, series...)
		h.Modality = pick(c, "", "XA", "RF", "CR", "DX", "OT", "ZZ")
		h.SOPClass, h.Frames = "1.2.840.10008.5.1.4.1.1.12.1", pick(c, 1, 1, 12, 300) // XA
		if c.some(0.3) {
			h.SOPClass, h.Frames = "1.2.840.10008.5.1.4.1.1.7", 1 // Secondary Capture
		}
		h.Columns, h.Rows = 16+c.IntN(2000), 16+c.IntN(2000)
		out = append(out, &h)
	}
	return out
}

// newUIDOf is a UID from the test's own randomness.
func newUIDOf(c chance) string { return derivedUID(fmt.Sprint(c.Uint64(), c.Uint64())) }

func (c chance) frame(images []*imaging.Header) mark.FrameRef {
	h := images[c.IntN(len(images))]
	f := mark.One(h.SOPInstance, 1+c.IntN(h.Frames))
	if c.some(0.3) {
		f.Last = f.First + c.IntN(h.Frames-f.First+1)
	}
	return f
}

func (c chance) mark(images []*imaging.Header) mark.Mark {
	m := mark.Mark{
		UID: newUIDOf(c), Frame: c.frame(images), Level: c.level(), Side: c.side(),
		Structure: pick(c, mark.VentralMargin, mark.Needle, mark.Foramen, mark.Foramen, mark.Contact, mark.KnownLength,
			mark.Promontory, mark.SILine, mark.CoccyxTip, mark.Wire, mark.Lead, mark.Structure("new-structure")),
		Object: pick(c, "", "N1", "L1", "N1.2"), Detail: pick(c, "", "12.5", "dorsal", "dorsal arc", "S2/S3", c.line()),
		Index: pick(c, 0, 0, 3), Origin: pick(c, mark.ByHand, mark.Suggested, mark.Changed, mark.Origin("")), History: c.lines(),
	}
	if c.some(0.3) {
		m.SD = imaging.Known(c.Float64())
	}
	var film *imaging.Header
	for _, h := range images {
		if h.SOPInstance == m.Frame.Instance {
			film = h
		}
	}
	for range 1 + c.IntN(14) {
		p := mark.Round(r2.Vec{X: c.Float64() * float64(film.Columns), Y: c.Float64() * float64(film.Rows)})
		m.Points = append(m.Points, pick(c, p, p, p, r2.Vec{X: float64(film.Columns), Y: float64(film.Rows)}, r2.Vec{}))
	}
	return m
}

func (c chance) basis() mark.Basis {
	return pick(c, "", mark.Stated, mark.LeadMarker, mark.TheatreRecord, mark.KnownNeedle, mark.CountedAbove,
		mark.CountedBelow, mark.LateralLandmarks, mark.SILineOnly)
}

func (c chance) statement(images []*imaging.Header) mark.Statement {
	s := mark.Statement{
		Observer: pick(c, "", c.line()), Object: pick(c, "", "N2"), View: pick(c, "", imaging.Frontal, imaging.Lateral, imaging.Oblique),
		Cranial: c.edge(), PatientLeft: c.edge(), Side: c.side(), SideBasis: c.basis(), Level: c.level(), LevelBasis: c.basis(),
		Transitional: pick(c, "", "yes", "no", "not-seen"),
	}
	if c.some(0.7) {
		s.When = c.when()
	}
	if c.some(0.5) {
		s.Frame = c.frame(images)
	}
	return s
}

func (c chance) film(images []*imaging.Header) placement.FilmReading {
	f := placement.FilmReading{
		Film: placement.Film{Ref: c.frame(images), Time: c.text()},
		View: pick(c, "", imaging.Frontal, imaging.Lateral), ViewSource: c.text(),
		Cranial: c.edge(), CranialSource: c.text(), CranialConflict: c.text(),
		PatientLeft: c.edge(), LeftSource: c.text(), LeftConfirmed: c.some(0.5), LeftConflict: c.text(),
		Scale: scale.Scale{
			Row: c.number(), Column: c.number(), Known: c.some(0.5), Source: c.text(),
			Plane:    pick(c, scale.NoPlane, scale.FieldCentre, scale.KnownLength, scale.Calibrated, scale.DetectorPlane, scale.UnknownPlane, "other plane"),
			Relative: c.number(), PlaneOffset: c.number(), MaxMagnification: c.number(), SourceToPlane: c.number(),
			Conflicts: c.lines(), Because: c.text(),
		},
	}
	for _, h := range images {
		if h.SOPInstance == f.Film.Ref.Instance {
			f.Film.Header = h
		}
	}
	for range c.IntN(4) {
		if f.Points == nil {
			f.Points = map[string]placement.Point{}
		}
		f.Points[c.line()] = placement.Point{X: c.number(), Y: c.number()}
	}
	return f
}

func (c chance) result(images []*imaging.Header) placement.Result {
	r := placement.Result{
		Object: pick(c, "", "N1", "N1", "L1"), Quantity: pick(c, "tip-depth-along-needle", "insertion-angle-chord", "crossing", "new-quantity"),
		Plane: pick(c, "", "frontal", "lateral", "both", "elsewhere"), Value: c.number(), Unit: pick(c, "mm", "deg", "px", "1"),
		Side: c.side(), SideSource: c.text(), SideConfirmed: c.some(0.5), Level: c.level(), LevelSource: c.text(), LevelConfirmed: c.some(0.5),
		Class: c.text(), Contact: pick(c, -1, 0, 3), Of: c.text(), Scale: c.text(), Magnified: c.some(0.3), Notes: c.lines(),
	}
	if r.HasU = c.some(0.7); r.HasU {
		r.U95 = math.Abs(c.number())
		r.Lo, r.Hi = r.Value-r.U95, r.Value+r.U95
		if c.some(0.4) {
			r.Lo, r.Hi = c.number(), c.number()
		}
	}
	for range c.IntN(3) {
		r.Frames = append(r.Frames, c.frame(images))
	}
	for range c.IntN(4) {
		if r.Budget == nil {
			r.Budget = map[string]float64{}
		}
		r.Budget[pick(c, "marking", "scale", "rotation", c.line())] = c.number()
	}
	return r
}

func (c chance) report() Report {
	r := Report{Images: c.images(), Revision: 1 + c.IntN(50), SOPInstance: newUIDOf(c), Created: c.when(), Changed: c.when()}
	if c.some(0.3) {
		r.Issued = 1 + c.IntN(r.Revision)
	}
	for range c.IntN(3) {
		r.Predecessors = append(r.Predecessors, newUIDOf(c))
	}
	r.Book.Observer = "Observer " + c.line()
	for range c.IntN(8) {
		r.Book.Marks = append(r.Book.Marks, c.mark(r.Images))
	}
	for range c.IntN(5) {
		r.Book.Statements = append(r.Book.Statements, c.statement(r.Images))
	}
	for range c.IntN(4) {
		r.Responses = append(r.Responses, c.test())
	}
	if c.some(0.7) {
		r.Operation = c.operation()
	}
	p := &r.Placement
	for range c.IntN(4) {
		p.Films = append(p.Films, c.film(r.Images))
	}
	for range c.IntN(4) {
		p.Devices = append(p.Devices, placement.Device{
			Object: c.text(), Kind: pick(c, mark.Needle, mark.Lead, mark.Wire, ""), Side: c.side(), SideSource: c.text(),
			SideConfirmed: c.some(0.5), SideConflict: c.text(), Level: c.level(), LevelSource: c.text(),
			LevelConfirmed: c.some(0.5), LevelConflict: c.text(),
		})
	}
	for range c.IntN(8) {
		p.Results = append(p.Results, c.result(r.Images))
	}
	for range c.IntN(4) {
		p.Missing = append(p.Missing, placement.Missing{Object: c.text(), Quantity: pick(c, "", "lead-bend", "new-quantity"), Because: c.text()})
	}
	p.Cautions = c.lines()
	return r
}

// test is one that Check passes.
func (c chance) test() response.Test {
	for {
		t := response.Test{Object: pick(c, "N1", "N1.2", "W1", "L1"), Contact: -1, Unit: pick(c, "mA", "V"), Polarity: pick(c, "", "0- case+", "needle- pad+"),
			State: pick(c, "", response.Awake, response.Sedated, response.Relaxed), Root: c.level(), Note: strings.TrimSpace(strings.ReplaceAll(c.text(), "\n", " "))}
		if t.Object == "L1" {
			t.Contact = c.IntN(4)
		}
		for _, k := range response.Kinds() {
			t.Put(k, pick(c, response.Threshold{}, response.At(0.05+c.Float64()*9), response.NoneUpTo(1+c.Float64())))
		}
		for _, n := range []*imaging.Number{&t.PulseWidth, &t.Rate, &t.Evoked} {
			*n = pick(c, imaging.Number{}, imaging.Known(1+200*c.Float64()))
		}
		for _, m := range response.Motors() {
			if c.some(0.2) {
				t.Motor = append(t.Motor, m)
			}
		}
		for _, s := range response.Sensations() {
			if c.some(0.2) {
				t.Sensation = append(t.Sensation, s)
			}
		}
		if t.Check() == nil {
			return t
		}
	}
}

// operation fills some of the fields, each by its form.
func (c chance) operation() operation.Record {
	r := operation.Record{}
	for _, f := range operation.Fields() {
		if c.some(0.4) {
			continue
		}
		value := ""
		switch f.Form {
		case operation.OneOf:
			value = pick(c, pick(c, f.Terms...).Word, "other: words, of no list")
		case operation.SeveralOf:
			value = pick(c, f.Terms[0].Word, f.Terms[1].Word+" "+f.Terms[0].Word, "other: = of no list")
		case operation.Whole:
			value = fmt.Sprint(c.IntN(100))
		case operation.Impedances:
			value = pick(c, "0:812", "3:900 0:812 1:790")
		case operation.Dose:
			value = fmt.Sprintf("%.3f %s", c.Float64()*100, pick(c, f.Units...))
			if f.Units[0] == "1" {
				value = fmt.Sprint(c.IntN(50))
			}
		default:
			value = strings.ReplaceAll(c.line(), "\n", " ") + "."
		}
		if err := r.Set(f.Name, value); err != nil {
			panic(err)
		}
	}
	if len(r) == 0 {
		return nil
	}
	return r
}

// TestRandomReportsLeaveNothingOut guards the generator: every field of every
// type of the report is at some time not empty, but those the report leaves to
// the images.
func TestRandomReportsLeaveNothingOut(t *testing.T) {
	left := map[string]bool{
		"Film.File": true, "Film.Geometry": true,
		// Computed anew from the marks wherever they are wanted.
		"Placement.Positions": true, "Placement.Identities": true,
	}
	filled := map[string]bool{}
	var fields []string
	var visit func(v reflect.Value)
	visit = func(v reflect.Value) {
		switch v.Kind() {
		case reflect.Struct:
			if v.Type().PkgPath() == "time" || v.Type() == reflect.TypeFor[imaging.Header]() {
				return
			}
			for i := range v.NumField() {
				name := v.Type().Name() + "." + v.Type().Field(i).Name
				if left[name] {
					continue
				}
				if _, known := filled[name]; !known {
					fields = append(fields, name)
				}
				filled[name] = filled[name] || !v.Field(i).IsZero()
				visit(v.Field(i))
			}
		case reflect.Slice:
			for i := range v.Len() {
				visit(v.Index(i))
			}
		case reflect.Map:
			for _, k := range v.MapKeys() {
				visit(v.MapIndex(k))
			}
		}
	}
	c := random(3, 1)
	for range 200 {
		visit(reflect.ValueOf(c.report()))
	}
	for _, f := range fields {
		if !filled[f] {
			t.Errorf("%s is never filled by the generator: the round trip does not test it", f)
		}
	}
}

// TestRoundTrip: what is decoded is what was encoded, and encoding it again
// gives the same bytes, for reports of every shape.
func TestRoundTrip(t *testing.T) {
	for seed := range uint64(100) {
		r := random(seed, 7).report()
		doc, err := Encode(r)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if v := Check(doc); len(v) > 0 {
			t.Fatalf("seed %d: Check of an encoded report: %v", seed, v)
		}
		got, err := Decode(doc)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if !reflect.DeepEqual(got, r) {
			t.Fatalf("seed %d: decoded report differs\n%s", seed, difference("", reflect.ValueOf(got), reflect.ValueOf(r)))
		}
		again, err := Encode(got)
		if err != nil || string(again) != string(doc) {
			t.Fatalf("seed %d: encoded again it differs (%v)", seed, err)
		}
	}
}

// difference names the first field in which two values differ.
func difference(path string, a, b reflect.Value) string {
	if reflect.DeepEqual(a.Interface(), b.Interface()) {
		return ""
	}
	switch a.Kind() {
	case reflect.Struct:
		for i := range a.NumField() {
			if !a.Type().Field(i).IsExported() {
				continue
			}
			if d := difference(path+"."+a.Type().Field(i).Name, a.Field(i), b.Field(i)); d != "" {
				return d
			}
		}
	case reflect.Slice:
		for i := range min(a.Len(), b.Len()) {
			if d := difference(fmt.Sprintf("%s[%d]", path, i), a.Index(i), b.Index(i)); d != "" {
				return d
			}
		}
	case reflect.Pointer:
		if !a.IsNil() && !b.IsNil() {
			return difference(path, a.Elem(), b.Elem())
		}
	}
	return fmt.Sprintf("%s: got %#v, want %#v", path, a.Interface(), b.Interface())
}
