package intake

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"

	"leadline/imaging"
	"leadline/imaging/dicomfile"
)

// study is whose images they are, and of which study.
type study struct{ patient, uid string }

// one makes sure that all files are of one patient and one study: a needle of
// one patient must never be measured on a film of another.
func (c *Case) one() error {
	var order []study
	files := map[study][]*dicomfile.File{}
	patients := map[string]bool{}
	for _, f := range c.Files {
		h := f.Header
		s := study{patient: h.PatientID, uid: h.Study}
		if s.patient == "" {
			s.patient = h.PatientName
		}
		if files[s] == nil {
			order = append(order, s)
		}
		files[s] = append(files[s], f)
		patients[s.patient] = true
	}
	if len(order) == 1 {
		return nil
	}
	what := "study"
	if len(patients) > 1 {
		what = "patient"
	}
	var parts []string
	for i, s := range order {
		if i == 4 {
			parts = append(parts, fmt.Sprintf("%d more", len(order)-i))
			break
		}
		h := files[s][0].Header
		date := h.StudyDate
		if date == "" {
			date = "no date"
		}
		parts = append(parts, fmt.Sprintf("patient %q, study of %s (%d files, such as %s)", s.patient, date, len(files[s]), c.relative(h.File)))
	}
	return fmt.Errorf("%s: %w: files of more than one %s: %s; open one of them, in a folder of its own",
		c.Dir, imaging.ErrBadInput, what, strings.Join(parts, "; "))
}

// byTime orders files by acquisition, then series, instance and path. What is
// not given comes last.
func byTime(a, b *dicomfile.File) int {
	x, y := a.Header, b.Header
	return cmp.Or(
		textOrder(x.AcquisitionDate, y.AcquisitionDate),
		textOrder(clock(x.AcquisitionTime), clock(y.AcquisitionTime)),
		numberOrder(x.SeriesNumber, y.SeriesNumber),
		numberOrder(x.InstanceNumber, y.InstanceNumber),
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
