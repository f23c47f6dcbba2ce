package dicomfile

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/frame"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
)

func el(t testing.TB, tg tag.Tag, v any) *dicom.Element {
	t.Helper()
	e, err := dicom.NewElement(tg, v)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// sample is an XA image of two frames, with text beyond ASCII and nested
// sequences, its elements in no order.
func sample(t testing.TB, columns, rows, frames int) dicom.Dataset {
	t.Helper()
	region := [][]*dicom.Element{{
		el(t, tag.CodeMeaning, []string{"Sacrum"}),
		el(t, tag.CodeValue, []string{"54735007"}),
		el(t, tag.CodingSchemeDesignator, []string{"SCT"}),
		el(t, tag.AnatomicRegionModifierSequence, [][]*dicom.Element{{el(t, tag.CodeValue, []string{"7771000"}), el(t, tag.CodeMeaning, []string{"Left"})}, {}}),
	}}
	var info dicom.PixelDataInfo
	for n := range frames {
		native := frame.NewNativeFrame[uint16](16, rows, columns, rows*columns, 1)
		for i := range native.RawData {
			native.RawData[i] = uint16(i*7+n) & 0xfff
		}
		info.Frames = append(info.Frames, &frame.Frame{NativeData: native})
	}
	return dicom.Dataset{Elements: []*dicom.Element{
		el(t, tag.PixelData, info),
		el(t, tag.Rows, []int{rows}), el(t, tag.Columns, []int{columns}),
		el(t, tag.NumberOfFrames, []string{itoa(frames)}),
		el(t, tag.SamplesPerPixel, []int{1}), el(t, tag.PhotometricInterpretation, []string{"MONOCHROME2"}),
		el(t, tag.BitsAllocated, []int{16}), el(t, tag.BitsStored, []int{12}), el(t, tag.HighBit, []int{11}), el(t, tag.PixelRepresentation, []int{0}),
		el(t, tag.SpecificCharacterSet, []string{"ISO_IR 192"}),
		el(t, tag.PatientName, []string{"Erfunden^Zoë"}),
		el(t, tag.AnatomicRegionSequence, region),
		el(t, tag.SOPClassUID, []string{"1.2.840.10008.5.1.4.1.1.12.1"}),
		el(t, tag.SOPInstanceUID, []string{"2.25.31"}),
		el(t, tag.StudyInstanceUID, []string{"2.25.32"}), el(t, tag.SeriesInstanceUID, []string{"2.25.33"}),
		el(t, tag.Modality, []string{"XA"}),
		el(t, tag.PositionerPrimaryAngle, []string{"-90"}),
		el(t, tag.GraphicData, []float64{1.5, 0.1}),
		el(t, tag.ImplementationVersionName, []string{"OTHER"}),
	}}
}

func itoa(n int) string {
	b, _ := json.Marshal(n)
	return string(b)
}

// What Write writes, as pydicom reads it.
func TestWriteReadByPydicom(t *testing.T) {
	path := filepath.Join(t.TempDir(), "image.dcm")
	if err := Write(path, sample(t, 5, 3, 2)); err != nil {
		t.Fatal(err)
	}
	out := python(t, "-c", `
import json, sys, pydicom
ds = pydicom.dcmread(sys.argv[1])
item = ds.AnatomicRegionSequence[0]
print(json.dumps(dict(
  syntax=ds.file_meta.TransferSyntaxUID, klass=ds.file_meta.MediaStorageSOPClassUID, instance=ds.file_meta.MediaStorageSOPInstanceUID,
  version=ds.file_meta.ImplementationVersionName, implementation=ds.file_meta.ImplementationClassUID,
  name=str(ds.PatientName), meaning=item.CodeMeaning, modifiers=[len(m) for m in item.AnatomicRegionModifierSequence],
  left=item.AnatomicRegionModifierSequence[0].CodeMeaning, angle=float(ds.PositionerPrimaryAngle), graphic=list(ds.GraphicData),
  order=[int(e.tag) for e in ds], group2=[int(e.tag) for e in ds if e.tag.group == 2],
  pixels=ds.pixel_array.flatten().tolist())))`, path)
	var got struct {
		Syntax, Klass, Instance, Version, Implementation, Name, Meaning, Left string
		Modifiers, Group2, Order                                              []int
		Angle                                                                 float64
		Graphic                                                               []float64
		Pixels                                                                []int
	}
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	if got.Syntax != "1.2.840.10008.1.2.1" || got.Klass != "1.2.840.10008.5.1.4.1.1.12.1" || got.Instance != "2.25.31" || got.Version != "LEADLINE" || got.Implementation != ImplementationClass {
		t.Errorf("file header %+v", got)
	}
	if got.Name != "Erfunden^Zoë" || got.Meaning != "Sacrum" || got.Left != "Left" || len(got.Modifiers) != 2 || got.Modifiers[1] != 0 || got.Angle != -90 || len(got.Group2) != 0 {
		t.Errorf("data set %+v", got)
	}
	if len(got.Graphic) != 2 || float32(got.Graphic[0]) != 1.5 || float32(got.Graphic[1]) != 0.1 {
		t.Errorf("graphic data %v", got.Graphic)
	}
	for i := 1; i < len(got.Order); i++ {
		if got.Order[i] <= got.Order[i-1] {
			t.Errorf("element %08x after %08x", got.Order[i], got.Order[i-1])
		}
	}
	if len(got.Pixels) != 30 {
		t.Fatalf("%d pixels", len(got.Pixels))
	}
	for i, v := range got.Pixels {
		if want := (i%15*7 + i/15) & 0xfff; v != want {
			t.Fatalf("pixel %d is %d, want %d", i, v, want)
		}
	}
}

// dcmtk reads it without a warning, and our own reader finds the same pixels.
func TestWriteReadByDcmtk(t *testing.T) {
	path := filepath.Join(t.TempDir(), "image.dcm")
	if err := Write(path, sample(t, 5, 3, 2)); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(tool(t, "dcmdump"), path).CombinedOutput()
	if err != nil || bytes.Contains(out, []byte("W:")) || bytes.Contains(out, []byte("E:")) {
		t.Errorf("dcmdump: %v: %s", err, out)
	}
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	fr, err := f.Frame(2, 2)
	if err != nil {
		t.Fatal(err)
	}
	if got := fr.Value(4, 2); got != 14*7+1 {
		t.Errorf("last pixel %d", got)
	}
}

// A data set that cannot be written leaves the file that was there, and no
// other; a reader sees the old or the new one.
func TestWriteWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "image.dcm")
	if err := Write(path, sample(t, 5, 3, 1)); err != nil {
		t.Fatal(err)
	}
	before := digest(t, path)
	without := func(drop tag.Tag) dicom.Dataset {
		ds := sample(t, 5, 3, 1)
		var kept []*dicom.Element
		for _, e := range ds.Elements {
			if e.Tag != drop {
				kept = append(kept, e)
			}
		}
		return dicom.Dataset{Elements: kept}
	}
	with := func(e *dicom.Element) dicom.Dataset {
		ds := without(e.Tag)
		ds.Elements = append(ds.Elements, e)
		return ds
	}
	twice := sample(t, 5, 3, 1)
	twice.Elements = append(twice.Elements, el(t, tag.Modality, []string{"XA"}))
	wrong := el(t, tag.Modality, []string{"XA"})
	wrong.RawValueRepresentation = "US"
	for name, ds := range map[string]dicom.Dataset{
		"no SOP class":         without(tag.SOPClassUID),
		"no SOP instance":      without(tag.SOPInstanceUID),
		"too long a text":      with(el(t, tag.PatientComments, []string{strings.Repeat("x", 70000)})),
		"an element twice":     twice,
		"a VR that is not its": with(wrong),
		"a number too large":   with(el(t, tag.Rows, []int{70000})),
		"a number below zero":  with(el(t, tag.HighBit, []int{-1})),
		"not a number":         with(el(t, tag.GraphicData, []float64{math.NaN()})),
		"too long a decimal":   with(el(t, tag.PositionerPrimaryAngle, []string{"-89.99999999999999"})),
		"too long a UID":       with(el(t, tag.FrameOfReferenceUID, []string{"2.25." + strings.Repeat("1", 60)})),
		"compressed pixels":    with(el(t, tag.PixelData, dicom.PixelDataInfo{IsEncapsulated: true})),
	} {
		if err := Write(path, ds); !errors.Is(err, imaging.ErrBadInput) {
			t.Errorf("%s: %v", name, err)
		}
		if !bytes.Equal(before, digest(t, path)) {
			t.Errorf("%s: the former file has changed", name)
		}
		if left, _ := os.ReadDir(dir); len(left) != 1 {
			t.Errorf("%s: %d files are left", name, len(left))
		}
	}
	if err := Write(filepath.Join(dir, "no such folder", "image.dcm"), sample(t, 5, 3, 1)); err == nil {
		t.Error("written into a folder that is not there")
	}
}
