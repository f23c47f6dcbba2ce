package grayscale_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/frame"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
	"leadline/imaging/grayscale"
)

const (
	classXA = "1.2.840.10008.5.1.4.1.1.12.1"
	classRF = "1.2.840.10008.5.1.4.1.1.12.2"
	classCR = "1.2.840.10008.5.1.4.1.1.1"
	classDX = "1.2.840.10008.5.1.4.1.1.1.1"
	classSC = "1.2.840.10008.5.1.4.1.1.7"
)

func tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatalf("%s is required and not installed", name)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

type attributes map[tag.Tag]any

// ramp writes an image that holds each of its 2^bits values once, 64 in a row,
// with more attributes, and opens it.
func ramp(t testing.TB, class string, bits int, signed bool, photometric string, more attributes) (string, *dicomfile.File) {
	t.Helper()
	columns, rows := 64, 1<<bits/64
	native := frame.NewNativeFrame[uint16](16, rows, columns, rows*columns, 1)
	for i := range native.RawData {
		native.RawData[i] = uint16(i)
	}
	representation := 0
	if signed {
		representation = 1
	}
	all := attributes{
		tag.SOPClassUID: []string{class}, tag.SOPInstanceUID: []string{"2.25.41"}, tag.Modality: []string{"XA"},
		tag.Rows: []int{rows}, tag.Columns: []int{columns}, tag.SamplesPerPixel: []int{1}, tag.PhotometricInterpretation: []string{photometric},
		tag.BitsAllocated: []int{16}, tag.BitsStored: []int{bits}, tag.HighBit: []int{bits - 1}, tag.PixelRepresentation: []int{representation},
		tag.PixelData: dicom.PixelDataInfo{Frames: []*frame.Frame{{NativeData: native}}},
	}
	for tg, v := range more {
		all[tg] = v
	}
	var ds dicom.Dataset
	for tg, v := range all {
		e, err := dicom.NewElement(tg, v)
		if err != nil {
			t.Fatal(err)
		}
		ds.Elements = append(ds.Elements, e)
	}
	path := filepath.Join(t.TempDir(), "ramp.dcm")
	if err := dicomfile.Write(path, ds); err != nil {
		t.Fatal(err)
	}
	f, err := dicomfile.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return path, f
}

// lut is one item of a LUT sequence.
func lut(t testing.TB, vr string, descriptor []int, data []int) [][]*dicom.Element {
	t.Helper()
	d, err := dicom.NewElement(tag.LUTDescriptor, descriptor)
	if err != nil {
		t.Fatal(err)
	}
	d.RawValueRepresentation = vr
	v, err := dicom.NewValue(data)
	if err != nil {
		t.Fatal(err)
	}
	kind, err := dicom.NewElement(tag.ModalityLUTType, []string{"US"})
	if err != nil {
		t.Fatal(err)
	}
	return [][]*dicom.Element{{d, kind, {Tag: tag.LUTData, ValueRepresentation: tag.VRUInt16List, RawValueRepresentation: "US", Value: v}}}
}

// displayed is what Render shows of the first frame.
func displayed(t testing.TB, f *dicomfile.File, table func(*grayscale.Map) []uint8) []uint8 {
	t.Helper()
	m, err := grayscale.New(f.Header)
	if err != nil {
		t.Fatal(err)
	}
	fr, err := f.Frame(1, 1)
	if err != nil {
		t.Fatal(err)
	}
	return grayscale.Render(fr, table(m)).Pix
}

func window(i int) func(*grayscale.Map) []uint8 {
	return func(m *grayscale.Map) []uint8 { return m.Table(m.Windows()[i]) }
}

// square is a table that rises with the square.
func square(n, top int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = top * i / (n - 1) * i / (n - 1)
	}
	return out
}

// pairs packs two 8-bit entries into a word, the first below.
func pairs(v []int) []int {
	out := make([]int, len(v)/2)
	for i := range out {
		out[i] = v[2*i] | v[2*i+1]<<8
	}
	return out
}

func falling(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = n - 1 - i
	}
	return out
}

