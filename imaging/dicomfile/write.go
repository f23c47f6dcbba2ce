package dicomfile

import (
	"bufio"
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"github.com/google/renameio/v2"
	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
	"leadline/imaging/codec"
)

// ImplementationClass and ImplementationVersion stand in the header of every
// file written here (PS3.7 D.3.3.2; the UID is derived from a UUID, PS3.5 B.2).
const (
	ImplementationClass   = "2.25.329355144583168471843678564748831373791"
	ImplementationVersion = "LEADLINE"
)

// Write makes a DICOM file (PS3.10 section 7) of a data set, explicit VR
// little endian: the file is there whole, or not at all, and one that was
// there before stays until then. The data set's own group 2 is replaced.
// Elements are put in ascending order. Text is written as it stands, so a data
// set with more than ASCII names its Specific Character Set (ISO_IR 192 for
// UTF-8). Pixel Data are native: frames of uint8 or uint16 samples, or their
// bytes as UnprocessedValueData, little endian.
//
// A data set that cannot be written as it stands gives imaging.ErrBadInput.
func Write(path string, ds dicom.Dataset) error {
	dir := filepath.Dir(path)
	pending, err := renameio.NewPendingFile(path, renameio.WithTempDir(dir), renameio.WithPermissions(0o644))
	if err != nil {
		return fmt.Errorf("%s: cannot be written: %w", path, err)
	}
	defer pending.Cleanup()
	out := bufio.NewWriterSize(pending, 1<<20)
	if err := Encode(out, ds); err != nil {
		return fmt.Errorf("%s: cannot be written: %w", path, err)
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("%s: cannot be written: %w", path, err)
	}
	if err := pending.CloseAtomicallyReplace(); err != nil {
		return fmt.Errorf("%s: cannot be written: %w", path, err)
	}
	return syncFolder(dir)
}

// syncFolder makes a rename in the folder survive a crash of the machine.
func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("%s: cannot be synced: %w", dir, err)
	}
	defer d.Close()
	// Some file systems cannot sync a folder; the file itself is safe there.
	if err := d.Sync(); err != nil && !errors.Is(err, errors.ErrUnsupported) && !errors.Is(err, syscall.EINVAL) {
		return fmt.Errorf("%s: cannot be synced: %w", dir, err)
	}
	return nil
}

// Encode writes the data set to w as Write does to a file.
func Encode(w io.Writer, ds dicom.Dataset) error {
	body, err := prepared(ds.Elements, 0)
	if err != nil {
		return err
	}
	set := dicom.Dataset{Elements: body}
	class, err := required(&set, tag.SOPClassUID, "SOP Class UID")
	if err != nil {
		return err
	}
	instance, err := required(&set, tag.SOPInstanceUID, "SOP Instance UID")
	if err != nil {
		return err
	}
	var meta []*dicom.Element
	for _, m := range []struct {
		t tag.Tag
		v any
	}{
		{tag.FileMetaInformationVersion, []byte{0, 1}},
		{tag.MediaStorageSOPClassUID, []string{class}},
		{tag.MediaStorageSOPInstanceUID, []string{instance}},
		{tag.TransferSyntaxUID, []string{codec.ExplicitLittleEndian}},
		{tag.ImplementationClassUID, []string{ImplementationClass}},
		{tag.ImplementationVersionName, []string{ImplementationVersion}},
	} {
		e, err := dicom.NewElement(m.t, m.v)
		if err != nil {
			return err
		}
		meta = append(meta, e)
	}
	if err := dicom.Write(w, dicom.Dataset{Elements: meta}); err != nil {
		return err
	}
	elements, err := dicom.NewWriter(w)
	if err != nil {
		return err
	}
	elements.SetTransferSyntax(binary.LittleEndian, false)
	for _, e := range body {
		if e.Tag == tag.PixelData {
			// The library copies a value twice before it writes it; pixels go straight out.
			if err := writePixels(w, e); err != nil {
				return err
			}
			continue
		}
		if err := elements.WriteElement(e); err != nil {
			return fmt.Errorf("%w: element %s: %v", imaging.ErrBadInput, e.Tag, err)
		}
	}
	return nil
}

