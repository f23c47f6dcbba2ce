package dicomfile

import (
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"leadline/imaging"
)

// The attributes are those that testdata/fixtures.py gave to pydicom.
func TestHeader(t *testing.T) {
	dir, _ := fixtures(t)
	for syntax, option := range syntaxes {
		t.Run(syntax, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "image.dcm")
			convert(t, filepath.Join(dir, "full.dcm"), path, option)
			f, err := Open(path)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			got := *f.Header
			if len(got.Notes) != 0 {
				t.Errorf("notes on a header that is in order: %q", got.Notes)
			}
			if got.PixelData.Length != 24 {
				t.Errorf("%d bytes of pixel data", got.PixelData.Length)
			}
			got.PixelData, got.File, got.TransferSyntax, got.Notes, got.SOPInstance = imaging.Extent{}, "", "", nil, ""
			want := imaging.Header{
				SOPClass: "1.2.840.10008.5.1.4.1.1.12.1", Study: "2.25.7", Series: "2.25.8", FrameOfReference: "2.25.99",
				Modality: "XA", PatientName: "Erfunden^Zoë", PatientID: "ID 7", PatientBirthDate: "19600229", PatientSex: "F",
				StudyDate: "20260103", StudyTime: "101500", StudyID: "S9", AccessionNumber: "A12",
				StudyDescription: "Prüfung", SeriesDescription: "Seitlich", ReferringName: "Arzt^A",
				SeriesNumber: "3", InstanceNumber: "12", AcquisitionDate: "20260103", AcquisitionTime: "101733.250",
				Manufacturer: "Maker", Institution: "Haus", CharacterSet: []string{"ISO_IR 192"},
				Columns: 3, Rows: 2, Frames: 2, Photometric: "MONOCHROME1", SamplesPerPixel: 1,
				BitsAllocated: 16, BitsStored: 12, HighBit: 11, Signed: true,
				PaddingValue: imaging.Known(-2048), PaddingLimit: imaging.Known(-2040),
				RescaleSlope: imaging.Known(0.5), RescaleIntercept: imaging.Known(-3),
				Windows: []imaging.Window{
					{Center: 100.5, Width: 400, Function: imaging.Sigmoid, Explanation: "weich"},
					{Center: -20, Width: 60.25, Function: imaging.Sigmoid, Explanation: "Knöchern"},
				},
				VOILUTs:              []imaging.LUT{{First: -2, Bits: 12, Table: []uint16{0, 100, 2000, 4095}, Explanation: "Röhre"}},
				PresentationLUTShape: "INVERSE", PixelIntensityRelationship: "LOG",
				FrameTime: imaging.Known(66.7), CineRate: imaging.Known(15), RecommendedDisplayRate: imaging.Known(12),
				Base: imaging.Geometry{
					Kind: imaging.KindXA, Columns: 3, Rows: 2,
					PixelSpacing:     imaging.Spacing{Row: 0.30, Column: 0.25, Known: true},
					ImagerSpacing:    imaging.Spacing{Row: 0.4, Column: 0.35, Known: true},
					NominalSpacing:   imaging.Spacing{Row: 0.2, Column: 0.1, Known: true},
					PixelAspectRatio: imaging.Known(1.2), CalibrationType: "GEOMETRY",
					MagnificationFactor: imaging.Known(1.4), SourceToDetector: imaging.Known(1000), SourceToPatient: imaging.Known(714.3),
					PrimaryAngle: imaging.Known(-88.5), SecondaryAngle: imaging.Known(2.5),
					FieldOfViewRotation: imaging.Known(90), FieldOfViewFlip: "YES",
					PatientOrientation: [2]string{"A", "FR"}, PatientPosition: "HFP", ViewPosition: "LL",
				},
				PrimaryStep: []float64{0, 1.5}, SecondaryStep: []float64{0, -0.5},
			}
			g, w := reflect.ValueOf(got), reflect.ValueOf(want)
			for i := range g.NumField() {
				if !reflect.DeepEqual(g.Field(i).Interface(), w.Field(i).Interface()) {
					t.Errorf("%s: %+v, want %+v", g.Type().Field(i).Name, g.Field(i), w.Field(i))
				}
			}
			if second := f.Header.Geometry(2); second.PrimaryAngle.Value != -87 || second.SecondaryAngle.Value != 2 {
				t.Errorf("angles of frame 2: %v, %v", second.PrimaryAngle, second.SecondaryAngle)
			}
		})
	}
}

