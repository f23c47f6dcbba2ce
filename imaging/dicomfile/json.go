package dicomfile

import (
	"bytes"
	"cmp"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging"
)

// Bounds of a DICOM JSON document that DecodeJSON accepts. A document of one
// data set's attributes without bulk data stays far below them.
const (
	MaxJSONBytes   = 32 << 20 // length of the document
	maxJSONNesting = 96       // nested objects and arrays; a sequence takes three
	maxJSONNodes   = 2 << 20  // values in the document
)

// EncodeJSON gives the data set as a DICOM JSON Model object (PS3.18 annex F):
// UTF-8, attributes in ascending order, empty ones without Value, DS and IS as
// numbers where their text is a JSON number. Group lengths and the file's group
// 2 are left out (F.2.2). Equal data sets give equal bytes.
//
// A data set with pixel data, a value of the wrong kind for its VR, text that
// is not UTF-8 or a number that is not finite gives imaging.ErrBadInput.
func EncodeJSON(ds dicom.Dataset) ([]byte, error) {
	var b bytes.Buffer
	if err := writeJSONSet(&b, ds.Elements, 0); err != nil {
		return nil, err
	}
	b.WriteByte('\n')
	return b.Bytes(), nil
}

func writeJSONSet(b *bytes.Buffer, elements []*dicom.Element, depth int) error {
	if depth > maxJSONNesting/3 {
		return fmt.Errorf("%w: sequences nested deeper than %d", imaging.ErrBadInput, maxJSONNesting/3)
	}
	kept := make([]*dicom.Element, 0, len(elements))
	for _, e := range elements {
		if e == nil || e.Value == nil {
			return fmt.Errorf("%w: the data set holds an element without a value", imaging.ErrBadInput)
		}
		if e.Tag.Group != tag.MetadataGroup && e.Tag.Element != 0 {
			kept = append(kept, e)
		}
	}
	slices.SortStableFunc(kept, func(a, b *dicom.Element) int { return cmp.Compare(a.Tag.Uint32(), b.Tag.Uint32()) })
	b.WriteByte('{')
	for i, e := range kept {
		if i > 0 {
			b.WriteByte(',')
			if e.Tag == kept[i-1].Tag {
				return fmt.Errorf("%w: element %s is there twice", imaging.ErrBadInput, e.Tag)
			}
		}
		fmt.Fprintf(b, `"%04X%04X":{"vr":%q`, e.Tag.Group, e.Tag.Element, e.RawValueRepresentation)
		if err := writeJSONValue(b, e, depth); err != nil {
			return fmt.Errorf("element %s: %w", e.Tag, err)
		}
		b.WriteByte('}')
	}
	b.WriteByte('}')
	return nil
}

func writeJSONValue(b *bytes.Buffer, e *dicom.Element, depth int) error {
	vr := e.RawValueRepresentation
	wrong := fmt.Errorf("%w: a value of VR %q cannot be %T", imaging.ErrBadInput, vr, e.Value.GetValue())
	list := func(n int, one func(i int) error) error {
		if n == 0 {
			return nil
		}
		b.WriteString(`,"Value":[`)
		for i := range n {
			if i > 0 {
				b.WriteByte(',')
			}
			if err := one(i); err != nil {
				return err
			}
		}
		b.WriteByte(']')
		return nil
	}
	switch v := e.Value.GetValue().(type) {
	case []string:
		if !textVR(vr) {
			return wrong
		}
		if len(v) == 1 && v[0] == "" {
			v = nil
		}
		return list(len(v), func(i int) error { return writeJSONText(b, vr, v[i]) })
	case []int:
		if vr != "US" && vr != "SS" && vr != "UL" && vr != "SL" {
			return wrong
		}
		return list(len(v), func(i int) error {
			b.WriteString(strconv.Itoa(v[i]))
			return nil
		})
	case []float64:
		if vr != "FL" && vr != "FD" {
			return wrong
		}
		return list(len(v), func(i int) error {
			x := v[i]
			if vr == "FL" {
				// All digits of the single-precision number, so that a reader that
				// takes it for a double gets the same.
				x = float64(float32(x))
			}
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return fmt.Errorf("%w: %g is not a finite number", imaging.ErrBadInput, v[i])
			}
			b.WriteString(strconv.FormatFloat(x, 'g', -1, 64))
			return nil
		})
	case []byte:
		if vr != "OB" && vr != "OW" && vr != "UN" {
			return wrong
		}
		if len(v) > 0 {
			fmt.Fprintf(b, `,"InlineBinary":"%s"`, base64.StdEncoding.EncodeToString(v))
		}
		return nil
	case []*dicom.SequenceItemValue:
		if vr != "SQ" {
			return wrong
		}
		return list(len(v), func(i int) error {
			return writeJSONSet(b, v[i].GetValue().([]*dicom.Element), depth+1)
		})
	}
	return wrong
}

