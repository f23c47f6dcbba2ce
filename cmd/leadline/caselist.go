package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"leadline/imaging"
	"leadline/imaging/intake"
	"leadline/measure/mark"
	"leadline/measure/placement"
	"leadline/measure/sidecar"
)

// viewOpen says whether nobody has stated which view a film is and its header
// does not tell, or tells two.
func viewOpen(f placement.FilmReading) bool {
	return f.View == imaging.NoView || strings.Contains(f.ViewSource, "; ") && !strings.HasPrefix(f.ViewSource, "stated")
}

// printFilms prints a line for each file of the case.
func printFilms(w io.Writer, kase *intake.Case, films []placement.FilmReading) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  taken\tview\tfile\tframes\tscale")
	for _, file := range kase.Files {
		h := file.Header
		i := slices.IndexFunc(films, func(f placement.FilmReading) bool { return f.Film.Ref.Instance == h.SOPInstance })
		if i < 0 {
			continue
		}
		film := films[i]
		view := orWords(string(film.View), "not known")
		scale := "none"
		if s := film.Scale; s.Known {
			scale = fmt.Sprintf("%.4g mm per pixel", s.Row)
		}
		fmt.Fprintf(t, "  %s\t%s\t%s\t%d\t%s\n", timeOfDay(h), view, oneLine(kase.Relative(h.File)), h.Frames, scale)
	}
	t.Flush()
}

// timeOfDay the frame was taken, as 10:15:00.
func timeOfDay(h *imaging.Header) string {
	digits := strings.ReplaceAll(h.AcquisitionTime, ":", "")
	if whole, _, _ := strings.Cut(digits, "."); len(whole) == 6 && strings.Trim(whole, "0123456789") == "" {
		return whole[:2] + ":" + whole[2:4] + ":" + whole[4:]
	}
	return orWords(oneLine(h.AcquisitionTime), "not known")
}

// printCases prints the cases of a folder or archive that holds several, so
// that one can be chosen. It names the patients: there is no other way to tell
// whose they are.
func (r *reader) printCases(w io.Writer, all *intake.Collection) {
	fmt.Fprintf(w, "%s holds %d cases of %s. Films of different patients or studies are never mixed.\n\n",
		all.Name, len(all.Cases), count(all.Patients(), "patient"))
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  study\tdate\tfirst film\tpatient\tfilms\tviews\tmarked by\tUID")
	for _, k := range all.Cases {
		h := k.Files[0].Header
		names, err := sidecar.ObserversOf(orWords(r.marks, k.Dir), k.Headers())
		by := orWords(oneLine(strings.Join(names, ", ")), "nobody")
		if err != nil {
			by = "cannot be read"
		}
		fmt.Fprintf(t, "  %d\t%s\t%s\t%s\t%d\t%s\t%s\t%s\n", k.Number, oneLine(k.Date()), timeOfDay(h), oneLine(k.Patient()),
			len(k.Files), viewsOf(k), by, orWords(oneLine(h.Study), "not given"))
	}
	t.Flush()
	fmt.Fprintf(w, "\nChoose one with --study, in this command as in every other: leadline list %s --study 1\n", all.Path)
}

// viewsOf the films by their headers, each once.
func viewsOf(k *intake.Case) string {
	var views []string
	for _, h := range k.Headers() {
		v := orWords(string(mark.Read(mark.One(h.SOPInstance, 1), h.Geometry(1), mark.Book{}).View), "not known")
		if !slices.Contains(views, v) {
			views = append(views, v)
		}
	}
	slices.Sort(views)
	return strings.Join(views, ", ")
}

// printFindings prints what is not part of a case, and why.
func printFindings(w io.Writer, root string, f intake.Findings) {
	for _, told := range f.Told {
		fmt.Fprintf(w, "Note: %s\n", oneLine(told))
	}
	for _, refused := range f.Refused {
		fmt.Fprintf(w, "Not used: %s\n", oneLine(refused.Error()))
	}
	for _, t := range f.Tallies() {
		such := ""
		if t.Count > 1 {
			such = "such as "
		}
		fmt.Fprintf(w, "Passed over: %s: %s (%s%s)\n", count(t.Count, "file"), t.Why, such, oneLine(intake.Within(root, t.First)))
	}
}
