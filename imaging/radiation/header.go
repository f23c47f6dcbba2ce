package radiation

import (
	"fmt"

	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/imaging/dicomfile"
)

// attributes of an image that tell of dose. running: a total so far, of which the
// highest in the case stands (PS3.3 C.4.16, Radiation Dose); else it is of the one
// image (PS3.3 C.8.7.2).
var attributes = []struct {
	tag     tag.Tag
	kind    Kind
	unit    string
	running bool
	name    string
}{
	{tag.Tag{Group: 0x0040, Element: 0x0300}, FluoroscopyTime, "s", true, "Total Time of Fluoroscopy (0040,0300)"},
	{tag.Tag{Group: 0x0040, Element: 0x0301}, Exposures, "1", true, "Total Number of Exposures (0040,0301)"},
	{tag.Tag{Group: 0x0018, Element: 0x115e}, DoseAreaProduct, "dGy.cm2", false, "Image and Fluoroscopy Area Dose Product (0018,115E)"},
	{tag.Tag{Group: 0x0040, Element: 0x8302}, EntranceDose, "mGy", false, "Entrance Dose in mGy (0040,8302)"},
}

// Headers reads what images say, in their order. Of a running total the highest is
// given, of what belongs to one image each image's own.
func Headers(images []dicomfile.Set) []Figure {
	var out []Figure
	running := map[Kind]int{} // place in out
	for i, set := range images {
		for _, a := range attributes {
			v := set.Number(a.tag)
			if !v.Known || v.Value < 0 {
				continue
			}
			f := Figure{Kind: a.kind, Value: v.Value, Unit: a.unit, Source: "from the header, " + a.name}
			if !a.running {
				f.Of = fmt.Sprintf("image %d of %d alone", i+1, len(images))
				out = append(out, f)
				continue
			}
			f.Of = "highest of the images"
			at, seen := running[a.kind]
			switch {
			case !seen:
				running[a.kind] = len(out)
				out = append(out, f)
			case v.Value > out[at].Value:
				out[at] = f
			}
		}
	}
	return out
}
