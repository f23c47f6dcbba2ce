package radiation

import (
	"fmt"
	"math"
	"slices"

	"leadline/imaging/dicomfile"
)

// Typed is the source of a figure that a person read off the console.
const Typed = "typed in from the console"

// Record is what is known of a case's radiation.
type Record struct {
	Figures []Figure
	Notes   []string
}

// Of gathers a case's figures: of each kind those of the dose reports among
// others, else those of the images' headers, else what was typed in. What was
// typed in stands also where it differs from the files by more than one part in
// a hundred, for then someone must look.
//
// images are the case's images, of the study and patient named; others what lies
// beside them. A report of another study or patient is left out and noted.
func Of(images, others []dicomfile.Set, study, patientID string, typed []Figure) Record {
	var rec Record
	var reports []Figure
	for _, set := range others {
		r, err := Read(set)
		switch {
		case err != nil:
			continue
		case r.Study != study || r.PatientID != patientID:
			rec.Notes = append(rec.Notes, "a dose report of another study is left out")
			continue
		}
		reports = append(reports, r.Figures...)
		for _, n := range r.Notes {
			rec.Notes = append(rec.Notes, "dose report: "+n)
		}
	}
	headers := Headers(images)
	for _, k := range kinds {
		found := of(k, reports)
		if found == nil {
			found = of(k, headers)
		}
		own := of(k, typed)
		if found == nil {
			found = own
		} else {
			for _, f := range own {
				if !slices.ContainsFunc(found, f.agrees) {
					found = append(found, f)
					rec.Notes = append(rec.Notes, fmt.Sprintf("%s: what was typed in differs from the files", k.Words()))
				}
			}
		}
		rec.Figures = append(rec.Figures, found...)
	}
	return rec
}

// agrees reports whether two figures say the same within one part in a hundred.
func (f Figure) agrees(g Figure) bool {
	a, ua := f.Reading()
	b, ub := g.Reading()
	return ua == ub && math.Abs(a-b) <= 0.01*math.Max(a, b)
}

func of(k Kind, all []Figure) []Figure {
	var out []Figure
	for _, f := range all {
		if f.Kind == k {
			out = append(out, f)
		}
	}
	return out
}
