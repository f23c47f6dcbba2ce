// Package sidecar keeps what one observer holds on a case — marks, statements,
// the placement computed from them, responses and the record of the operation — as a DICOM structured report.
//
// On disk, beside the images, the report is DICOM JSON (PS3.18 annex F); what
// leaves the tool is the same data set as a DICOM file. Its class is
// Comprehensive SR (PS3.3 A.35.3), its content follows TID 1500 (PS3.16). What
// has no public code stands under a coding scheme of its own, 99LEADLINE,
// declared in the Coding Scheme Identification Sequence.
//
// Revision is the number of times the report was changed on disk and stands in
// Instance Number (0020,0013). SOP Instance UID changes only where a report
// that has left the tool is changed afterwards; the UID it left under is then
// named in the Predecessor Documents Sequence (0040,A360).
package sidecar

import (
	"time"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/operation"
	"leadline/measure/placement"
	"leadline/measure/response"
)

// Report is everything one observer holds on a case.
//
// Points of marks are SR coordinates in pixels and keep single precision; all
// other numbers keep double precision. Times keep the microsecond and their
// offset from UTC.
type Report struct {
	Book      mark.Book
	Placement placement.Placement
	// Responses to stimulation, as logged; Operation is what is recorded of the
	// procedure, nil where nothing is.
	Responses []response.Test
	Operation operation.Record
	// Images of the case, all of one patient and one study. Of each, the
	// report keeps what identifies it and its size (see Encode).
	Images []*imaging.Header
	// Revision counts changes saved to disk, from 1; 0: never saved.
	Revision int
	// Issued is the revision that left the tool under SOPInstance; 0: none did.
	Issued int
	// SOPInstance UID of the report; empty until first saved.
	SOPInstance string
	// Predecessors are the UIDs earlier versions left the tool under, oldest first.
	Predecessors []string
	// Created is when the report was first saved, Changed when last changed.
	Created, Changed time.Time
}

// Violation is one breach of the IOD or of a template row.
type Violation struct {
	Where string // path of the content item or attribute
	Rule  string // the row or section it breaks, e.g. "TID 310 row 6"
	What  string // what is wrong, in words
}

func (v Violation) String() string { return v.Where + ": " + v.What + " (" + v.Rule + ")" }
