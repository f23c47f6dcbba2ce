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

var listCommand = command{
	name:  "list",
	args:  "CASE",
	about: "show what a folder, a zip archive or a file holds: cases, films, views, scale",
	help: `Lists the films of a case in the order they were taken: first a line for each,
then which view it is and how that is known, where the head and the patient's
left lie, and the scale with its source. Reads headers only. What is passed over
is counted with the reason; films that cannot be used are named with theirs. The
output names the patient's films but never the patient.

Where the folder or archive holds films of several studies or patients, it lists
these instead, by patient and date: give one of the numbers to any command as
--study NUMBER. Numbers go by time and may change as files come and go; the UID
does not.

With --digest it decodes every frame instead and prints a line for each: the MD5
of its stored values (masked to the bits stored, as little-endian 16-bit numbers,
row by row), the file, and the frame's number; to compare with another toolkit.`,
	examples: []string{"leadline list out/practice", "leadline list /media/cdrom", "leadline list export.zip --study 2",
		"leadline list film.dcm --observer \"Observer A\"", "leadline list out/practice --digest"},
	run: runList,
}

func runList(c *call) error {
	var from reader
	from.flags(c)
	digests := c.Bool("digest", false, "print the MD5 of each frame's stored values")
	path, err := c.operand()
	if err != nil {
		return err
	}
	all, err := intake.Survey(path)
	if err != nil {
		return err
	}
	defer all.Close()
	if len(all.Cases) > 1 && from.study == "" {
		defer printFindings(c.out, all.Path, all.Findings)
		if *digests {
			return c.printDigests(all.Cases)
		}
		from.printCases(c.out, all)
		return nil
	}
	if from.kase, err = all.Choose(from.study); err != nil {
		return err
	}
	defer from.close()
	defer printFindings(c.out, from.kase.Path, from.kase.Findings)
	if *digests {
		return c.printDigests([]*intake.Case{from.kase})
	}
	return from.list(c.out)
}

// list prints the films of the case that is open, and who has marked them.
func (r *reader) list(w io.Writer) error {
	names, unreadable := sidecar.ObserversOf(r.dir(), r.kase.Headers())
	book := mark.Book{}
	if r.observer != "" || len(names) == 1 && unreadable == nil {
		report, err := r.load(noOptions)
		if err != nil {
			return err
		}
		book = report.Book
	}
	films := r.compute(book, noOptions).Films
	fmt.Fprintf(w, "Case %s: %s\n\n", r.kase.Name, count(len(r.kase.Files), "film"))
	printFilms(w, r.kase, films)
	for _, film := range films {
		fmt.Fprintln(w)
		printFilm(w, film)
	}
	fmt.Fprintln(w)
	if i := slices.IndexFunc(films, viewOpen); i >= 0 {
		name := r.fileName(films[i].Film.Ref.Instance)
		if films[i].Film.Header.Frames > 1 {
			name += ":" + films[i].Film.Ref.Span()
		}
		fmt.Fprintf(w, "Which view a film is, and where the head lies, you can say: leadline confirm %s --observer NAME --frame %s --view frontal|lateral --cranial top|bottom|left|right\n",
			r.typed(), oneLine(name))
	}
	if len(names) > 0 {
		fmt.Fprintf(w, "Marked by: %s\n", strings.Join(names, ", "))
	} else if unreadable == nil {
		fmt.Fprintf(w, "Nobody has marked it yet: leadline open %s --observer NAME\n", r.typed())
	}
	if unreadable != nil {
		fmt.Fprintf(w, "Marks not used: %s\n", oneLine(unreadable.Error()))
	}
	return nil
}

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