// Names as pydicom encoded them in the character sets of PS3.3 C.12.1.1.2; the
// Japanese, Korean and Chinese ones are the examples of PS3.5 annexes H, I, J
// and K.
func TestCharacterSets(t *testing.T) {
	dir, list := fixtures(t)
	for _, c := range list.Charsets {
		f, err := Open(filepath.Join(dir, c.File))
		if err != nil {
			t.Errorf("%s: %v", c.Terms, err)
			continue
		}
		if f.Header.PatientName != c.Name {
			t.Errorf("%s: %q, want %q", c.Terms, f.Header.PatientName, c.Name)
		}
		if len(f.Header.Notes) > 0 {
			t.Errorf("%s: %q", c.Terms, f.Header.Notes)
		}
		f.Close()
	}
}

// What is odd is noted and taken as not given; it never becomes a number.
func TestOddAttributes(t *testing.T) {
	dir, _ := fixtures(t)
	for _, c := range []struct {
		change, note string
		bad          func(h *imaging.Header) bool
	}{
		{"(0028,0030)=0\\0.3", "above zero", func(h *imaging.Header) bool { return h.Base.PixelSpacing.Known }},
		{"(0028,0030)=0.3", "two are due", func(h *imaging.Header) bool { return h.Base.PixelSpacing.Known }},
		{"(0018,1110)=-1000", "above zero", func(h *imaging.Header) bool { return h.Base.SourceToDetector.Known }},
		{"(0018,1111)=near", "not a number", func(h *imaging.Header) bool { return h.Base.SourceToPatient.Known }},
		{"(0018,1114)=nan", "not a number", func(h *imaging.Header) bool { return h.Base.MagnificationFactor.Known }},
		{"(0018,1510)=181", "outside", func(h *imaging.Header) bool { return h.Base.PrimaryAngle.Known }},
		{"(0018,1511)=91", "outside", func(h *imaging.Header) bool { return h.Base.SecondaryAngle.Known }},
		{"(0018,7032)=45", "taken as not given", func(h *imaging.Header) bool { return h.Base.FieldOfViewRotation.Known }},
		{"(0018,7034)=MAYBE", "taken as not given", func(h *imaging.Header) bool { return h.Base.FieldOfViewFlip != "" }},
		{"(0020,0020)=L\\R", "direction of rows", func(h *imaging.Header) bool { return h.Base.PatientOrientation[0] != "" }},
		{"(0020,0020)=LR\\F", "direction of rows", func(h *imaging.Header) bool { return h.Base.PatientOrientation[0] != "" }},
		{"(0020,0020)=L", "direction of rows", func(h *imaging.Header) bool { return h.Base.PatientOrientation[0] != "" }},
		{"(0028,0a02)=GUESS", "taken as not given", func(h *imaging.Header) bool { return h.Base.CalibrationType != "" }},
		{"(0018,1520)=0\\1\\2", "3 increments for 2 frames", func(h *imaging.Header) bool { return h.PrimaryStep != nil }},
		{"(0028,1051)=0\\60", "not allowed", func(h *imaging.Header) bool { return len(h.Windows) != 1 }},
		{"(0028,1051)=400", "pairs are read", func(h *imaging.Header) bool { return len(h.Windows) != 1 }},
		{"(0028,1053)=0", "no contrast", func(h *imaging.Header) bool { return h.RescaleSlope.Known }},
		{"(0008,0005)=ISO_IR 999", "not known", func(h *imaging.Header) bool { return h.PatientName == "" }},
		{"(0028,0008)=0", "read as one", func(h *imaging.Header) bool { return h.Frames != 1 }},
	} {
		path := filepath.Join(t.TempDir(), "image.dcm")
		convert(t, filepath.Join(dir, "full.dcm"), path, "+te")
		modify(t, path, "-m", c.change)
		f, err := Open(path)
		if err != nil {
			t.Errorf("%s: %v", c.change, err)
			continue
		}
		if c.bad(f.Header) {
			t.Errorf("%s: it was used", c.change)
		}
		if !strings.Contains(strings.Join(f.Header.Notes, "\n"), c.note) {
			t.Errorf("%s: notes %q, want one with %q", c.change, f.Header.Notes, c.note)
		}
		f.Close()
	}
}