// textVR reports whether values of the VR are character strings (PS3.5 6.2).
func textVR(vr string) bool {
	switch vr {
	case "AE", "AS", "CS", "DA", "DS", "DT", "IS", "LO", "LT", "PN", "SH", "ST", "TM", "UC", "UI", "UR", "UT":
		return true
	}
	return false
}

func writeJSONText(b *bytes.Buffer, vr, s string) error {
	if !utf8.ValidString(s) {
		return fmt.Errorf("%w: %q is not UTF-8", imaging.ErrBadInput, s)
	}
	switch {
	case s == "":
		b.WriteString("null") // F.2.5
		return nil
	case vr == "PN":
		// F.2.2: each non-empty component group by its name.
		groups := strings.SplitN(s, "=", 3)
		b.WriteByte('{')
		first := true
		for i, name := range []string{"Alphabetic", "Ideographic", "Phonetic"} {
			if i < len(groups) && groups[i] != "" {
				if !first {
					b.WriteByte(',')
				}
				first = false
				fmt.Fprintf(b, `%q:%s`, name, quoteJSON(groups[i]))
			}
		}
		b.WriteByte('}')
		return nil
	case (vr == "DS" || vr == "IS") && json.Valid([]byte(s)) && strings.IndexFunc(s, notNumeral) < 0:
		b.WriteString(s)
		return nil
	}
	b.WriteString(quoteJSON(s))
	return nil
}

func notNumeral(r rune) bool { return !strings.ContainsRune("0123456789+-.eE", r) }

func quoteJSON(s string) string {
	var b strings.Builder
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.Encode(s) // of a string, to memory: cannot fail
	return strings.TrimSuffix(b.String(), "\n")
}

// DecodeJSON reads a DICOM JSON Model object (PS3.18 annex F) as EncodeJSON
// writes it; attributes may stand in any order. A document that is too large,
// nested too deep, names an attribute twice, refers to bulk data elsewhere or
// is not of that form gives imaging.ErrBadInput.
func DecodeJSON(doc []byte) (dicom.Dataset, error) {
	if len(doc) > MaxJSONBytes {
		return dicom.Dataset{}, fmt.Errorf("%w: %d bytes of JSON are more than %d", imaging.ErrBadInput, len(doc), MaxJSONBytes)
	}
	if !utf8.Valid(doc) {
		return dicom.Dataset{}, fmt.Errorf("%w: not UTF-8", imaging.ErrBadInput)
	}
	p := jsonParser{dec: json.NewDecoder(bytes.NewReader(doc))}
	p.dec.UseNumber()
	root, err := p.value(0)
	if err != nil {
		return dicom.Dataset{}, err
	}
	if _, err := p.dec.Token(); err != io.EOF {
		return dicom.Dataset{}, fmt.Errorf("%w: more after the end of the JSON object", imaging.ErrBadInput)
	}
	elements, err := readJSONSet(root)
	return dicom.Dataset{Elements: elements}, err
}

