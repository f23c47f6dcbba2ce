package sidecar

import "strings"

// code is a coded entry (PS3.3 8.8): Code Value (at most 16 characters),
// Coding Scheme Designator and Code Meaning (at most 64 characters).
type code struct{ value, scheme, meaning string }

// is compares what identifies a code; its meaning is for reading only.
func (c code) is(d code) bool { return c.value == d.value && c.scheme == d.scheme }

func (c code) String() string { return "(" + c.value + ", " + c.scheme + ", " + c.meaning + ")" }

// The coding scheme for what has no public code, declared in the Coding Scheme
// Identification Sequence (0008,0110); its UID is derived from a UUID (PS3.5 B.2).
const (
	ownScheme     = "99LEADLINE"
	ownSchemeUID  = "2.25.40389222152438363692588815898013900078"
	ownSchemeName = "Leadline terms"
	ownSchemeOrg  = "Leadline"
)

// own makes a code of the private scheme and enters it among ownCodes.
func own(value, meaning string) code {
	c := code{value, ownScheme, meaning}
	ownCodes[value] = append(ownCodes[value], c)
	return c
}

// ownCodes is the whole private scheme, by Code Value; each has one meaning.
var ownCodes = map[string][]code{}

func dcm(value, meaning string) code { return code{value, "DCM", meaning} }
func sct(value, meaning string) code { return code{value, "SCT", meaning} }

// Public concepts (PS3.16 annex D and the context groups named beside them).
var (
	documentTitle     = dcm("126000", "Imaging Measurement Report") // CID 7021
	language          = dcm("121049", "Language of Content Item and Descendants")
	languageEnglish   = code{"en", "RFC5646", "English"}
	observerType      = dcm("121005", "Observer Type")
	observerPerson    = dcm("121006", "Person") // CID 270
	personName        = dcm("121008", "Person Observer Name")
	procedureReported = dcm("121058", "Procedure reported")
	imagingProcedure  = sct("363679005", "Imaging procedure") // CID 100
	imageLibrary      = dcm("111028", "Image Library")
	imageLibraryGroup = dcm("126200", "Image Library Group")
	pixelDataRows     = dcm("110910", "Pixel Data Rows")
	pixelDataColumns  = dcm("110911", "Pixel Data Columns")
	modality          = dcm("121139", "Modality")
	measurements      = dcm("126010", "Imaging Measurements")
	measurementGroup  = dcm("125007", "Measurement Group")
	evaluations       = code{"C0034375", "UMLS", "Qualitative Evaluations"}
	trackingID        = dcm("112039", "Tracking Identifier")
	trackingUID       = dcm("112040", "Tracking Unique Identifier")
	finding           = dcm("121071", "Finding")
	findingSite       = sct("363698007", "Finding Site")
	laterality        = sct("272741003", "Laterality")
	siteModifier      = sct("106233006", "Topographical modifier")
	lateralLeft       = sct("7771000", "Left")                                    // CID 244
	lateralRight      = sct("24028007", "Right")                                  // CID 244
	lateralMedian     = dcm("130290", "Median")                                   // CID 245
	plusMinus         = sct("371884006", "+/-, range of measurement uncertainty") // CID 225
	plusOnly          = sct("371886008", "+, range of upper measurement uncertainty")
	minusOnly         = sct("371885007", "-, range of lower measurement uncertainty")
	distance          = dcm("121206", "Distance") // CID 7470
	depth             = sct("131197000", "Depth") // CID 7470
	angle             = sct("1483009", "Angle")
	sacrum            = sct("54735007", "Sacrum")           // CID 4
	sacroiliacJoint   = sct("39723000", "Sacroiliac joint") // CID 4
	coccyx            = sct("64688005", "Coccyx")           // CID 4
	needleDevice      = sct("79068005", "Needle")
)

