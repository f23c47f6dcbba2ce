package desk

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
	"leadline/measure/mark"
	"leadline/measure/operation"
	"leadline/measure/response"
	"leadline/measure/sidecar"
)

// writeCase writes a small frontal film.
func writeCase(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	var ds dicom.Dataset
	add := func(tg tag.Tag, v any) {
		e, err := dicom.NewElement(tg, v)
		if err != nil {
			t.Fatal(err)
		}
		ds.Elements = append(ds.Elements, e)
	}
	add(tag.MediaStorageSOPClassUID, []string{"1.2.840.10008.5.1.4.1.1.12.1"})
	add(tag.MediaStorageSOPInstanceUID, []string{"2.25.10"})
	add(tag.TransferSyntaxUID, []string{"1.2.840.10008.1.2.1"})
	add(tag.SOPClassUID, []string{"1.2.840.10008.5.1.4.1.1.12.1"})
	add(tag.SOPInstanceUID, []string{"2.25.10"})
	add(tag.StudyInstanceUID, []string{"2.25.11"})
	add(tag.SeriesInstanceUID, []string{"2.25.12"})
	add(tag.Modality, []string{"XA"})
	add(tag.PatientID, []string{"MADE-UP"})
	add(tag.PositionerPrimaryAngle, []string{"0"})
	add(tag.PositionerSecondaryAngle, []string{"0"})
	add(tag.SamplesPerPixel, []int{1})
	add(tag.PhotometricInterpretation, []string{"MONOCHROME2"})
	add(tag.Rows, []int{4})
	add(tag.Columns, []int{6})
	add(tag.BitsAllocated, []int{16})
	add(tag.BitsStored, []int{12})
	add(tag.HighBit, []int{11})
	add(tag.PixelRepresentation, []int{0})
	pixels := make([]byte, 4*6*2)
	e, err := dicom.NewElement(tag.PixelData, dicom.PixelDataInfo{IntentionallyUnprocessed: true, UnprocessedValueData: pixels})
	if err != nil {
		t.Fatal(err)
	}
	e.RawValueRepresentation = "OW"
	ds.Elements = append(ds.Elements, e)
	if err := dicomfile.Write(filepath.Join(dir, "film.dcm"), ds); err != nil {
		t.Fatal(err)
	}
	return dir
}

func untilSaved(t *testing.T, o *Opened) {
	t.Helper()
	o.Quit()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(2 * time.Millisecond) {
		if o.Poll(); o.Done() {
			return
		}
	}
	state, words := o.Saved()
	t.Fatalf("not saved: %v %s", state, words)
}

func TestOpenedAgainItShowsTheSame(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	dir := writeCase(t)
	before, err := os.ReadFile(filepath.Join(dir, "film.dcm"))
	if err != nil {
		t.Fatal(err)
	}
	o, err := Open(dir, "reader", "", func() {})
	if err != nil {
		t.Fatal(err)
	}
	if !o.Caution() {
		t.Error("the caution is not shown on first opening")
	}
	o.Press("Enter")
	o.Press("Escape") // the views stay as the header has them
	o.Press("i")
	o.AddPoint(FrontalPane, r2.Vec{X: 3, Y: 0.25})
	o.AddPoint(FrontalPane, r2.Vec{X: 3.1, Y: 3.5})
	o.Press("Enter")

	if _, err := Open(dir, "reader", "", func() {}); !errors.Is(err, imaging.ErrInUse) {
		t.Errorf("a second writer: %v", err)
	}
	untilSaved(t, o)
	want := o.Book()
	if err := o.Close(); err != nil {
		t.Fatal(err)
	}

	o, err = Open(dir, "", "", func() {}) // the only observer there is
	if err != nil {
		t.Fatal(err)
	}
	defer o.Close()
	if o.Caution() {
		t.Error("the caution is shown again after it was acknowledged")
	}
	if !reflect.DeepEqual(o.Book(), want) {
		t.Errorf("opened again: %+v\nwant %+v", o.Book(), want)
	}
	after, err := os.ReadFile(filepath.Join(dir, "film.dcm"))
	if err != nil || string(before) != string(after) {
		t.Errorf("the image was changed (%v)", err)
	}
}

