package main

import (
	"errors"
	"fmt"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/frame"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging/dicomfile"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"leadline": main})
}

// TestScripts runs the text scripts of testdata: each shows a command, what it
// reads, and what it prints. Expected figures in them are worked out by hand
// from the geometry the script states.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata",
		RequireUniqueNames:  true,
		RequireExplicitExec: true,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"refused": refused,
			"film":    film,
			"lacks":   lacks,
			"await":   await,
			"gone":    gone,
			"bright":  bright,
			"packed":  packed,
		},
		Setup: func(e *testscript.Env) error {
			e.Setenv("REFERENCE", reference())
			return nil
		},
		Condition: func(cond string) (bool, error) {
			if cond != "reference" {
				return false, fmt.Errorf("no condition %q", cond)
			}
			info, err := os.Stat(reference())
			return err == nil && info.IsDir(), nil
		},
	})
}

// reference is the folder of the real frames, which are not part of the
// project.
func reference() string {
	dir := os.Getenv("LEADLINE_REFERENCE")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "data")
	}
	if abs, err := filepath.Abs(dir); err == nil {
		return abs
	}
	return dir
}

// await GLOB: waits until something of the name is there.
func await(ts *testscript.TestScript, neg bool, args []string) {
	for range 600 {
		if found, _ := filepath.Glob(ts.MkAbs(args[0])); len(found) > 0 {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	ts.Fatalf("%s did not come", args[0])
}

// gone GLOB: nothing of the name is there.
func gone(ts *testscript.TestScript, neg bool, args []string) {
	if found, _ := filepath.Glob(ts.MkAbs(args[0])); len(found) > 0 {
		ts.Fatalf("still there: %v", found)
	}
}

// refused CODE COMMAND...: the command ends with the code, has said nothing on
// standard output and just one line on standard error.
func refused(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: refused CODE COMMAND...")
	}
	err := ts.Exec(args[1], args[2:]...)
	var exit *exec.ExitError
	if !errors.As(err, &exit) {
		ts.Fatalf("%v did not fail: %v", args[1:], err)
	}
	if got := strconv.Itoa(exit.ExitCode()); got != args[0] {
		ts.Fatalf("%v ended with %s, want %s; it said %q", args[1:], got, args[0], ts.ReadFile("stderr"))
	}
	if said := ts.ReadFile("stderr"); strings.Count(said, "\n") != 1 || !strings.HasSuffix(said, "\n") {
		ts.Fatalf("an error is one line, but it said %q", said)
	}
	if said := ts.ReadFile("stdout"); said != "" {
		ts.Fatalf("a refusal prints nothing, but it said %q", said)
	}
}

// lacks FILE WORD...: the file holds none of the words; \x1b is an escape.
func lacks(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: lacks FILE WORD...")
	}
	text := ts.ReadFile(args[0])
	for _, word := range args[1:] {
		if strings.Contains(text, strings.ReplaceAll(word, `\x1b`, "\x1b")) {
			ts.Fatalf("%s holds %q", args[0], word)
		}
	}
}

// bright FILE.png: of the middle of the film in an annotated picture at least a
// fiftieth is lighter than half of white: more than lines and letters cover.
func bright(ts *testscript.TestScript, neg bool, args []string) {
	f, err := os.Open(ts.MkAbs(args[0]))
	ts.Check(err)
	defer f.Close()
	img, err := png.Decode(f)
	ts.Check(err)
	all, light := 0, 0 // the film takes the left two thirds of the page
	for y := img.Bounds().Dy() / 4; y < img.Bounds().Dy()*3/4; y++ {
		for x := img.Bounds().Dx() / 20; x < img.Bounds().Dx()*2/3; x++ {
			all++
			if r, _, _, _ := img.At(x, y).RGBA(); r > 0x8000 {
				light++
			}
		}
	}
	if 50*light < all {
		ts.Fatalf("%s: of %d pixels %d are light", args[0], all, light)
	}
}