// jsonParser builds a tree of jsonObject, []any, string, json.Number, bool and
// nil, counting nodes and refusing a name that stands twice in one object.
type jsonParser struct {
	dec   *json.Decoder
	nodes int
}

type jsonObject map[string]any

func (p *jsonParser) value(depth int) (any, error) {
	t, err := p.dec.Token()
	if err != nil {
		return nil, p.broken(err)
	}
	if p.nodes++; p.nodes > maxJSONNodes {
		return nil, fmt.Errorf("%w: more than %d values of JSON", imaging.ErrBadInput, maxJSONNodes)
	}
	d, ok := t.(json.Delim)
	if !ok {
		return t, nil
	}
	if depth >= maxJSONNesting {
		return nil, fmt.Errorf("%w: JSON nested deeper than %d", imaging.ErrBadInput, maxJSONNesting)
	}
	if d == '[' {
		var list []any
		for p.dec.More() {
			v, err := p.value(depth + 1)
			if err != nil {
				return nil, err
			}
			list = append(list, v)
		}
		_, err = p.dec.Token()
		return list, p.broken(err)
	}
	object := jsonObject{}
	for p.dec.More() {
		k, err := p.dec.Token()
		if err != nil {
			return nil, p.broken(err)
		}
		name, ok := k.(string)
		if !ok {
			return nil, p.broken(fmt.Errorf("name expected"))
		}
		if _, twice := object[name]; twice {
			return nil, fmt.Errorf("%w: %q stands twice in one JSON object", imaging.ErrBadInput, name)
		}
		if object[name], err = p.value(depth + 1); err != nil {
			return nil, err
		}
	}
	_, err = p.dec.Token()
	return object, p.broken(err)
}

func (p *jsonParser) broken(err error) error {
	if err == nil {
		return nil
	}
	if err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	return fmt.Errorf("%w: JSON broken at byte %d: %v", imaging.ErrBadInput, p.dec.InputOffset(), err)
}

func readJSONSet(node any) ([]*dicom.Element, error) {
	object, ok := node.(jsonObject)
	if !ok {
		return nil, fmt.Errorf("%w: a data set must be a JSON object", imaging.ErrBadInput)
	}
	elements := make([]*dicom.Element, 0, len(object))
	for name, attribute := range object {
		e, err := readJSONElement(name, attribute)
		if err != nil {
			return nil, fmt.Errorf("attribute %q: %w", name, err)
		}
		elements = append(elements, e)
	}
	slices.SortFunc(elements, func(a, b *dicom.Element) int { return cmp.Compare(a.Tag.Uint32(), b.Tag.Uint32()) })
	return elements, nil
}

func readJSONElement(name string, attribute any) (*dicom.Element, error) {
	number, err := strconv.ParseUint(name, 16, 32)
	if err != nil || len(name) != 8 || strings.ToUpper(name) != name {
		return nil, fmt.Errorf("%w: a name is eight upper case hexadecimal digits", imaging.ErrBadInput)
	}
	t := tag.Tag{Group: uint16(number >> 16), Element: uint16(number)}
	if t.Group <= tag.MetadataGroup || t.Group == tag.GroupSeqItem || t.Element == 0 || t == tag.PixelData {
		return nil, fmt.Errorf("%w: has no place in a JSON data set", imaging.ErrBadInput)
	}
	object, ok := attribute.(jsonObject)
	if !ok {
		return nil, fmt.Errorf("%w: not a JSON object", imaging.ErrBadInput)
	}
	vr, ok := object["vr"].(string)
	if !ok {
		return nil, fmt.Errorf("%w: has no vr", imaging.ErrBadInput)
	}
	var list []any
	var inline string
	for key, v := range object {
		switch key {
		case "vr":
		case "Value":
			if list, ok = v.([]any); !ok {
				return nil, fmt.Errorf("%w: Value is not an array", imaging.ErrBadInput)
			}
		case "InlineBinary":
			if inline, ok = v.(string); !ok {
				return nil, fmt.Errorf("%w: InlineBinary is not a string", imaging.ErrBadInput)
			}
		default:
			return nil, fmt.Errorf("%w: %q is not supported here", imaging.ErrBadInput, key)
		}
	}
	data, err := readJSONValues(vr, list, inline)
	if err != nil {
		return nil, err
	}
	value, err := dicom.NewValue(data)
	if err != nil {
		return nil, err
	}
	return &dicom.Element{Tag: t, ValueRepresentation: tag.GetVRKind(t, vr), RawValueRepresentation: vr, Value: value}, nil
}

