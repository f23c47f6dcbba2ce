package imaging

import "strings"

// Code is a coded concept (PS3.3 8.8): a value that a coding scheme defines,
// and what whoever wrote it says that it means.
type Code struct{ Value, Scheme, Meaning string }

// views of X-ray projections: PS3.16 CID 4010 (DX View), in SNOMED CT and, as
// older files have them, in SNOMED RT. Checked against pydicom 2.3.1's
// dictionary of that context group and its table of the two schemes. Views
// along the body's axis, and those of head, hand, foot and breast, are none
// that a sacrum is seen in.
var views = map[string]View{
	"399033003": Frontal, "R-10202": Frontal, // frontal
	"399348003": Frontal, "R-10206": Frontal, // antero-posterior
	"272479007": Frontal, "R-40888": Frontal, // postero-anterior
	"30730003": Lateral, "G-A145": Lateral, // sagittal
	"399067008": Lateral, "R-102CD": Lateral, // lateral
	"399198007": Lateral, "R-10232": Lateral, // right lateral
	"399173006": Lateral, "R-10236": Lateral, // left lateral
	"399260004": Lateral, "R-10224": Lateral, // medial-lateral
	"399352003": Lateral, "R-10228": Lateral, // lateral-medial
	"399160007": Oblique, "R-10204": Oblique, // frontal oblique
	"399312000": Oblique, "R-10208": Oblique, // antero-posterior oblique
	"399059000": Oblique, "R-10216": Oblique, // postero-anterior oblique
	"399038007": Oblique, "R-10210": Oblique, // right posterior oblique
	"399006002": Oblique, "R-10212": Oblique, // left posterior oblique
	"399135007": Oblique, "R-10220": Oblique, // left anterior oblique
	"399356000": Oblique, "R-40985": Oblique, // right anterior oblique
	"399236003": Oblique, "R-10234": Oblique, // right oblique
	"399184004": Oblique, "R-10238": Oblique, // left oblique
	"399182000": Oblique, "R-102C1": Oblique, // oblique
	"260427002": Oblique, "R-40783": Oblique, // lateral oblique
	"260426006": Oblique, "R-40782": Oblique, // medial oblique
	"399368009": Oblique, "R-10226": Oblique, // medio-lateral oblique
	"399099002": Oblique, "R-10230": Oblique, // latero-medial oblique
	"399132005": Oblique, "R-10252": Oblique, // frontal-oblique axial
	"399325008": Oblique, "R-10254": Oblique, // sagittal-oblique axial
}

// View that the code names by PS3.16 CID 4010; NoView where it is none of its
// frontal, lateral and oblique views, whatever its meaning says. Schemes are
// SCT, and SRT, SNM3 and 99SDM for the older values (PS3.16 table 8-1, memory).
func (c Code) View() View {
	older := strings.Contains(c.Value, "-")
	switch strings.ToUpper(c.Scheme) {
	case "SCT":
		if older {
			return NoView
		}
	case "SRT", "SNM3", "99SDM":
		if !older {
			return NoView
		}
	default:
		return NoView
	}
	return views[c.Value]
}