// The grays that dcmtk's dcm2pnm shows. It cuts fractions of a gray off where
// we round, so a gray may differ by one, never by more.
func TestAgainstDcmtk(t *testing.T) {
	dcm2pnm := tool(t, "dcm2pnm")
	windowed := func(center, width, function string) attributes {
		a := attributes{tag.WindowCenter: []string{center}, tag.WindowWidth: []string{width}}
		if function != "" {
			a[tag.VOILUTFunction] = []string{function}
		}
		return a
	}
	with := func(a attributes, tg tag.Tag, v any) attributes {
		out := attributes{tg: v}
		for k, v := range a {
			out[k] = v
		}
		return out
	}
	rescaled := func(a attributes, slope, intercept string) attributes {
		return with(with(with(a, tag.RescaleSlope, []string{slope}), tag.RescaleIntercept, []string{intercept}), tag.RescaleType, []string{"US"})
	}
	// 65536 entries do not fit into the 16-bit length of US: they are OW.
	wide := lut(t, "US", []int{0, 0, 16}, nil)
	words := make([]byte, 0, 1<<17)
	for _, v := range square(1<<16, 65535) {
		words = append(words, byte(v), byte(v>>8))
	}
	value, err := dicom.NewValue(words)
	if err != nil {
		t.Fatal(err)
	}
	wide[0][2] = &dicom.Element{Tag: tag.LUTData, ValueRepresentation: tag.VRBytes, RawValueRepresentation: "OW", Value: value}
	first := func(m *grayscale.Map) []uint8 { return m.VOITable(0) }
	middle := windowed("2048", "4096", "")
	for name, c := range map[string]struct {
		class       string
		bits        int
		signed      bool
		photometric string
		more        attributes
		options     []string
		table       func(*grayscale.Map) []uint8
	}{
		"linear":                       {classXA, 12, false, "MONOCHROME2", windowed("1000", "500", ""), []string{"+Wi", "1"}, window(0)},
		"linear, fractions":            {classXA, 10, false, "MONOCHROME2", windowed("511.5", "300.7", "LINEAR"), []string{"+Wi", "1"}, window(0)},
		"width 1":                      {classXA, 10, false, "MONOCHROME2", windowed("300", "1", ""), []string{"+Wi", "1"}, window(0)},
		"width 2":                      {classXA, 10, false, "MONOCHROME2", windowed("300", "2", ""), []string{"+Wi", "1"}, window(0)},
		"linear, signed":               {classCR, 12, true, "MONOCHROME2", windowed("-100", "900", ""), []string{"+Wi", "1"}, window(0)},
		"linear, 16 bits":              {classXA, 16, false, "MONOCHROME2", windowed("30000", "20000", ""), []string{"+Wi", "1"}, window(0)},
		"linear, inverse":              {classCR, 12, false, "MONOCHROME1", windowed("1000", "500", ""), []string{"+Wi", "1"}, window(0)},
		"rescaled":                     {classCR, 12, false, "MONOCHROME2", rescaled(windowed("100", "800", ""), "0.5", "-300"), []string{"+Wi", "1"}, window(0)},
		"falling slope":                {classCR, 12, false, "MONOCHROME2", rescaled(middle, "-1", "4095"), []string{"+Wi", "1"}, window(0)},
		"falling slope, inverse":       {classSC, 12, false, "MONOCHROME1", rescaled(middle, "-1", "4095"), []string{"+Wi", "1"}, window(0)},
		"XA's slope is not shown":      {classXA, 12, false, "MONOCHROME2", rescaled(middle, "-1", "4095"), []string{"+Wi", "1"}, window(0)},
		"RF's slope is not shown, LOG": {classRF, 12, false, "MONOCHROME2", with(rescaled(middle, "-1", "4095"), tag.PixelIntensityRelationship, []string{"LOG"}), []string{"+Wi", "1"}, window(0)},
		"XA's LUT is not shown":        {classXA, 12, false, "MONOCHROME2", with(with(middle, tag.PixelIntensityRelationship, []string{"LOG"}), tag.ModalityLUTSequence, lut(t, "US", []int{4096, 0, 12}, falling(4096))), []string{"+Wi", "1"}, window(0)},
		"modality LUT":                 {classCR, 12, false, "MONOCHROME2", with(windowed("2000", "3000", ""), tag.ModalityLUTSequence, lut(t, "US", []int{4096, 0, 12}, falling(4096))), []string{"+Wi", "1"}, window(0)},
		"modality LUT of a part":       {classCR, 12, false, "MONOCHROME2", with(windowed("2000", "3000", ""), tag.ModalityLUTSequence, lut(t, "US", []int{1024, 1000, 12}, square(1024, 4095))), []string{"+Wi", "1"}, window(0)},
		"sigmoid":                      {classDX, 12, false, "MONOCHROME2", windowed("2048", "1000", "SIGMOID"), []string{"+Wi", "1", "+Wfs"}, window(0)},
		"sigmoid, inverse":             {classDX, 12, false, "MONOCHROME1", windowed("1500.5", "333", "SIGMOID"), []string{"+Wi", "1", "+Wfs"}, window(0)},
		"VOI LUT":                      {classDX, 12, false, "MONOCHROME2", attributes{tag.VOILUTSequence: lut(t, "US", []int{4096, 0, 16}, square(4096, 65535))}, []string{"+Wl", "1"}, first},
		"VOI LUT of a part":            {classDX, 12, false, "MONOCHROME2", attributes{tag.VOILUTSequence: lut(t, "US", []int{1000, 1500, 10}, square(1000, 1023))}, []string{"+Wl", "1"}, first},
		"VOI LUT below zero":           {classCR, 12, true, "MONOCHROME2", attributes{tag.VOILUTSequence: lut(t, "SS", []int{1000, -600, 12}, square(1000, 4095))}, []string{"+Wl", "1"}, first},
		"VOI LUT of 65536":             {classDX, 16, false, "MONOCHROME2", attributes{tag.VOILUTSequence: wide}, []string{"+Wl", "1"}, first},
		"VOI LUT of bytes in words":    {classDX, 8, false, "MONOCHROME2", attributes{tag.VOILUTSequence: lut(t, "US", []int{256, 0, 8}, pairs(square(256, 255)))}, []string{"+Wl", "1"}, first},
		"VOI LUT, inverse":             {classDX, 12, false, "MONOCHROME1", attributes{tag.VOILUTSequence: lut(t, "US", []int{4096, 0, 12}, square(4096, 4095))}, []string{"+Wl", "1"}, first},
		"shape inverse":                {classDX, 12, false, "MONOCHROME1", with(middle, tag.PresentationLUTShape, []string{"INVERSE"}), []string{"+Wi", "1"}, window(0)},
		"shape inverse, MONOCHROME2":   {classCR, 12, false, "MONOCHROME2", with(middle, tag.PresentationLUTShape, []string{"INVERSE"}), []string{"+Wi", "1"}, window(0)},
		"shape identity, MONOCHROME1":  {classCR, 12, false, "MONOCHROME1", with(middle, tag.PresentationLUTShape, []string{"IDENTITY"}), []string{"+Wi", "1"}, window(0)},
		"no window: full range":        {classXA, 12, false, "MONOCHROME2", nil, []string{"-W"}, window(0)},
		"no window: full range, sign":  {classCR, 12, true, "MONOCHROME1", nil, []string{"-W"}, window(0)},
	} {
		t.Run(name, func(t *testing.T) {
			path, f := ramp(t, c.class, c.bits, c.signed, c.photometric, c.more)
			got := displayed(t, f, c.table)
			out := path + ".pgm"
			if msg, err := exec.Command(dcm2pnm, append(c.options, path, out)...).CombinedOutput(); err != nil {
				t.Fatalf("dcm2pnm: %v: %s", err, msg)
			}
			data, err := os.ReadFile(out)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.HasPrefix(data, []byte("P5")) || len(data) < len(got) {
				t.Fatalf("dcm2pnm wrote %q…", data[:min(len(data), 20)])
			}
			want := data[len(data)-len(got):]
			differ := 0
			for i := range want {
				d := int(got[i]) - int(want[i])
				if d != 0 {
					differ++
				}
				if d < -1 || d > 1 {
					t.Fatalf("stored %d shows %d, dcm2pnm %d", i, got[i], want[i])
				}
			}
			t.Logf("%d of %d differ by one", differ, len(want))
		})
	}
}

