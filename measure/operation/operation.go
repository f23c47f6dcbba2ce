// Package operation holds what is recorded of the procedure itself: indication,
// anaesthesia, what was tested and chosen, what was implanted. Every field may be
// blank, and a blank stays one: nothing is inferred from marks or headers.
package operation

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"leadline/imaging"
	"leadline/imaging/radiation"
	"leadline/measure/table"
)

// NotRecorded is what a blank reads.
const NotRecorded = "not recorded"

// Record maps the name of a field to its value in the form in which it is kept: a
// word of the field's list, several with blanks between, a number with its unit, or
// a line of text. A field that is not there is blank.
type Record map[string]string

// Clone is a deep copy.
func (r Record) Clone() Record {
	if r == nil {
		return nil
	}
	out := Record{}
	for k, v := range r {
		out[k] = v
	}
	return out
}

// Form is what a field's value looks like.
type Form int

// The forms.
const (
	Line       Form = iota // a line of text
	OneOf                  // a word of the list, or other: and a line of text
	SeveralOf              // words of the list with blanks between, or other: and text
	Whole                  // a whole number
	Impedances             // contact:ohms with blanks between
	Dose                   // a number with its unit, read off the console
)

// Term is a word of a list, and how it reads.
type Term struct{ Word, Reads string }

// Field is one thing that can be recorded.
type Field struct {
	Name  string
	Label string // as it reads before its value
	Form  Form
	Terms []Term         // of a list
	Kind  radiation.Kind // of a Dose
	Units []string       // of a Dose
}

var (
	yesNo = []Term{{"yes", "yes"}, {"no", "no"}, {"not-checked", "not checked"}}
	sides = []Term{{"left", "LEFT"}, {"right", "RIGHT"}}
	roots = []Term{{"S2", "S2"}, {"S3", "S3"}, {"S4", "S4"}}
)

// fields in the order of an operation.
var fields = []Field{
	{Name: "indication", Label: "Indication", Form: SeveralOf, Terms: []Term{{"urge-incontinence", "urge urinary incontinence"}, {"urgency-frequency", "urgency and frequency"},
		{"retention", "non-obstructive urinary retention"}, {"faecal-incontinence", "faecal incontinence"}}},
	{Name: "procedure", Label: "Procedure", Form: OneOf, Terms: []Term{{"office-test", "office test with temporary wire"}, {"first-stage", "first stage"},
		{"second-stage", "second stage"}, {"single-stage", "single stage"}, {"revision", "revision"}, {"removal", "removal"}}},
	{Name: "anaesthesia", Label: "Anaesthesia", Form: OneOf, Terms: []Term{{"local", "local"}, {"sedation", "local with sedation"}, {"general", "general"}}},
	{Name: "relaxant", Label: "Muscle relaxant", Form: OneOf, Terms: []Term{{"yes", "given"}, {"no", "not given"}}},
	{Name: "patient-position", Label: "Patient position", Form: OneOf, Terms: []Term{{"prone", "prone"}, {"left-lateral", "on the left side"},
		{"right-lateral", "on the right side"}, {"supine", "supine"}}},
	{Name: "antibiotic", Label: "Antibiotic", Form: Line},
	{Name: "time-out", Label: "Time-out", Form: OneOf, Terms: []Term{{"yes", "done"}, {"no", "not done"}}},
	{Name: "sides-tested", Label: "Sides tested", Form: SeveralOf, Terms: sides},
	{Name: "levels-tested", Label: "Levels tested", Form: SeveralOf, Terms: roots},
	{Name: "passes", Label: "Passes", Form: Whole},
	{Name: "chosen-side", Label: "Side chosen", Form: OneOf, Terms: append(slices.Clone(sides), Term{"both", "LEFT and RIGHT"})},
	{Name: "chosen-level", Label: "Level chosen", Form: OneOf, Terms: roots},
	{Name: "chosen-because", Label: "Why chosen", Form: Line},
	{Name: "implanted", Label: "Implanted", Form: Line},
	{Name: "lot", Label: "Lot or serial", Form: Line},
	{Name: "lead-side", Label: "Lead side", Form: OneOf, Terms: append(slices.Clone(sides), Term{"both", "LEFT and RIGHT"})},
	{Name: "pocket-side", Label: "Pocket side", Form: OneOf, Terms: append(slices.Clone(sides), Term{"none", "no pocket"})},
	{Name: "stylet", Label: "Stylet", Form: OneOf, Terms: []Term{{"straight", "straight"}, {"curved", "curved"}}},
	{Name: "lead-unmoved", Label: "Lead unmoved after sheath and stylet came out", Form: OneOf, Terms: yesNo},
	{Name: "final-frontal", Label: "Final frontal film after that", Form: OneOf, Terms: []Term{{"yes", "taken"}, {"no", "not taken"}}},
	{Name: "final-lateral", Label: "Final lateral film after that", Form: OneOf, Terms: []Term{{"yes", "taken"}, {"no", "not taken"}}},
	{Name: "impedances", Label: "Impedances", Form: Impedances},
	{Name: "programming", Label: "Programming", Form: Line},
	{Name: "explanted", Label: "Explanted", Form: Line},
	{Name: "complications", Label: "Complications", Form: Line},
	{Name: "fluoroscopy-time", Label: "Fluoroscopy time", Form: Dose, Kind: radiation.FluoroscopyTime, Units: []string{"s", "min"}},
	{Name: "dose-area-product", Label: "Dose-area product", Form: Dose, Kind: radiation.DoseAreaProduct,
		Units: []string{"Gy.cm2", "dGy.cm2", "cGy.cm2", "mGy.cm2", "uGy.m2", "mGy.m2", "Gy.m2"}},
	{Name: "air-kerma", Label: "Air kerma at the reference point", Form: Dose, Kind: radiation.AirKerma, Units: []string{"mGy", "Gy", "uGy"}},
	{Name: "exposures", Label: "Exposures", Form: Dose, Kind: radiation.Exposures, Units: []string{"1"}},
	{Name: "remarks", Label: "Remarks", Form: Line},
}

