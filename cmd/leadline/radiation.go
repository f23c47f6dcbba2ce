package main

import (
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging/dicomfile"
	"leadline/imaging/radiation"
	"leadline/measure/sidecar"
)

// radiation gathers what dose reports beside the images, the images' headers and the
// record of the operation say of dose.
func (r *reader) radiation(report sidecar.Report) radiation.Record {
	var images, others []dicomfile.Set
	for _, f := range r.kase.Files {
		if set, err := f.Set(); err == nil {
			images = append(images, set)
		}
	}
	var notes []string
	first := r.kase.Files[0].Header
	for _, o := range r.kase.Others {
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
		if r.kase.Of == 1 || set.Code(tag.StudyInstanceUID) == first.Study {
			others = append(others, set) // else it may be of one of the other studies here
		}
	}
	rec := radiation.Of(images, others, first.Study, first.PatientID, report.Operation.Radiation())
	rec.Notes = append(rec.Notes, notes...)
	return rec
}
