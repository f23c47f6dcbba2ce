package handout

import (
	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/measure/sidecar"
	"leadline/viewer/paint"
	"leadline/viewer/scene"
)

// captureWidth in pixels.
const captureWidth = 1400

// Capture is the film as an annotated picture, a Secondary Capture object (PS3.3
// A.8.1) with RGB pixels and its marks and figures burnt in. number is the
// film's place among those of the case, from 1.
func Capture(r sidecar.Report, f Picture, number int) (dicom.Dataset, error) {
	if err := r.Placement.SideConflict(); err != nil {
		return dicom.Dataset{}, err
	}
	page := paint.Annotated(f.Gray, scene.Film(f.Film, marksOn(f.Film, r.Book), r.Placement, scene.Options{Vertex: -1, Responses: r.Responses}), captureWidth)
	b := page.Bounds()
	pixels := make([]byte, 0, 3*b.Dx()*b.Dy())
	for i := 0; i < len(page.Pix); i += 4 {
		pixels = append(pixels, page.Pix[i:i+3]...)
	}
	return dataset(append(common(r, captureKind, number), []attribute{
		{tag.ConversionType, one("WSD")},
		{tag.ImageType, []string{"DERIVED", "SECONDARY"}},
		{tag.ContentDate, one(r.Changed.UTC().Format("20060102"))},
		{tag.ContentTime, one(r.Changed.UTC().Format("150405"))},
		{tag.TimezoneOffsetFromUTC, one("+0000")},
		{tag.PatientOrientation, []string{}},
		{tag.BurnedInAnnotation, one("YES")},
		{tag.DerivationDescription, one("Marks, figures and cautions drawn over the film. " + version(r))},
		{tag.SourceImageSequence, sources([]Picture{f})},
		{tag.SamplesPerPixel, []int{3}},
		{tag.PhotometricInterpretation, one("RGB")},
		{tag.PlanarConfiguration, []int{0}},
		{tag.Rows, []int{b.Dy()}},
		{tag.Columns, []int{b.Dx()}},
		{tag.BitsAllocated, []int{8}},
		{tag.BitsStored, []int{8}},
		{tag.HighBit, []int{7}},
		{tag.PixelRepresentation, []int{0}},
		{tag.PixelData, dicom.PixelDataInfo{IntentionallyUnprocessed: true, UnprocessedValueData: pixels}},
	}...))
}