// Fields in the order of an operation.
func Fields() []Field { return slices.Clone(fields) }

// FieldNamed finds a field.
func FieldNamed(name string) (Field, bool) {
	i := slices.IndexFunc(fields, func(f Field) bool { return f.Name == name })
	if i < 0 {
		return Field{}, false
	}
	return fields[i], true
}

// maxLine is the longest line of text, in characters.
const maxLine = 500

// Set records a value as a person typed it, or, where it is empty, makes the field
// blank. An unknown field or a value that does not fit gives imaging.ErrBadInput,
// and the record stays as it is.
func (r Record) Set(name, value string) error {
	f, ok := FieldNamed(name)
	if !ok {
		var names []string
		for _, f := range fields {
			names = append(names, f.Name)
		}
		return fault("field %s is not known: use %s", table.Quote(name), strings.Join(names, ", "))
	}
	value = strings.TrimSpace(value)
	if value == "" {
		delete(r, name)
		return nil
	}
	kept, err := f.keep(value)
	if err != nil {
		return err
	}
	r[name] = kept
	return nil
}

// Check holds every field to its form, in which Set leaves it.
func (r Record) Check() error {
	for name, value := range r {
		f, ok := FieldNamed(name)
		if !ok {
			return fault("field %s is not known", table.Quote(name))
		}
		kept, err := f.keep(value)
		if err != nil {
			return err
		}
		if kept != value {
			return fault("%s %s is not as it is kept, %s", name, table.Quote(value), table.Quote(kept))
		}
	}
	return nil
}

// keep brings a value into the form in which it is kept.
func (f Field) keep(value string) (string, error) {
	if !utf8.ValidString(value) || utf8.RuneCountInString(value) > maxLine || strings.ContainsFunc(value, func(c rune) bool {
		return unicode.IsControl(c) || unicode.In(c, unicode.Cf, unicode.Zl, unicode.Zp)
	}) {
		return "", fault("%s: a line of at most %d characters, without control characters", f.Name, maxLine)
	}
	switch f.Form {
	case OneOf, SeveralOf:
		return f.words(value)
	case Whole:
		n, err := strconv.ParseUint(value, 10, 16)
		if err != nil || n > 1000 {
			return "", fault("%s %s is not a whole number up to 1000", f.Name, table.Quote(value))
		}
		return strconv.FormatUint(n, 10), nil
	case Impedances:
		return f.impedances(value)
	case Dose:
		figure, err := f.dose(value)
		if err != nil {
			return "", err
		}
		if figure.Unit == "1" {
			return plainNumber(figure.Value), nil
		}
		return plainNumber(figure.Value) + " " + figure.Unit, nil
	}
	return value, nil
}