// The three window functions of PS3.3 C.11.2.1.2 and C.11.2.1.3, as pydicom's
// apply_voi_lut computes them in floating point.
func TestFunctionsAgainstPydicom(t *testing.T) {
	tool(t, "/usr/bin/python3")
	type job struct {
		Center, Width float64
		Function      string
	}
	jobs := []job{
		{2048, 4096, "LINEAR"}, {100, 100, "LINEAR"}, {100.25, 37.5, "LINEAR"}, {-50, 2, "LINEAR"}, {300, 1, "LINEAR"},
		{2048, 4096, "LINEAR_EXACT"}, {100, 100, "LINEAR_EXACT"}, {12.5, 0.25, "LINEAR_EXACT"}, {-50, 1, "LINEAR_EXACT"},
		{2048, 4096, "SIGMOID"}, {100, 10, "SIGMOID"}, {0.5, 0.5, "SIGMOID"},
	}
	in, err := json.Marshal(jobs)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("/usr/bin/python3", "-c", `
import json, sys
import numpy as np
from pydicom.dataset import Dataset
from pydicom.pixel_data_handlers.util import apply_windowing
out = []
for j in json.loads(sys.argv[1]):
    ds = Dataset()
    ds.PhotometricInterpretation, ds.BitsStored, ds.PixelRepresentation = "MONOCHROME2", 12, 1
    ds.WindowCenter, ds.WindowWidth, ds.VOILUTFunction = j["Center"], j["Width"], j["Function"]
    y = apply_windowing(np.arange(-2048, 2048, dtype="int16"), ds)
    out.append(((y + 2048) / 4095).tolist())
print(json.dumps(out))`, string(in))
	cmd.Stderr = os.Stderr
	data, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	var want [][]float64
	if err := json.Unmarshal(data, &want); err != nil {
		t.Fatal(err)
	}
	for k, j := range jobs {
		w := imaging.Window{Center: j.Center, Width: j.Width, Function: imaging.WindowFunction(j.Function)}
		for i, y := range want[k] {
			if got := grayscale.Value(w, float64(i-2048)); math.Abs(got-y) > 1e-9 {
				t.Errorf("%+v at %d: %g, want %g", j, i-2048, got, y)
				break
			}
		}
	}
}