// Units (UCUM; curly braces annotate, they do not scale).
var (
	unitMM         = code{"mm", "UCUM", "millimeter"}
	unitDegree     = code{"deg", "UCUM", "degree"}
	unitPixels     = code{"{pixels}", "UCUM", "pixels"}
	unitNone       = code{"1", "UCUM", "no units"}
	unitPercent    = code{"%", "UCUM", "percent"}
	unitMMPerPixel = code{"mm/{pixel}", "UCUM", "millimeter per pixel"}
)

// unitOf is the UCUM unit of a result's unit word.
var unitOf = map[string]code{"mm": unitMM, "deg": unitDegree, "px": unitPixels, "1": unitNone}

func unitWord(u code) (string, bool) {
	for word, c := range unitOf {
		if c.is(u) {
			return word, true
		}
	}
	return "", false
}

// Concepts of our own.
var (
	recordKind     = own("record", "Kind of record")
	observerAsIs   = own("observer", "Observer as entered")
	createdAt      = own("created", "First saved")
	changedAt      = own("changed", "Last changed")
	issuedRevision = own("issued", "Revision issued under this SOP Instance UID")
	purpose        = own("purpose", "Purpose")
	imageFrames    = own("frames", "Number of frames")
	modalityName   = own("modality", "Modality, as the image names it")
	aboutFrame     = own("about-frame", "Frame it is about")
	device         = own("device", "Device or position")

	structureName  = own("structure", "Structure")
	pointCount     = own("points", "Number of marked points")
	levelStated    = own("level-stated", "Level as stated by the observer")
	sideStated     = own("side-stated", "Side as stated by the observer")
	markDetail     = own("detail", "Detail of the mark")
	contactIndex   = own("contact-index", "Contact, 0 nearest the tip")
	markSD         = own("marking-sd", "Standard deviation of marking, each coordinate")
	markOrigin     = own("origin", "Origin of the mark")
	markHistory    = own("history", "History of the mark")
	view           = own("view", "View")
	viewSource     = own("view-source", "View known from")
	cranialEdge    = own("cranial", "Edge of the frame nearest the head")
	cranialSource  = own("cranial-source", "Cranial edge known from")
	cranialDiffers = own("cranial-conflict", "Sources of the cranial edge that disagree")
	leftEdge       = own("left", "Edge of the frame nearest the patient's left, not confirmed")
	leftConfirmed  = own("left-confirmed", "Edge of the frame nearest the patient's left, confirmed")
	leftSource     = own("left-source", "Patient's left known from")
	leftConflict   = own("left-conflict", "Sources of the patient's left that disagree")
	sideOpen       = own("side", "Side, not confirmed")
	sideConfirmed  = own("side-confirmed", "Side, confirmed")
	sideSource     = own("side-source", "Side known from")
	sideConflict   = own("side-conflict", "Sources of the side that disagree")
	sideBasis      = own("side-basis", "Basis of the side")
	levelOpen      = own("level", "Level, not confirmed")
	levelConfirmed = own("level-confirmed", "Level, confirmed")
	levelSource    = own("level-source", "Level known from")
	levelConflict  = own("level-conflict", "Sources of the level that disagree")
	levelBasis     = own("level-basis", "Basis of the level")
	transitional   = own("transitional", "Transitional anatomy")
	filmTime       = own("film-time", "Time of the film")

	scaleRow       = own("scale-row", "Scale downwards")
	scaleColumn    = own("scale-column", "Scale to the right")
	scalePlane     = own("scale-plane", "Plane the scale holds in")
	scaleSource    = own("scale-source", "Scale known from")
	scaleRelative  = own("scale-relative", "Relative standard uncertainty of the scale")
	scaleOffset    = own("scale-offset", "Relative standard uncertainty for the plane")
	scaleMagnified = own("scale-magnified", "Greatest magnification not allowed for")
	scaleFromFocus = own("scale-focus", "Distance from the source to the plane")
	scaleConflict  = own("scale-conflict", "Headers on scale that contradict each other")
	scaleBecause   = own("scale-because", "Why there is no scale")
	pointOfFilm    = own("point", "Point of interest on the film")
	pointX         = own("x", "Column of the point")
	pointY         = own("y", "Row of the point")

	quantityName  = own("quantity", "Quantity")
	numberOf      = own("number", "Number")
	plane         = own("plane", "Plane of the measurement")
	halfWidth     = own("u95", "Half width of the 95 % interval")
	lowerLimit    = own("lo", "Lower limit of the 95 % interval")
	upperLimit    = own("hi", "Upper limit of the 95 % interval")
	coverage      = own("coverage", "Coverage of the uncertainty")
	standardU     = own("standard-u", "Standard uncertainty from one source")
	uncertainFrom = own("source", "Source of uncertainty")
	resultClass   = own("class", "Class")
	magnified     = own("magnified", "Length is magnified, no anatomy")
	resultOf      = own("of", "Measured against")
	resultNote    = own("note", "Note")
	scaleUsed     = own("scale", "Scale used")
	missingItem   = own("missing", "Quantity that cannot be computed")
	because       = own("because", "Because")
	caution       = own("caution", "Caution")

	yes  = own("yes", "Yes")
	none = own("none", "Not given")
)