func required(ds *dicom.Dataset, t tag.Tag, name string) (string, error) {
	if e, err := ds.FindElementByTag(t); err == nil {
		if v, ok := e.Value.GetValue().([]string); ok && len(v) == 1 && v[0] != "" {
			return v[0], nil
		}
	}
	return "", fmt.Errorf("%w: the data set has no %s %s", imaging.ErrBadInput, name, t)
}

// prepared is a sorted copy of elements without group 2, checked for what the
// library would write wrongly without a word: values longer than a 16-bit
// length or their representation allows, numbers that do not fit, and the
// padding of UC and UR (PS3.5 6.2).
func prepared(elements []*dicom.Element, depth int) ([]*dicom.Element, error) {
	if depth > maxNesting {
		return nil, fmt.Errorf("%w: sequences nested deeper than %d", imaging.ErrBadInput, maxNesting)
	}
	var out []*dicom.Element
	for _, e := range elements {
		if e == nil || e.Value == nil {
			return nil, fmt.Errorf("%w: the data set holds an element without a value", imaging.ErrBadInput)
		}
		if e.Tag.Group == tag.MetadataGroup {
			continue
		}
		c := *e
		switch v := e.Value.GetValue().(type) {
		case []string:
			n := max(0, len(v)-1)
			for _, s := range v {
				n += len(s)
			}
			if most := longest[c.RawValueRepresentation]; most > 0 {
				for _, s := range v {
					for one := range strings.SplitSeq(s, `\`) {
						if len(one) > most {
							return nil, fmt.Errorf("%w: element %s: %q is longer than the %d characters of %s (PS3.5 table 6.2-1)",
								imaging.ErrBadInput, c.Tag, shorten(one), most, c.RawValueRepresentation)
						}
					}
				}
			}
			switch c.RawValueRepresentation {
			case "UC", "UR":
				if n%2 == 1 {
					v = slices.Clone(v)
					v[len(v)-1] += " "
					value, err := dicom.NewValue(v)
					if err != nil {
						return nil, err
					}
					c.Value = value
				}
			case "UT":
			default:
				if n > 0xfffe {
					return nil, tooLong(c.Tag, n)
				}
			}
		case []int, []float64:
			if n := numberBytes(c.RawValueRepresentation, v); n > 0xfffe {
				return nil, tooLong(c.Tag, n)
			}
			if err := inRange(c.RawValueRepresentation, v); err != nil {
				return nil, fmt.Errorf("%w: element %s: %v", imaging.ErrBadInput, c.Tag, err)
			}
		case []*dicom.SequenceItemValue:
			items := make([][]*dicom.Element, len(v))
			for i, item := range v {
				inner, err := prepared(item.GetValue().([]*dicom.Element), depth+1)
				if err != nil {
					return nil, err
				}
				items[i] = inner
			}
			value, err := dicom.NewValue(items)
			if err != nil {
				return nil, err
			}
			c.Value = value
		}
		out = append(out, &c)
	}
	slices.SortStableFunc(out, func(a, b *dicom.Element) int { return cmp.Compare(a.Tag.Uint32(), b.Tag.Uint32()) })
	for i := 1; i < len(out); i++ {
		if out[i].Tag == out[i-1].Tag {
			return nil, fmt.Errorf("%w: element %s is there twice", imaging.ErrBadInput, out[i].Tag)
		}
	}
	return out, nil
}

// numberBytes is the length of a value of numbers (PS3.5 table 6.2-1).
func numberBytes(vr string, v any) int {
	size := 4
	switch vr {
	case "US", "SS", "AT":
		size = 2
	case "FD":
		size = 8
	}
	switch v := v.(type) {
	case []int:
		return size * len(v)
	case []float64:
		return size * len(v)
	}
	return 0
}

// longest is the most characters of a value, where they are bytes too.
var longest = map[string]int{"AE": 16, "AS": 4, "CS": 16, "DA": 8, "DS": 16, "IS": 12, "TM": 14, "DT": 26, "UI": 64}

// inRange makes sure that numbers keep their value in the representation, which
// the library cuts them to.
func inRange(vr string, v any) error {
	lo, hi := math.Inf(-1), math.Inf(1)
	switch vr {
	case "US", "AT":
		lo, hi = 0, math.MaxUint16
	case "SS":
		lo, hi = math.MinInt16, math.MaxInt16
	case "UL":
		lo, hi = 0, math.MaxUint32
	case "SL":
		lo, hi = math.MinInt32, math.MaxInt32
	case "FL":
		lo, hi = -math.MaxFloat32, math.MaxFloat32
	}
	switch v := v.(type) {
	case []int:
		for _, n := range v {
			if float64(n) < lo || float64(n) > hi {
				return fmt.Errorf("%d does not fit into %s", n, vr)
			}
		}
	case []float64:
		for _, f := range v {
			if math.IsNaN(f) || math.IsInf(f, 0) || f < lo || f > hi {
				return fmt.Errorf("%g does not fit into %s", f, vr)
			}
		}
	}
	return nil
}

func tooLong(t tag.Tag, n int) error {
	return fmt.Errorf("%w: element %s: %d bytes are more than its length field can say (PS3.5 7.1.2)", imaging.ErrBadInput, t, n)
}

// writePixels writes native Pixel Data (PS3.5 8.2): 12 bytes of header, then
// the samples little endian, padded to an even length.
func writePixels(w io.Writer, e *dicom.Element) error {
	info, ok := e.Value.GetValue().(dicom.PixelDataInfo)
	if !ok || info.IsEncapsulated || info.IntentionallySkipped || len(info.Frames) == 0 && info.UnprocessedValueData == nil {
		return fmt.Errorf("%w: only native pixel data can be written", imaging.ErrBadInput)
	}
	var length int64
	for _, f := range info.Frames {
		if f == nil || f.NativeData == nil {
			return fmt.Errorf("%w: a frame holds no samples", imaging.ErrBadInput)
		}
		switch s := f.NativeData.RawDataSlice().(type) {
		case []uint8:
			length += int64(len(s))
		case []uint16:
			length += 2 * int64(len(s))
		default:
			return fmt.Errorf("%w: samples are written from uint8 or uint16, not %T", imaging.ErrBadInput, s)
		}
	}
	if len(info.Frames) == 0 {
		length = int64(len(info.UnprocessedValueData))
	}
	padded := length + length%2
	if padded >= 0xffffffff {
		return fmt.Errorf("%w: %d bytes of pixel data are more than a DICOM element can hold", imaging.ErrBadInput, padded)
	}
	vr := e.RawValueRepresentation
	if vr != "OB" {
		vr = "OW"
	}
	head := make([]byte, 12)
	binary.LittleEndian.PutUint16(head, e.Tag.Group)
	binary.LittleEndian.PutUint16(head[2:], e.Tag.Element)
	copy(head[4:], vr)
	binary.LittleEndian.PutUint32(head[8:], uint32(padded))
	if _, err := w.Write(head); err != nil {
		return err
	}
	if len(info.Frames) == 0 {
		if _, err := w.Write(info.UnprocessedValueData); err != nil {
			return err
		}
	}
	strip := make([]byte, 0, 1<<16)
	for _, f := range info.Frames {
		switch s := f.NativeData.RawDataSlice().(type) {
		case []uint8:
			if _, err := w.Write(s); err != nil {
				return err
			}
		case []uint16:
			for len(s) > 0 {
				n := min(len(s), cap(strip)/2)
				strip = strip[:0]
				for _, v := range s[:n] {
					strip = binary.LittleEndian.AppendUint16(strip, v)
				}
				if _, err := w.Write(strip); err != nil {
					return err
				}
				s = s[n:]
			}
		}
	}
	if padded > length {
		if _, err := w.Write([]byte{0}); err != nil {
			return err
		}
	}
	return nil
}
