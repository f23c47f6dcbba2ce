package dicomfile

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
)

func jsonElement(t *testing.T, tg tag.Tag, vr string, data any) *dicom.Element {
	t.Helper()
	v, err := dicom.NewValue(data)
	if err != nil {
		t.Fatal(err)
	}
	return &dicom.Element{Tag: tg, ValueRepresentation: tag.GetVRKind(tg, vr), RawValueRepresentation: vr, Value: v}
}

// The expected text is written by hand from PS3.18 F.2.2 to F.2.7: names in
// ascending order, no group length, nothing of group 2, empty attributes
// without Value, null among several values, PN by component group.
func TestEncodeJSONByTheStandard(t *testing.T) {
	inner := []*dicom.Element{jsonElement(t, tag.CodeValue, "SH", []string{"a<b&c"})}
	ds := dicom.Dataset{Elements: []*dicom.Element{
		jsonElement(t, tag.TransferSyntaxUID, "UI", []string{"1.2.840.10008.1.2.1"}),
		jsonElement(t, tag.PatientName, "PN", []string{"Yamada^Tarou=山田^太郎", "=only"}),
		jsonElement(t, tag.Tag{Group: 0x0010, Element: 0}, "UL", []int{10}),
		jsonElement(t, tag.ConceptNameCodeSequence, "SQ", [][]*dicom.Element{inner, {}}),
		jsonElement(t, tag.ImageType, "CS", []string{"DERIVED", "", "X"}),
		jsonElement(t, tag.AccessionNumber, "SH", []string{""}),
		jsonElement(t, tag.StudyID, "SH", []string{}),
		jsonElement(t, tag.NumericValue, "DS", []string{"1.50", "-3e-07", "+4", " 5"}),
		jsonElement(t, tag.InstanceNumber, "IS", []string{"7"}),
		jsonElement(t, tag.Rows, "US", []int{512}),
		jsonElement(t, tag.GraphicData, "FL", []float64{0.1, 2}),
		jsonElement(t, tag.FloatingPointValue, "FD", []float64{0.1}),
		jsonElement(t, tag.Tag{Group: 0x0009, Element: 0x1001}, "UN", []byte{1, 2, 3}),
		jsonElement(t, tag.Tag{Group: 0x0009, Element: 0x1002}, "OB", []byte{}),
	}}
	got, err := EncodeJSON(ds)
	if err != nil {
		t.Fatal(err)
	}
	want := `{"00080008":{"vr":"CS","Value":["DERIVED",null,"X"]},"00080050":{"vr":"SH"},` +
		`"00091001":{"vr":"UN","InlineBinary":"AQID"},"00091002":{"vr":"OB"},` +
		`"00100010":{"vr":"PN","Value":[{"Alphabetic":"Yamada^Tarou","Ideographic":"山田^太郎"},{"Ideographic":"only"}]},` +
		`"00200010":{"vr":"SH"},"00200013":{"vr":"IS","Value":[7]},"00280010":{"vr":"US","Value":[512]},` +
		`"0040A043":{"vr":"SQ","Value":[{"00080100":{"vr":"SH","Value":["a<b&c"]}},{}]},` +
		`"0040A161":{"vr":"FD","Value":[0.1]},"0040A30A":{"vr":"DS","Value":[1.50,-3e-07,"+4"," 5"]},` +
		// 0.1 in single precision is 13421773 / 2^27.
		`"00700022":{"vr":"FL","Value":[0.10000000149011612,2]}}` + "\n"
	if string(got) != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	back, err := DecodeJSON(got)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := EncodeJSON(back); err != nil || !bytes.Equal(again, got) {
		t.Errorf("decoded and encoded again: %s, %v", again, err)
	}
}

