package note

import (
	"regexp"
	"strings"

	"leadline/imaging"
	"leadline/measure/placement"
)

// Nameless takes the names of the images' files out of words: a file may be
// named for the patient, and notes and pictures travel. A name before a colon
// becomes the view it stands for; elsewhere a name long enough not to be a
// common word becomes "the film".
func Nameless(words string, p placement.Placement) string {
	for _, f := range p.Films {
		name := f.Film.File
		if name == "" {
			continue
		}
		if rest, ok := strings.CutPrefix(words, name+": "); ok {
			words = filmName(f.View) + ": " + rest
		}
		words = strings.ReplaceAll(words, "the view of "+name+" is", "the view of a film is")
		if len(name) >= 4 {
			words = strings.ReplaceAll(words, name, "the film")
		}
	}
	return words
}

func filmName(v imaging.View) string {
	switch v {
	case imaging.Frontal:
		return "Frontal film"
	case imaging.Lateral:
		return "Lateral film"
	case imaging.Oblique:
		return "Oblique film"
	}
	return "Film of unknown view"
}

// instruction is what a caution asks its reader to do about the marks.
var instruction = regexp.MustCompile(`[:;] (confirm|correct|mark|state|give)\b[^.;]*`)

// plain is a caution as it belongs in a patient's record: what is so, without
// a file's name and without what the observer might do about it.
func plain(caution string, p placement.Placement) string {
	return instruction.ReplaceAllString(Nameless(caution, p), "")
}
