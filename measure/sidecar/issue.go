package sidecar

import (
	"fmt"

	"leadline/imaging/dicomfile"
)

// WriteDICOM writes the report as a DICOM file (PS3.10), the same data set as
// Encode gives, once Check finds nothing against it. It changes nothing in the
// report: where a report leaves the tool, Store.Issue keeps count.
func WriteDICOM(path string, r Report) error {
	ds, err := dataset(r)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	doc, err := dicomfile.EncodeJSON(ds)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	if v := Check(doc); len(v) > 0 {
		return fmt.Errorf("%s: not written, the report breaks its template: %s (and %d more)", path, v[0], len(v)-1)
	}
	return dicomfile.Write(path, ds)
}

// Issue saves the report and writes it as a DICOM file that leaves the tool:
// the revision is noted as issued under its SOP Instance UID, so that a later
// change takes a new UID and names this one as its predecessor. An unchanged
// report keeps its UID however often it is issued.
//
// The note comes first: were it last and failed, two different reports could
// leave under one UID. Where the file cannot be written, the note is taken back.
func (s *Store) Issue(path string, r *Report) error {
	if err := s.Save(r); err != nil {
		return err
	}
	before := s.last
	if before.Issued == 0 {
		next := before
		next.Issued = next.Revision
		if err := s.put(next, r); err != nil {
			return err
		}
	}
	err := WriteDICOM(path, *r)
	if err != nil && before.Issued == 0 {
		if undo := s.put(before, r); undo != nil {
			return fmt.Errorf("%w (and %v)", err, undo)
		}
	}
	return err
}