// Kinds of record: what a Measurement Group of the report holds.
var (
	kindMark      = own("rec-mark", "Mark")
	kindStatement = own("rec-statement", "Statement by an observer")
	kindFilm      = own("rec-film", "Reading of a film")
	kindDevice    = own("rec-device", "Device or position")
	kindPlacement = own("rec-placement", "Placement computed from marks")
)

// vocabulary pairs the words of marks and placements with their codes. A word
// it does not hold is kept as text.
type vocabulary map[string]code

func (v vocabulary) word(c code) (string, bool) {
	for w, d := range v {
		if d.is(c) {
			return w, true
		}
	}
	return "", false
}

func terms(prefix string, pairs ...string) vocabulary {
	v := vocabulary{}
	for i := 0; i+1 < len(pairs); i += 2 {
		v[pairs[i]] = own(prefix+strings.ReplaceAll(pairs[i], " ", "-"), pairs[i+1])
	}
	return v
}

var (
	structures = with(terms("",
		"ventral-margin", "Ventral margin of the sacrum",
		"dorsal-margin", "Dorsal surface of the sacrum",
		"skin-line", "Skin",
		"midline", "Midline of the sacrum",
		"si-line", "Line through the lower edges of the sacroiliac joints",
		"medial-line", "Line through the medial edges of the foramina",
		"foramen", "Sacral foramen",
		"fusion-line", "Fusion line of the sacrum",
		"promontory", "Promontory",
		"coccyx-tip", "Tip of the coccyx",
		"sciatic-notch", "Sciatic notch",
		"wire", "Temporary wire",
		"lead", "Lead",
		"contact", "Stimulation contact",
		"known-length", "Object of known length"), "needle", needleDevice)
	levels = terms("level-",
		"S1", "Sacral level S1", "S2", "Sacral level S2", "S3", "Sacral level S3",
		"S4", "Sacral level S4", "S5", "Sacral level S5")
	sides = terms("side-", "left", "Patient's left", "right", "Patient's right", "midline", "Midline")
	edges = terms("edge-",
		"left", "Left edge of the frame as stored", "right", "Right edge of the frame as stored",
		"top", "Top edge of the frame as stored", "bottom", "Bottom edge of the frame as stored")
	views   = terms("view-", "frontal", "Frontal", "lateral", "Lateral", "oblique", "Oblique")
	origins = terms("origin-", "hand", "Drawn by hand", "suggested", "Suggested", "changed", "Suggested, then changed by hand")
	bases   = with(terms("by-",
		"stated", "Stated",
		"lead-marker", "Radiopaque marker in the field",
		"known-needle", "Needle whose side is known"),
		"theatre-record", own("by-record", "Record of the procedure"),
		"counted-from-above", own("by-count-above", "Counted from above"),
		"counted-from-below", own("by-count-below", "Counted from below"),
		"lateral-landmarks", own("by-landmarks", "Landmarks of the lateral film"),
		"sacroiliac-line", own("by-si-line", "Sacroiliac line alone"))
	transitionals = terms("trans-", "yes", "Present", "no", "Absent", "not-seen", "Not seen")
	planes        = terms("plane-", "frontal", "Frontal film", "lateral", "Lateral film", "both", "Both films", "3d", "In space")
	scalePlanes   = with(terms("at-", "detector", "Detector: magnified", "unknown", "Not known", "calibrated", "Depth of the calibration"),
		"field centre", own("at-centre", "Centre of the field"),
		"known length", own("at-length", "Marked object of known length"))
	quantities = with(vocabulary{},
		"entry-offset-midline", own("Q01", "Entry, offset from the midline"),
		"entry-from-foramen-medial", own("Q02", "Entry, from the medial edge of the foramen"),
		"entry-from-foramen-superior", own("Q03", "Entry, from the cranial edge of the foramen"),
		"entry-fraction-medial", own("Q04", "Entry, fraction of the foramen's width"),
		"entry-fraction-superior", own("Q05", "Entry, fraction of the foramen's height"),
		"insertion-angle-dorsal", own("Q06", "Angle to the tangent of the dorsal surface"),
		"insertion-angle-chord", own("Q07", "Angle to the chord of the dorsal surface"),
		"insertion-angle-surface", own("Q08", "Angle to the plane of the dorsal surface"),
		"insertion-angle-fusion", own("Q09", "Angle to the fusion line"),
		"insertion-angle-ventral", own("Q10", "Angle to the tangent of the ventral margin"),
		"insertion-angle-skin", own("Q11", "Angle to the skin"),
		"tip-depth-along-needle", own("Q12", "Depth of the tip past the ventral margin, along the needle"),
		"tip-depth-perpendicular", own("Q13", "Shortest distance of the tip from the ventral margin"),
		"contact-depth", own("Q14", "Depth of a contact past the ventral margin, along the lead"),
		"contacts-beyond-margin", own("Q15", "Contacts astride or beyond the ventral margin"),
		"tip-offset-midline", own("Q16", "Tip, offset from the midline"),
		"tip-caudal-to-si-line", own("Q17", "Tip, caudal to the sacroiliac line"),
		"frontal-deflection", own("Q18", "Deflection of the lead on the frontal film"),
		"crossing", own("Q19", "Crossing of two needles"),
		"lead-bend", own("Q20", "Bend of the lead"),
		"depth-change", own("Q21", "Change of depth between two positions"))
	modalities = with(vocabulary{},
		"XA", dcm("XA", "X-Ray Angiography"), "RF", dcm("RF", "Radiofluoroscopy"),
		"CR", dcm("CR", "Computed Radiography"), "DX", dcm("DX", "Digital Radiography"),
		"OT", dcm("OT", "Other")) // CID 29 and 32
)

// with adds word, code pairs to a vocabulary.
func with(v vocabulary, pairs ...any) vocabulary {
	for i := 0; i+1 < len(pairs); i += 2 {
		v[pairs[i].(string)] = pairs[i+1].(code)
	}
	return v
}

// lateralities are the values of Laterality (CID 244, and 245 for the middle).
var lateralities = vocabulary{"left": lateralLeft, "right": lateralRight, "midline": lateralMedian}

// conceptOf is the public concept a quantity's number stands under; the
// quantity itself is its modifier.
func conceptOf(quantity, unit string) code {
	switch {
	case unit == "deg":
		return angle
	case unit == "1":
		return numberOf
	case strings.Contains(quantity, "depth"):
		return depth
	}
	return distance
}
