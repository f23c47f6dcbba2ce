package intake

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
)

// patient is whose film it is: number, name and birth date as compared, not as
// shown. Two films are of one patient where all three agree, so that a number
// used twice does not make one patient of two.
type patient struct{ id, name, birth string }

func patientOf(h *imaging.Header) patient {
	return patient{id: strings.TrimSpace(h.PatientID), name: plainName(h.PatientName), birth: h.PatientBirthDate}
}

// plainName is the alphabetic part of a name (PS3.5 6.2, PN) without what only
// differs in writing: capitals, and empty components at its end.
func plainName(n string) string {
	n, _, _ = strings.Cut(n, "=")
	return strings.TrimRight(strings.ToUpper(strings.Join(strings.Fields(n), " ")), "^ ")
}

// same says whether two films may be of one patient: what only one of them
// tells does not part them.
func (p patient) same(o patient) bool {
	agree := func(a, b string) bool { return a == "" || b == "" || a == b }
	return p.id == o.id && agree(p.name, o.name) && agree(p.birth, o.birth) && (p.id != "" || p.name == o.name)
}

// tellApart makes cases of the films: of one patient and one study each, and a
// needle of one patient is never measured on a film of another. place is where
// a DICOMDIR puts a film, from 1.
func (c *Collection) tellApart(files []*dicomfile.File, place map[*dicomfile.File]int) {
	slices.SortStableFunc(files, func(a, b *dicomfile.File) int { return byTime(a, b, place) })
	type study struct{ id, uid, date string }
	var order []study
	groups := map[study][]*dicomfile.File{}
	for _, f := range files {
		h := f.Header
		s := study{id: patientOf(h).id, uid: h.Study}
		if h.Study == "" {
			s.date = h.StudyDate // all that is left to tell two studies apart
		}
		if groups[s] == nil {
			order = append(order, s)
		}
		groups[s] = append(groups[s], f)
	}
	for _, s := range order {
		for _, one := range onePatient(groups[s]) {
			c.Cases = append(c.Cases, &Case{Path: c.Path, Dir: c.Dir, Files: one})
		}
	}
	slices.SortStableFunc(c.Cases, func(a, b *Case) int { return byTime(a.Files[0], b.Files[0], place) })
	for i, k := range c.Cases {
		k.Number, k.Of, k.Name, k.Findings = i+1, len(c.Cases), c.Name, c.Findings
		if k.Of > 1 {
			k.Name = fmt.Sprintf("%s, study %d", c.Name, k.Number)
		}
	}
}

// onePatient parts films of one study and patient number by name and birth
// date, where these show that they are of several people after all.
func onePatient(files []*dicomfile.File) [][]*dicomfile.File {
	var people []patient
	groups := map[patient][]*dicomfile.File{}
	for _, f := range files {
		p := patientOf(f.Header)
		if groups[p] == nil {
			people = append(people, p)
		}
		groups[p] = append(groups[p], f)
	}
	several := slices.ContainsFunc(people, func(p patient) bool {
		return slices.ContainsFunc(people, func(o patient) bool { return !p.same(o) })
	})
	if !several {
		return [][]*dicomfile.File{files}
	}
	out := make([][]*dicomfile.File, len(people))
	for i, p := range people {
		out[i] = groups[p]
	}
	return out
}

// find gives the case that a study's UID or number means.
func (c *Collection) find(study string) (*Case, error) {
	if study == "" {
		if len(c.Cases) == 1 {
			return c.Cases[0], nil
		}
		return nil, fmt.Errorf("%s: %w: holds %s: %s; %s", c.Path, imaging.ErrBadInput, c.several(), c.named(), howToChoose)
	}
	var matching []*Case
	for _, k := range c.Cases {
		if k.Files[0].Header.Study == study || strconv.Itoa(k.Number) == study {
			matching = append(matching, k)
		}
	}
	switch len(matching) {
	case 1:
		return matching[0], nil
	case 0:
		return nil, fmt.Errorf("%s: %w: holds no study %q: it holds %s; %s", c.Path, imaging.ErrBadInput, study, c.named(), howToChoose)
	}
	return nil, fmt.Errorf("%s: %w: %d patients have films under study %s: %s; choose one with --study NUMBER, and have the archive correct its headers",
		c.Path, imaging.ErrBadInput, len(matching), study, c.named())
}