// film FILE Keyword=value...: writes an X-Ray Angiographic image of one grey,
// with the attributes given in place of those below; Keyword= leaves one out.
// Values are divided by a backslash as in DICOM; \xNN is that byte.
func film(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 {
		ts.Fatalf("usage: film FILE Keyword=value...")
	}
	ts.Check(writeFilm(ts.MkAbs(args[0]), args[0], args[1:]...))
}

// writeFilm is film for a file whose instance UID goes by a name.
func writeFilm(path, name string, given ...string) error {
	attributes := map[string]string{
		"SOPClassUID": "1.2.840.10008.5.1.4.1.1.12.1", "SOPInstanceUID": uidFor(name),
		"StudyInstanceUID": "2.25.1", "SeriesInstanceUID": "2.25.11", "Modality": "XA",
		"PatientName": "TEST^FILM", "PatientID": "T-1", "StudyDate": "20260102", "AcquisitionDate": "20260102", "AcquisitionTime": "101500",
		"Columns": "1024", "Rows": "1024", "SamplesPerPixel": "1", "PhotometricInterpretation": "MONOCHROME2",
		"BitsAllocated": "8", "BitsStored": "8", "HighBit": "7", "PixelRepresentation": "0",
		"WindowCenter": "128", "WindowWidth": "256",
	}
	for _, a := range given {
		key, value, ok := strings.Cut(a, "=")
		if !ok {
			return fmt.Errorf("film: %q is not Keyword=value", a)
		}
		attributes[key] = value
	}
	var ds dicom.Dataset
	for key, value := range attributes {
		if value != "" {
			e, err := attribute(key, value)
			if err != nil {
				return err
			}
			ds.Elements = append(ds.Elements, e)
		}
	}
	columns, err := strconv.Atoi(attributes["Columns"])
	if err != nil {
		return err
	}
	rows, err := strconv.Atoi(attributes["Rows"])
	if err != nil {
		return err
	}
	frames := 1
	if n := attributes["NumberOfFrames"]; n != "" {
		frames, err = strconv.Atoi(n)
		if err != nil {
			return err
		}
	}
	pixels := dicom.PixelDataInfo{}
	for range frames {
		native := frame.NewNativeFrame[uint8](8, rows, columns, rows*columns, 1)
		for i := range native.RawData {
			native.RawData[i] = 90
		}
		pixels.Frames = append(pixels.Frames, &frame.Frame{NativeData: native})
	}
	e, err := dicom.NewElement(tag.PixelData, pixels)
	if err != nil {
		return err
	}
	ds.Elements = append(ds.Elements, e)
	return dicomfile.Write(path, ds)
}

// uidFor is an instance UID that differs from file to file.
func uidFor(name string) string {
	sum := 0
	for _, b := range []byte(name) {
		sum = sum*257 + int(b)
		sum %= 1 << 40
	}
	return "2.25.7" + strconv.Itoa(sum)
}

// attribute makes an element of a keyword and a value as DICOM writes it; a
// sequence has one item, a code: value, scheme and meaning.
func attribute(keyword, value string) (*dicom.Element, error) {
	info, err := tag.FindByKeyword(keyword)
	if err != nil {
		return nil, err
	}
	parts := strings.Split(strings.ReplaceAll(value, `\x1b`, "\x1b"), `\`)
	switch info.VRs[0] {
	case "SQ":
		var item []*dicom.Element
		for i, t := range []tag.Tag{tag.CodeValue, tag.CodingSchemeDesignator, tag.CodeMeaning}[:min(3, len(parts))] {
			e, err := dicom.NewElement(t, []string{parts[i]})
			if err != nil {
				return nil, err
			}
			item = append(item, e)
		}
		return dicom.NewElement(info.Tag, [][]*dicom.Element{item})
	case "US":
	default:
		return dicom.NewElement(info.Tag, parts)
	}
	var numbers []int
	for _, p := range parts {
		n, err := strconv.Atoi(p)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", keyword, err)
		}
		numbers = append(numbers, n)
	}
	return dicom.NewElement(info.Tag, numbers)
}