// Padding is shown black and left out of the histogram's window, which spans
// the values of the patient and not those of shutter and open field.
func TestPaddingAndAuto(t *testing.T) {
	h := &imaging.Header{File: "x", BitsStored: 12, Photometric: "MONOCHROME1", PaddingValue: imaging.Known(0), PaddingLimit: imaging.Known(10)}
	m, err := grayscale.New(h)
	if err != nil {
		t.Fatal(err)
	}
	table := m.Table(imaging.Window{Center: 2048, Width: 4096})
	if table[0] != 0 || table[10] != 0 || table[11] != 254 || table[4095] != 0 {
		t.Errorf("padding shows %d and %d, the value beside it %d", table[0], table[10], table[11])
	}
	f := &imaging.Frame{Header: h, Columns: 100, Rows: 100}
	for i := range 10000 {
		switch {
		case i < 1000:
			f.Samples = append(f.Samples, 5) // padding
		case i < 3000:
			f.Samples = append(f.Samples, 20) // shutter
		case i < 4000:
			f.Samples = append(f.Samples, 4095) // open field
		default:
			f.Samples = append(f.Samples, uint16(1000+i%500))
		}
	}
	w := grayscale.Auto(f, m)
	if lo, hi := w.Center-w.Width/2, w.Center+w.Width/2; lo < 1000 || lo > 1010 || hi < 1489 || hi > 1499 {
		t.Errorf("window from %g to %g, the patient lies from 1000 to 1499", lo, hi)
	}
	for i := range f.Samples {
		f.Samples[i] = 700
	}
	if w := grayscale.Auto(f, m); w.Center != 700 || w.Width <= 0 {
		t.Errorf("window of a blank frame: %+v", w)
	}
	for i := range f.Samples {
		f.Samples[i] = 5
	}
	if w := grayscale.Auto(f, m); w.Width <= 0 {
		t.Errorf("window of a frame that is all padding: %+v", w)
	}
}

