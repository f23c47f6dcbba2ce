package sidecar

import (
	"cmp"
	"strings"

	"leadline/measure/operation"
)

// fieldCodes are the concepts of the fields of the operation.
var fieldCodes = func() map[string]code {
	short := map[string]string{
		"indication": "indication", "procedure": "procedure", "anaesthesia": "anaesthesia", "relaxant": "relaxant",
		"patient-position": "position", "antibiotic": "antibiotic", "time-out": "time-out", "sides-tested": "sides-tested",
		"levels-tested": "levels-tested", "passes": "passes", "chosen-side": "chosen-side", "chosen-level": "chosen-level",
		"chosen-because": "because", "implanted": "implanted", "lot": "lot", "lead-side": "lead-side", "pocket-side": "pocket-side",
		"stylet": "stylet", "lead-unmoved": "unmoved", "final-frontal": "final-frontal", "final-lateral": "final-lateral",
		"impedances": "impedance", "programming": "programming", "explanted": "explanted", "complications": "complications",
		"fluoroscopy-time": "fluoro-time", "dose-area-product": "dose-area", "air-kerma": "air-kerma", "exposures": "exposures", "remarks": "remarks",
	}
	out := map[string]code{}
	for _, f := range operation.Fields() {
		meaning := f.Label
		if f.Form == operation.Dose {
			meaning += ", read off the console"
		}
		out[f.Name] = own("op-"+short[f.Name], meaning)
	}
	return out
}()

// fieldTerms are the words of the fields that have a list. Sides and levels have
// the codes they have elsewhere.
var fieldTerms = func() map[string]vocabulary {
	short := map[string]string{"urge-incontinence": "urge", "urgency-frequency": "frequency", "faecal-incontinence": "faecal",
		"left-lateral": "left-side", "right-lateral": "right-side", "yes given": "given", "no not given": "not-given", "yes done": "done",
		"no not done": "not-done", "yes taken": "taken", "no not taken": "not-taken", "none no pocket": "no-pocket"}
	made := map[string]code{}
	out := map[string]vocabulary{}
	for _, f := range operation.Fields() {
		v := vocabulary{}
		for _, t := range f.Terms {
			if c, ok := sides[t.Word]; ok {
				v[t.Word] = c
				continue
			}
			if c, ok := levels[t.Word]; ok {
				v[t.Word] = c
				continue
			}
			key := t.Word + " " + t.Reads
			if _, ok := made[key]; !ok {
				value := cmp.Or(short[key], short[t.Word], t.Word)
				made[key] = own("is-"+value, upperFirst(t.Reads))
			}
			v[t.Word] = made[key]
		}
		out[f.Name] = v
	}
	return out
}()

// Units of what is read off a console, by the word of the field.
var consoleUnits = map[string]code{
	"s": {"s", "UCUM", "second"}, "min": {"min", "UCUM", "minute"}, "1": unitNone,
	"Gy.cm2": {"Gy.cm2", "UCUM", "Gy.cm2"}, "dGy.cm2": {"dGy.cm2", "UCUM", "dGy.cm2"}, "cGy.cm2": {"cGy.cm2", "UCUM", "cGy.cm2"},
	"mGy.cm2": {"mGy.cm2", "UCUM", "mGy.cm2"}, "uGy.m2": {"uGy.m2", "UCUM", "uGy.m2"}, "mGy.m2": {"mGy.m2", "UCUM", "mGy.m2"},
	"Gy.m2": {"Gy.m2", "UCUM", "Gy.m2"}, "mGy": {"mGy", "UCUM", "milligray"}, "Gy": {"Gy", "UCUM", "gray"}, "uGy": {"uGy", "UCUM", "microgray"},
}

var (
	kindOperation = own("rec-operation", "Record of the operation")
	unitOhm       = code{"Ohm", "UCUM", "ohm"}
)

// upperFirst is s as a code meaning begins.
func upperFirst(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
