package intake_test

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"leadline/imaging"
	"leadline/imaging/intake"
)

// One patient, one study: a needle must never be measured on another's film.
// Each film is of a patient's number, name and birth date, and a study; which of
// them make one case is written beside it.
func TestPatientsAndStudiesApart(t *testing.T) {
	for what, c := range map[string]struct {
		films    [][4]string // number, name, birth date, study
		cases    []string    // of which films each case is
		patients int
	}{
		"one study":            {[][4]string{{"P", "A^B", "19600101", "2.25.8"}, {"P", "A^B", "19600101", "2.25.8"}}, []string{"12"}, 1},
		"two studies":          {[][4]string{{"P", "A^B", "", "2.25.8"}, {"P", "A^B", "", "2.25.9"}}, []string{"1", "2"}, 1},
		"two patients":         {[][4]string{{"P", "A^B", "", "2.25.8"}, {"Q", "C^D", "", "2.25.9"}}, []string{"1", "2"}, 2},
		"two under one study":  {[][4]string{{"P", "A^B", "", "2.25.8"}, {"Q", "A^B", "", "2.25.8"}}, []string{"1", "2"}, 2},
		"one number for two":   {[][4]string{{"P", "A^B", "", "2.25.8"}, {"P", "C^D", "", "2.25.8"}}, []string{"1", "2"}, 2},
		"born on two days":     {[][4]string{{"P", "A^B", "19600101", "2.25.8"}, {"P", "A^B", "19610101", "2.25.8"}}, []string{"1", "2"}, 2},
		"name written twice":   {[][4]string{{"P", "Ähre^B", "", "2.25.8"}, {"P", "ÄHRE^B^^", "", "2.25.8"}}, []string{"12"}, 1},
		"name not given":       {[][4]string{{"P", "A^B", "", "2.25.8"}, {"P", "", "", "2.25.8"}}, []string{"12"}, 1},
		"no number":            {[][4]string{{"", "A^B", "", "2.25.8"}, {"", "C^D", "", "2.25.8"}, {"", "A^B", "", "2.25.8"}}, []string{"13", "2"}, 2},
		"neither, one named":   {[][4]string{{"", "", "", "2.25.8"}, {"", "C^D", "", "2.25.8"}}, []string{"1", "2"}, 2},
		"number with a blank":  {[][4]string{{"P ", "A^B", "", "2.25.8"}, {"P", "A^B", "", "2.25.8"}}, []string{"12"}, 1},
		"no study, one day":    {[][4]string{{"P", "A^B", "", ""}, {"P", "A^B", "", ""}}, []string{"12"}, 1},
		"ideographs after '='": {[][4]string{{"P", "A^B=x^y", "", "2.25.8"}, {"P", "A^B", "", "2.25.8"}}, []string{"12"}, 1},
	} {
		dir := t.TempDir()
		for i, f := range c.films {
			put(t, filepath.Join(dir, fmt.Sprint("IM", i+1)), film{instance: fmt.Sprint("2.25.1", i), patient: f[0], name: f[1], birth: f[2], study: f[3],
				date: "20260102", time: fmt.Sprint("10000", i), series: "1", number: "1"}, classXA)
		}
		all, err := intake.Survey(dir)
		if err != nil {
			t.Errorf("%s: %v", what, err)
			continue
		}
		var got []string
		for _, k := range all.Cases {
			of := ""
			for _, f := range k.Files {
				of += strings.TrimPrefix(k.Relative(f.Header.File), "IM")
			}
			got = append(got, of)
		}
		if !slices.Equal(got, c.cases) || all.Patients() != c.patients {
			t.Errorf("%s: cases of films %q of %d patients, want %q of %d", what, got, all.Patients(), c.cases, c.patients)
		}
		if err := all.Close(); err != nil {
			t.Error(err)
		}
	}
}

func TestChoose(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "disc")
	other := func(f film, patient, study string) film { f.patient, f.study = patient, study; return f }
	put(t, filepath.Join(dir, "IM1"), at("2.25.1", "0900"), classXA)
	put(t, filepath.Join(dir, "sub", "IM2"), other(at("2.25.2", "0800"), "P", "2.25.8"), classXA)
	put(t, filepath.Join(dir, "IM3"), other(at("2.25.3", "1000"), "Q", "2.25.9"), classXA)
	put(t, filepath.Join(dir, "IM4"), other(at("2.25.4", "1100"), "R", "2.25.9"), classXA)
	// By number, by UID, and with blanks around.
	for study, want := range map[string]string{"1": "2.25.2", "2": "2.25.1", "2.25.8": "2.25.2", " 2.25.1 ": "2.25.1", "3": "2.25.3", "4": "2.25.4"} {
		c, err := intake.OpenStudy(dir, study)
		if err != nil {
			t.Errorf("%q: %v", study, err)
			continue
		}
		if len(c.Files) != 1 || c.Files[0].Header.SOPInstance != want || c.Of != 4 || c.Name != fmt.Sprintf("disc, study %d", c.Number) {
			t.Errorf("%q: %s, number %d of %d, %q", study, c.Files[0].Header.SOPInstance, c.Number, c.Of, c.Name)
		}
		if fr, err := c.Files[0].Frame(1, 1); err != nil || fr.Value(3, 1) != 'h' {
			t.Errorf("%q: a frame: %v", study, err)
		}
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}
	for study, says := range map[string][]string{
		"":  {"more than one patient, 4 studies of 3", `1 is patient "P" (FILM^A), study of 2026-01-02, 1 film such as sub/IM2`, `4 is patient "R"`, "--study NUMBER"},
		"5": {`no study "5"`, "--study NUMBER"}, "2.25.7": {`no study "2.25.7"`}, "0": {`no study "0"`}, "-1": {`no study "-1"`},
		"2.25.9": {"2 patients have films under study 2.25.9", "--study NUMBER"},
	} {
		_, err := intake.OpenStudy(dir, study)
		if !errors.Is(err, imaging.ErrBadInput) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v", study, err)
			continue
		}
		for _, s := range says {
			if !strings.Contains(err.Error(), s) {
				t.Errorf("%q: %v: no %q", study, err, s)
			}
		}
	}
	// Where there is one case, its UID and number name it too.
	for _, study := range []string{"", "1", "2.25.8"} {
		c, err := intake.OpenStudy(filepath.Join(dir, "sub"), study)
		if err != nil {
			t.Errorf("%q of one: %v", study, err)
			continue
		}
		if c.Of != 1 || c.Name != "sub" {
			t.Errorf("%q of one: number %d of %d, %q", study, c.Number, c.Of, c.Name)
		}
		c.Close()
	}
}
