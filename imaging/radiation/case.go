package radiation

import (
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging/dicomfile"
	"leadline/imaging/intake"
)

// OfCase gathers what dose reports beside a case's images, the images' headers
// and what was typed in from the console say of dose.
func OfCase(c *intake.Case, typed []Figure) Record {
	var images, others []dicomfile.Set
	for _, f := range c.Files {
		if set, err := f.Set(); err == nil {
			images = append(images, set)
		}
	}
	var notes []string
	first := c.Files[0].Header
	for _, o := range c.Others {
		src, closer, err := o.Open()
		if err != nil {
			notes = append(notes, "a DICOM file without an image cannot be opened, which may be a dose report")
			continue
		}
		set, err := dicomfile.ReadSet(src, o.Size)
		closer.Close()
		if err != nil {
			notes = append(notes, "a DICOM file without an image is damaged, which may be a dose report")
			continue
		}
		if c.Of == 1 || set.Code(tag.StudyInstanceUID) == first.Study {
			others = append(others, set) // else it may be of one of the other studies here
		}
	}
	rec := Of(images, others, first.Study, first.PatientID, typed)
	rec.Notes = append(rec.Notes, notes...)
	return rec
}