// The header's window stands, but where it leaves most of the film black or
// white, or is none, the frame's own values decide: 1000 pixels from 200 to 299
// in a 12-bit image.
func TestFirst(t *testing.T) {
	f := &imaging.Frame{Samples: make([]uint16, 1000)}
	for i := range f.Samples {
		f.Samples[i] = uint16(200 + i/10)
	}
	for name, c := range map[string]struct {
		windows []imaging.Window
		first   bool
	}{
		"fits":              {[]imaging.Window{{Center: 250, Width: 100}, {Center: 9, Width: 9}}, true},
		"clips a third":     {[]imaging.Window{{Center: 250, Width: 66}}, true},
		"clips nine tenths": {[]imaging.Window{{Center: 250, Width: 10}}, false},
		"all black":         {[]imaging.Window{{Center: 2048, Width: 1000}}, false},
		"cannot be used":    {[]imaging.Window{{Center: 250}}, false},
		"none":              {nil, false},
	} {
		m, err := grayscale.New(&imaging.Header{BitsStored: 12, Windows: c.windows})
		if err != nil {
			t.Fatal(err)
		}
		w := grayscale.First(f, m)
		if c.first != (len(c.windows) > 0 && w == c.windows[0]) {
			t.Errorf("%s: shown with %+v", name, w)
		}
		if low, high := grayscale.Value(w, 210), grayscale.Value(w, 290); name != "clips nine tenths" && (low > 0.5 || high < 0.5) {
			t.Errorf("%s: 210 and 290 are shown as %.2f and %.2f", name, low, high)
		}
	}
}

// Windows that cannot be used are not offered.
func TestWindows(t *testing.T) {
	h := &imaging.Header{BitsStored: 10, Windows: []imaging.Window{
		{Center: 5, Width: 0, Function: imaging.Linear}, {Center: math.NaN(), Width: 5}, {Center: 5, Width: 0.5, Function: imaging.LinearExact}, {Center: 5, Width: 0.5},
	}}
	m, err := grayscale.New(h)
	if err != nil {
		t.Fatal(err)
	}
	if got := m.Windows(); len(got) != 1 || got[0].Function != imaging.LinearExact {
		t.Errorf("%+v", got)
	}
	if m.VOITable(0) != nil {
		t.Error("a VOI LUT where the header has none")
	}
	if _, err := grayscale.New(&imaging.Header{}); err == nil {
		t.Error("no bits stored was taken")
	}
}

func ExampleMap_Table() {
	h := &imaging.Header{BitsStored: 8, Photometric: "MONOCHROME2", RescaleSlope: imaging.Known(2), RescaleIntercept: imaging.Known(-100)}
	m, _ := grayscale.New(h)
	table := m.Table(imaging.Window{Center: 100.5, Width: 201, Function: imaging.Linear})
	fmt.Println(m.Modality(100), table[50], table[100], table[150])
	// Output: 100 0 128 255
}

// A 1024 by 1024 frame of 16 bits: a new table, as while windowing, and the frame through it.
func BenchmarkWindowing(b *testing.B) {
	h := &imaging.Header{BitsStored: 16, Photometric: "MONOCHROME2"}
	m, err := grayscale.New(h)
	if err != nil {
		b.Fatal(err)
	}
	f := &imaging.Frame{Header: h, Columns: 1024, Rows: 1024, Samples: make([]uint16, 1<<20)}
	for i := range f.Samples {
		f.Samples[i] = uint16(i * 2654435761 >> 8)
	}
	w := imaging.Window{Center: 30000, Width: 20000}
	b.Run("table", func(b *testing.B) {
		for b.Loop() {
			m.Table(w)
		}
	})
	table := m.Table(w)
	b.Run("render", func(b *testing.B) {
		for b.Loop() {
			grayscale.Render(f, table)
		}
	})
	b.Run("auto", func(b *testing.B) {
		for b.Loop() {
			grayscale.Auto(f, m)
		}
	})
}