func readJSONValues(vr string, list []any, inline string) (any, error) {
	if vr == "OB" || vr == "OW" || vr == "UN" {
		data, err := base64.StdEncoding.DecodeString(inline)
		if err != nil || len(list) > 0 {
			return nil, fmt.Errorf("%w: VR %s needs InlineBinary in base64", imaging.ErrBadInput, vr)
		}
		return data, nil
	}
	if inline != "" {
		return nil, fmt.Errorf("%w: VR %s cannot have InlineBinary", imaging.ErrBadInput, vr)
	}
	switch {
	case textVR(vr):
		texts := make([]string, len(list))
		for i, v := range list {
			s, ok := jsonText(vr, v)
			if !ok {
				return nil, fmt.Errorf("%w: value %d does not suit VR %s", imaging.ErrBadInput, i+1, vr)
			}
			texts[i] = s
		}
		return texts, nil
	case vr == "US" || vr == "SS" || vr == "UL" || vr == "SL":
		numbers := make([]int, len(list))
		for i, v := range list {
			n, ok := v.(json.Number)
			x, err := strconv.ParseInt(string(n), 10, 64)
			if !ok || err != nil || !fitsVR(vr, x) {
				return nil, fmt.Errorf("%w: value %d does not suit VR %s", imaging.ErrBadInput, i+1, vr)
			}
			numbers[i] = int(x)
		}
		return numbers, nil
	case vr == "FL" || vr == "FD":
		bits := 64
		if vr == "FL" {
			bits = 32
		}
		numbers := make([]float64, len(list))
		for i, v := range list {
			n, ok := v.(json.Number)
			x, err := strconv.ParseFloat(string(n), bits)
			if !ok || err != nil {
				return nil, fmt.Errorf("%w: value %d does not suit VR %s", imaging.ErrBadInput, i+1, vr)
			}
			numbers[i] = x
		}
		return numbers, nil
	case vr == "SQ":
		items := make([][]*dicom.Element, len(list))
		for i, v := range list {
			item, err := readJSONSet(v)
			if err != nil {
				return nil, fmt.Errorf("item %d: %w", i+1, err)
			}
			items[i] = item
		}
		return items, nil
	}
	return nil, fmt.Errorf("%w: VR %q is not supported here", imaging.ErrBadInput, vr)
}

func fitsVR(vr string, x int64) bool {
	switch vr {
	case "US":
		return x >= 0 && x <= math.MaxUint16
	case "SS":
		return x >= math.MinInt16 && x <= math.MaxInt16
	case "UL":
		return x >= 0 && x <= math.MaxUint32
	}
	return x >= math.MinInt32 && x <= math.MaxInt32
}

func jsonText(vr string, v any) (string, bool) {
	switch v := v.(type) {
	case nil:
		return "", true
	case string:
		return v, vr != "PN"
	case json.Number:
		return string(v), vr == "DS" || vr == "IS"
	case jsonObject:
		var groups [3]string
		for name, g := range v {
			i := slices.Index([]string{"Alphabetic", "Ideographic", "Phonetic"}, name)
			s, ok := g.(string)
			if i < 0 || !ok || strings.Contains(s, "=") {
				return "", false
			}
			groups[i] = s
		}
		return strings.TrimRight(strings.Join(groups[:], "="), "="), vr == "PN"
	}
	return "", false
}