// words reads words of the list.
func (f Field) words(value string) (string, error) {
	if rest, ok := strings.CutPrefix(value, "other:"); ok {
		if rest = strings.TrimSpace(rest); rest == "" {
			return "", fault("%s: say what after other:", f.Name)
		}
		return "other: " + rest, nil
	}
	given := strings.Fields(strings.ReplaceAll(value, ",", " "))
	if f.Form == OneOf && len(given) > 1 {
		return "", fault("%s takes one of %s, or other: and a few words", f.Name, f.list())
	}
	var kept []string
	for _, t := range f.Terms { // in the order of the list
		if slices.Contains(given, t.Word) {
			kept = append(kept, t.Word)
		}
	}
	for _, w := range given {
		if !slices.Contains(kept, w) {
			return "", fault("%s %s is not known: use %s, or other: and a few words", f.Name, table.Quote(w), f.list())
		}
	}
	return strings.Join(kept, " "), nil
}

func (f Field) list() string {
	var words []string
	for _, t := range f.Terms {
		words = append(words, t.Word)
	}
	return strings.Join(words, ", ")
}

var impedance = regexp.MustCompile(`^([0-9]|1[0-5]):([1-9][0-9]{0,5})$`)

// impedances reads contact:ohms, contacts in their order.
func (f Field) impedances(value string) (string, error) {
	at := map[int]string{}
	for _, w := range strings.Fields(strings.ReplaceAll(value, ",", " ")) {
		m := impedance.FindStringSubmatch(w)
		if m == nil {
			return "", fault("%s %s is not a contact with its ohms: write 0:812 1:790, contact 0 nearest the tip", f.Name, table.Quote(w))
		}
		n, _ := strconv.Atoi(m[1])
		if at[n] != "" {
			return "", fault("%s: contact %d stands there twice", f.Name, n)
		}
		at[n] = w
	}
	var kept []string
	for n := range 16 {
		if at[n] != "" {
			kept = append(kept, at[n])
		}
	}
	return strings.Join(kept, " "), nil
}

var numberWithUnit = regexp.MustCompile(`^([0-9]+(?:\.[0-9]+)?) *([A-Za-zµ][A-Za-zµ.·*²2]*)?$`)

// dose reads a number and its unit.
func (f Field) dose(value string) (radiation.Figure, error) {
	m := numberWithUnit.FindStringSubmatch(value)
	if m == nil {
		return radiation.Figure{}, fault("%s %s is not a number with its unit, such as %s", f.Name, table.Quote(value), f.example())
	}
	unit := strings.NewReplacer("·", ".", "*", ".", "²", "2", "µ", "u").Replace(m[2])
	v, err := strconv.ParseFloat(m[1], 64)
	counted := f.Units[0] == "1"
	switch {
	case err != nil || v > 1e6:
		return radiation.Figure{}, fault("%s %s is more than can be meant", f.Name, table.Quote(value))
	case counted && (unit != "" || v != float64(int(v))):
		return radiation.Figure{}, fault("%s %s is not a whole number", f.Name, table.Quote(value))
	case counted:
		unit = "1"
	case unit == "":
		return radiation.Figure{}, fault("%s %s has no unit: say which of %s", f.Name, table.Quote(value), strings.Join(f.Units, ", "))
	case !slices.Contains(f.Units, unit):
		return radiation.Figure{}, fault("%s: unit %s is none of %s", f.Name, table.Quote(unit), strings.Join(f.Units, ", "))
	}
	return radiation.Figure{Kind: f.Kind, Value: v, Unit: unit, Source: radiation.Typed}, nil
}

func (f Field) example() string {
	if f.Units[0] == "1" {
		return "7"
	}
	return "62 " + f.Units[0]
}

func plainNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func fault(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{imaging.ErrBadInput}, args...)...)
}
