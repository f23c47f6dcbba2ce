// Package mark holds what an observer draws on frames and states about them:
// structures, levels, sides, devices, and the basis of each statement.
//
// Points are SR coordinates (imaging package comment) in pixels, rounded to
// single precision when entered, as DICOM's Graphic Data keeps them.
package mark

import (
	"fmt"
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

// Structure is the kind of thing marked.
type Structure string

const (
	VentralMargin Structure = "ventral-margin"
	DorsalMargin  Structure = "dorsal-margin"
	SkinLine      Structure = "skin-line"
	Midline       Structure = "midline"
	SILine        Structure = "si-line"     // two points: lower edge of each sacroiliac joint
	MedialLine    Structure = "medial-line" // through the medial edges of the foramina
	Foramen       Structure = "foramen"
	FusionLine    Structure = "fusion-line"
	Promontory    Structure = "promontory"
	CoccyxTip     Structure = "coccyx-tip"
	SciaticNotch  Structure = "sciatic-notch"
	Needle        Structure = "needle"
	Wire          Structure = "wire"
	Lead          Structure = "lead"
	Contact       Structure = "contact"
	KnownLength   Structure = "known-length"
)

// Level is a sacral level, S1 to S5, or empty.
type Level string

// Side is the patient's side, or empty where not stated.
type Side string

const (
	NoSide     Side = ""
	LeftSide   Side = "left"
	RightSide  Side = "right"
	MiddleSide Side = "midline"
)

// Origin says how a mark came to be.
type Origin string

const (
	ByHand    Origin = "hand"
	Suggested Origin = "suggested"
	Changed   Origin = "changed"
)

// FrameRef names a frame of a case: an instance by SOP Instance UID and a
// frame number from 1, or a span of frames (its mean) where Last > First.
type FrameRef struct {
	Instance    string
	First, Last int
}

// One is the reference to a single frame.
func One(instance string, frame int) FrameRef { return FrameRef{instance, frame, frame} }

// Span prints the frame number, or first-last.
func (r FrameRef) Span() string {
	if r.Last > r.First {
		return fmt.Sprintf("%d-%d", r.First, r.Last)
	}
	return fmt.Sprint(r.First)
}

// Mark is one structure drawn on one frame.
type Mark struct {
	UID       string // tracking UID, kept for the life of the mark
	Frame     FrameRef
	Structure Structure
	Level     Level
	Side      Side   // as stated by the observer
	Object    string // N1, W1, L1, N1.2 …; empty for landmarks
	// Detail: length in mm of a known-length or contact; dorsal, ventral,
	// unsure and/or arc of a foramen (space separated); S2/S3 … of a
	// fusion-line.
	Detail string
	// Index of a contact, 0 nearest the tip; 0 for all else.
	Index  int
	Points []r2.Vec
	SD     imaging.Number // pixels, per coordinate; not known: the default of the structure
	Origin Origin
	// History records, oldest first, who did what with a suggested or copied mark.
	History []string
}

// Open reports whether a foramen is an open arc rather than a closed outline.
func (m Mark) Open() bool { return m.has("arc") }

func (m Mark) has(word string) bool {
	for _, w := range strings.Fields(m.Detail) {
		if w == word {
			return true
		}
	}
	return false
}

// Opening of a foramen: dorsal, ventral, unsure, or empty.
func (m Mark) Opening() string {
	for _, w := range []string{"dorsal", "ventral", "unsure"} {
		if m.has(w) {
			return w
		}
	}
	return ""
}

// Clone is a deep copy.
func (m Mark) Clone() Mark {
	m.Points = append([]r2.Vec(nil), m.Points...)
	m.History = append([]string(nil), m.History...)
	return m
}

// Round gives p as single precision keeps it.
func Round(p r2.Vec) r2.Vec {
	return r2.Vec{X: float64(float32(p.X)), Y: float64(float32(p.Y))}
}

// Basis is what a statement about view, side or level rests on.
type Basis string

const (
	Stated Basis = "stated"
	// Side.
	LeadMarker    Basis = "lead-marker"    // radiopaque marker in the field
	TheatreRecord Basis = "theatre-record" // record of the procedure
	KnownNeedle   Basis = "known-needle"   // a first needle whose side is known
	// Level.
	CountedAbove     Basis = "counted-from-above"
	CountedBelow     Basis = "counted-from-below"
	LateralLandmarks Basis = "lateral-landmarks"
	SILineOnly       Basis = "sacroiliac-line"
)

// Statement is what a named observer states about a frame, a device or, with
// neither, about the case. Empty fields state nothing.
type Statement struct {
	Observer string
	When     time.Time
	Frame    FrameRef // zero: not about a frame
	Object   string   // empty: not about a device

	View         imaging.View
	Cranial      imaging.Edge // edge of the stored frame nearest the head
	PatientLeft  imaging.Edge // edge of the stored frame nearest the patient's left
	Side         Side
	SideBasis    Basis // of Side or PatientLeft
	Level        Level
	LevelBasis   Basis
	Transitional string // transitional anatomy: yes, no, not-seen
}

// Book is everything one observer holds on a case.
type Book struct {
	Observer   string
	Marks      []Mark
	Statements []Statement // later ones replace earlier ones field by field
}

// Clone is a deep copy.
func (b Book) Clone() Book {
	out := Book{Observer: b.Observer, Statements: append([]Statement(nil), b.Statements...)}
	for _, m := range b.Marks {
		out.Marks = append(out.Marks, m.Clone())
	}
	return out
}