// pydicom makes a data set of many VRs and writes it both as a file and as JSON;
// DecodeJSON of the one, written by Write, is read by pydicom as the other.
func TestJSONAgreesWithPydicom(t *testing.T) {
	const python = "/usr/bin/python3"
	if exec.Command(python, "-c", "import pydicom").Run() != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatal("pydicom is not installed for " + python)
		}
		t.Skip("pydicom is not installed for " + python)
	}
	dir := t.TempDir()
	run := func(script string, args ...string) string {
		t.Helper()
		out, err := exec.Command(python, append([]string{"-c", script}, args...)...).CombinedOutput()
		if err != nil {
			t.Fatalf("pydicom: %v\n%s", err, out)
		}
		return string(out)
	}
	build := `
import sys, pydicom
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence
ds = Dataset()
ds.SpecificCharacterSet = "ISO_IR 192"
ds.SOPClassUID = "1.2.840.10008.5.1.4.1.1.88.33"
ds.SOPInstanceUID = "1.2.3"
ds.PatientName = "Wang^XiaoDong=王^小東"
ds.PatientID = ""
ds.StudyDate = "20250314"
ds.StudyTime = "091501.25"
ds.AcquisitionDateTime = "20250314091501.250000+0100"
ds.ImageType = ["DERIVED", "SECONDARY"]
ds.ImageComments = "one\r\ntwo \\ three"
ds.PatientAge = "061Y"
ds.RetrieveURL = "https://example.org/x"
ds.SeriesNumber = "12"
ds.WindowCenter = ["40.5", "-1e3"]
ds.Rows = 512
ds.RegionLocationMinX0 = 70000
ds.ReferencePixelX0 = -70000
ds.TagAngleSecondAxis = -5
ds.GraphicData = [0.1, 1e-30, 3.4e38]
ds.FloatingPointValue = [0.1, 1e-300]
ds.add_new(0x00091001, "UN", b"\x01\x02")
ds.add_new(0x00091002, "OW", b"\x01\x02\x03\x04")
item = Dataset(); item.CodeValue = "1"; item.CodeMeaning = "Größe <&>"
deep = Dataset(); deep.ConceptNameCodeSequence = Sequence([item])
ds.ContentSequence = Sequence([deep, Dataset()])
ds.PerformedProcedureCodeSequence = Sequence([])
`
	doc := filepath.Join(dir, "theirs.json")
	run(build+`
open(sys.argv[1], "w", encoding="utf-8").write(ds.to_json())`, doc)
	theirs, err := os.ReadFile(doc)
	if err != nil {
		t.Fatal(err)
	}
	ds, err := DecodeJSON(theirs)
	if err != nil {
		t.Fatal(err)
	}
	file, ours := filepath.Join(dir, "ours.dcm"), filepath.Join(dir, "ours.json")
	if err := Write(file, ds); err != nil {
		t.Fatal(err)
	}
	text, err := EncodeJSON(ds)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(ours, text, 0o600); err != nil {
		t.Fatal(err)
	}
	out := run(build+`
import struct
f32 = lambda v: [struct.unpack("<f", struct.pack("<f", x))[0] for x in v]
with open(sys.argv[2], encoding="utf-8") as f:
    text = Dataset.from_json(f.read())
for name, got in (("file", pydicom.dcmread(sys.argv[1])), ("JSON", text)):
    for e in ds:
        other = got[e.tag]
        a, b = e.value, other.value
        if e.VR == "FL":
            a, b = f32(a), f32(b)
        if e.VR != other.VR or (a or "") != (b or ""):
            print(name, e.tag, e.VR, repr(a), other.VR, repr(b))
    if len(got) != len(ds):
        print(name, len(got), len(ds))`, file, ours)
	if out != "" {
		t.Errorf("pydicom reads differently:\n%s", out)
	}
}