func TestMarksElsewhereThanTheImages(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	dir, marks := writeCase(t), t.TempDir()
	o, err := Open(filepath.Join(dir, "film.dcm"), "reader", marks, func() {})
	if err != nil {
		t.Fatal(err)
	}
	o.Press("Enter")
	o.Press("Escape") // the views stay as the header has them
	o.Press("i")
	o.AddPoint(FrontalPane, r2.Vec{X: 3, Y: 1})
	o.AddPoint(FrontalPane, r2.Vec{X: 3, Y: 3})
	untilSaved(t, o)
	if err := o.Close(); err != nil {
		t.Fatal(err)
	}
	if there, err := sidecar.Observers(marks); err != nil || len(there) != 1 {
		t.Errorf("observers in the folder of the marks: %v (%v)", there, err)
	}
	if there, err := sidecar.Observers(dir); err != nil || len(there) != 0 {
		t.Errorf("observers beside the images: %v (%v)", there, err)
	}
}

func TestRescuedMarksOpenAsMarks(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	dir := writeCase(t)
	o, err := Open(dir, "reader", "", func() {})
	if err != nil {
		t.Fatal(err)
	}
	o.Press("Enter")
	o.Press("Escape") // the views stay as the header has them
	o.Press("i")
	o.AddPoint(FrontalPane, r2.Vec{X: 3, Y: 1})
	o.AddPoint(FrontalPane, r2.Vec{X: 3, Y: 3})
	where, err := o.cfg.Rescue(o.Book(), o.Responses())
	if err != nil {
		t.Fatal(err)
	}
	want := o.Book().Marks
	if err := o.Close(); err != nil {
		t.Fatal(err)
	}
	o, err = Open(dir, "reader", where, func() {})
	if err != nil {
		t.Fatal(err)
	}
	defer o.Close()
	if !reflect.DeepEqual(o.Book().Marks, want) {
		t.Errorf("rescued: %+v\nwant %+v", o.Book().Marks, want)
	}
}

// Where the sidecar cannot be written, marks, statements, responses and the
// record of the operation are all found again where they were written instead.
func TestRescueHoldsAllThatWasEntered(t *testing.T) {
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	dir := writeCase(t)
	o, err := Open(dir, "reader", "", func() {})
	if err != nil {
		t.Fatal(err)
	}
	headers := o.kase.Headers()
	operation := operation.Record{"passes": "3"}
	if err := o.store.Save(&sidecar.Report{Book: mark.Book{Observer: "reader"}, Operation: operation, Images: headers}); err != nil {
		t.Fatal(err)
	}
	if err := o.Close(); err != nil {
		t.Fatal(err)
	}
	if o, err = Open(dir, "reader", "", func() {}); err != nil {
		t.Fatal(err)
	}
	defer o.Close()
	tests := []response.Test{{Object: "N1", Contact: -1, PelvicFloor: response.At(1.2), Unit: response.Milliampere, Motor: []response.Motor{response.Bellows}}}
	book := mark.Book{Observer: "reader",
		Marks:      []mark.Mark{{UID: "2.25.1", Structure: mark.Needle, Object: "N1", Frame: mark.One("2.25.10", 1), Points: []r2.Vec{{X: 1, Y: 1}, {X: 2, Y: 2}}, Origin: mark.ByHand}},
		Statements: []mark.Statement{{Object: "N1", Side: mark.LeftSide, SideBasis: mark.Stated, Observer: "reader", When: time.Date(2026, 3, 4, 10, 42, 0, 0, time.UTC)}}}
	where, err := o.cfg.Rescue(book, tests)
	if err != nil {
		t.Fatal(err)
	}
	store, err := sidecar.Lock(where, "reader")
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	got, found, err := store.Load(headers)
	if err != nil || !found {
		t.Fatal(found, err)
	}
	if len(got.Book.Marks) != 1 || len(got.Book.Statements) != 1 || !reflect.DeepEqual(got.Responses, tests) || !reflect.DeepEqual(got.Operation, operation) {
		t.Errorf("rescued: %+v", got)
	}
}