const howToChoose = "choose one with --study NUMBER, or --study UID as 'leadline list' shows it"

func (c *Collection) several() string {
	if n := c.Patients(); n > 1 {
		return fmt.Sprintf("films of more than one patient, %d studies of %d", len(c.Cases), n)
	}
	return fmt.Sprintf("films of more than one study, %d in all", len(c.Cases))
}

// named names up to four cases.
func (c *Collection) named() string {
	var parts []string
	for i, k := range c.Cases {
		if i == 4 && len(c.Cases) > 5 {
			parts = append(parts, fmt.Sprintf("%d more", len(c.Cases)-i))
			break
		}
		parts = append(parts, fmt.Sprintf("%d is patient %s, study of %s, %s such as %s",
			k.Number, k.Patient(), k.Date(), films(len(k.Files)), k.Relative(k.Files[0].Header.File)))
	}
	return strings.Join(parts, "; ")
}

func films(n int) string {
	if n == 1 {
		return "1 film"
	}
	return fmt.Sprintf("%d films", n)
}

// Patient names the patient by number and name: identity, for choosing a case
// alone.
func (k *Case) Patient() string {
	h := k.Files[0].Header
	id, name := strings.TrimSpace(h.PatientID), h.PatientName
	if plainName(name) == "" {
		name = ""
	}
	switch {
	case id != "" && name != "":
		return fmt.Sprintf("%q (%s)", id, name)
	case id != "":
		return fmt.Sprintf("%q", id)
	case name != "":
		return fmt.Sprintf("%q without a number", name)
	}
	return "without name and number"
}

// Date of the study as 2026-01-02; as the header has it, where that is no date.
func (k *Case) Date() string {
	d := k.Files[0].Header.StudyDate
	if d == "" {
		d = k.Files[0].Header.AcquisitionDate
	}
	switch {
	case d == "":
		return "no date"
	case len(d) == 8 && strings.Trim(d, "0123456789") == "":
		return d[:4] + "-" + d[4:6] + "-" + d[6:]
	}
	return d
}

// byTime orders files by acquisition, then series, instance, place in a
// DICOMDIR and path. What is not given comes last.
func byTime(a, b *dicomfile.File, place map[*dicomfile.File]int) int {
	x, y := a.Header, b.Header
	return cmp.Or(
		textOrder(x.AcquisitionDate, y.AcquisitionDate),
		textOrder(clock(x.AcquisitionTime), clock(y.AcquisitionTime)),
		numberOrder(x.SeriesNumber, y.SeriesNumber),
		numberOrder(x.InstanceNumber, y.InstanceNumber),
		placeOrder(place[a], place[b]),
		cmp.Compare(x.File, y.File),
	)
}

// clock takes the colons of the older form out of a time (PS3.5 table 6.2-1, TM).
func clock(t string) string { return strings.ReplaceAll(t, ":", "") }

func textOrder(a, b string) int {
	if (a == "") != (b == "") {
		return cmp.Compare(len(b), len(a))
	}
	return cmp.Compare(a, b)
}

func numberOrder(a, b string) int {
	m, errA := strconv.Atoi(strings.TrimSpace(a))
	n, errB := strconv.Atoi(strings.TrimSpace(b))
	switch {
	case errA != nil && errB != nil:
		return cmp.Compare(a, b)
	case errA != nil:
		return 1
	case errB != nil:
		return -1
	}
	return cmp.Compare(m, n)
}

func placeOrder(a, b int) int {
	if (a == 0) != (b == 0) {
		return cmp.Compare(b, a)
	}
	return cmp.Compare(a, b)
}