func TestDecodeJSONRefuses(t *testing.T) {
	for name, c := range map[string]struct{ doc, word string }{
		"nothing":          {``, "broken"},
		"cut":              {`{"00080016":{"vr":"UI"`, "broken"},
		"array":            {`[]`, "object"},
		"more after":       {`{} {}`, "after the end"},
		"twice":            {`{"00080016":{"vr":"UI"},"00080016":{"vr":"UI"}}`, "twice"},
		"lower case":       {`{"0040a043":{"vr":"SQ"}}`, "hexadecimal"},
		"short name":       {`{"80016":{"vr":"UI"}}`, "hexadecimal"},
		"group 2":          {`{"00020010":{"vr":"UI"}}`, "no place"},
		"group length":     {`{"00080000":{"vr":"UL","Value":[4]}}`, "no place"},
		"item tag":         {`{"FFFEE000":{"vr":"UN"}}`, "no place"},
		"pixels":           {`{"7FE00010":{"vr":"OW"}}`, "no place"},
		"no vr":            {`{"00080016":{"Value":["1.2"]}}`, "no vr"},
		"unknown vr":       {`{"00080016":{"vr":"ZZ","Value":["1.2"]}}`, "ZZ"},
		"bulk":             {`{"00091001":{"vr":"OB","BulkDataURI":"x"}}`, "BulkDataURI"},
		"value of no kind": {`{"00080016":{"vr":"UI","Value":"1.2"}}`, "array"},
		"number for text":  {`{"00080016":{"vr":"UI","Value":[1]}}`, "value 1"},
		"text for number":  {`{"00280010":{"vr":"US","Value":["1"]}}`, "value 1"},
		"too large for US": {`{"00280010":{"vr":"US","Value":[65536]}}`, "value 1"},
		"fraction":         {`{"00280010":{"vr":"US","Value":[1.5]}}`, "value 1"},
		"too large for FL": {`{"00700022":{"vr":"FL","Value":[1e39]}}`, "value 1"},
		"name of no group": {`{"00100010":{"vr":"PN","Value":[{"Nick":"x"}]}}`, "value 1"},
		"item of no kind":  {`{"0040A043":{"vr":"SQ","Value":[1]}}`, "item 1"},
		"bad base64":       {`{"00091001":{"vr":"OB","InlineBinary":"?"}}`, "base64"},
		"binary text":      {`{"00080016":{"vr":"UI","InlineBinary":"AA=="}}`, "InlineBinary"},
		"not UTF-8":        {"{\"00080016\":{\"vr\":\"UI\",\"Value\":[\"\xff\"]}}", "UTF-8"},
		"deep":             {strings.Repeat(`{"0040A730":{"vr":"SQ","Value":[`, 40) + strings.Repeat(`]}}`, 40), "deeper"},
		"arrays":           {strings.Repeat("[", 5000), "deeper"},
		"long":             {strings.Repeat(" ", MaxJSONBytes+1), "more than"},
		"many":             {`{"00080008":{"vr":"CS","Value":[` + strings.Repeat("null,", maxJSONNodes) + `null]}}`, "more than"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := DecodeJSON([]byte(c.doc))
			if !errors.Is(err, imaging.ErrBadInput) || !strings.Contains(err.Error(), c.word) {
				t.Errorf("got %v, want bad input with %q", err, c.word)
			}
		})
	}
}

func TestEncodeJSONRefuses(t *testing.T) {
	var zero float64
	for name, e := range map[string]*dicom.Element{
		"text as number": jsonElement(t, tag.Rows, "US", []string{"512"}),
		"number as text": jsonElement(t, tag.StudyID, "SH", []int{1}),
		"infinite":       jsonElement(t, tag.FloatingPointValue, "FD", []float64{1 / zero}),
		"too large":      jsonElement(t, tag.GraphicData, "FL", []float64{1e39}),
		"not UTF-8":      jsonElement(t, tag.StudyID, "SH", []string{"\xff"}),
		"pixels":         jsonElement(t, tag.PixelData, "OW", dicom.PixelDataInfo{}),
		"no value":       {Tag: tag.StudyID, RawValueRepresentation: "SH"},
	} {
		if _, err := EncodeJSON(dicom.Dataset{Elements: []*dicom.Element{e}}); !errors.Is(err, imaging.ErrBadInput) {
			t.Errorf("%s: %v", name, err)
		}
	}
	twice := jsonElement(t, tag.StudyID, "SH", []string{"1"})
	if _, err := EncodeJSON(dicom.Dataset{Elements: []*dicom.Element{twice, twice}}); !errors.Is(err, imaging.ErrBadInput) {
		t.Errorf("twice: %v", err)
	}
}

func FuzzDecodeJSON(f *testing.F) {
	for _, doc := range []string{
		`{}`, `{"00080016":{"vr":"UI","Value":["1.2"]}}`, `{"0040A043":{"vr":"SQ","Value":[{"00080100":{"vr":"SH","Value":["a"]}},{}]}}`,
		`{"00100010":{"vr":"PN","Value":[{"Alphabetic":"A^B","Phonetic":"C"},null]}}`, `{"0040A30A":{"vr":"DS","Value":[1.50,"2"]}}`,
		`{"00700022":{"vr":"FL","Value":[0.1,1e-45]}}`, `{"00091001":{"vr":"UN","InlineBinary":"AQID"}}`, `{"00280010":{"vr":"US","Value":[512]}}`,
	} {
		f.Add([]byte(doc))
	}
	f.Fuzz(func(t *testing.T, doc []byte) {
		ds, err := DecodeJSON(doc)
		if err != nil {
			if !errors.Is(err, imaging.ErrBadInput) {
				t.Fatalf("error of no kind: %v", err)
			}
			return
		}
		first, err := EncodeJSON(ds)
		if err != nil {
			t.Fatal(err)
		}
		again, err := DecodeJSON(first)
		if err != nil {
			t.Fatalf("%s: %v", first, err)
		}
		if second, err := EncodeJSON(again); err != nil || !bytes.Equal(first, second) {
			t.Fatalf("first %s, then %s, %v", first, second, err)
		}
	})
}
