package handout

import (
	"fmt"
	"strings"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"
	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/sidecar"
	"leadline/viewer/scene"
)

const layer = "MARKS"

// State is the film's marks and figures as a Grayscale Softcopy Presentation
// State (PS3.3 A.33.1): an archive's workstation draws them over the original
// frame, whose pixels it leaves alone. Lines and words are the scene's, in image
// pixels (C.10.5: 0,0 the top left corner of the top left pixel, as SR
// coordinates are); the picture is turned so that cranial is up, where that is
// known, and shown through the window given.
//
// A span of frames is referred to frame by frame. Patterns and colours of lines
// have no place in a presentation state: a device is told by its name and tip. A
// modality LUT table is refused with imaging.ErrUnsupported.
func State(r sidecar.Report, f Picture, number int) (dicom.Dataset, error) {
	if err := r.Placement.SideConflict(); err != nil {
		return dicom.Dataset{}, err
	}
	h, ref := f.Film.Film.Header, f.Film.Film.Ref
	if h.ModalityLUT != nil {
		return dicom.Dataset{}, fmt.Errorf("%w: %s maps its values by a modality LUT, which no presentation state is written for: use the annotated picture", imaging.ErrUnsupported, f.Film.Film.File)
	}
	s := scene.Film(f.Film, marksOn(f.Film, r.Book), r.Placement, scene.Options{Vertex: -1, Responses: r.Responses})
	of := reference(h, ref)
	quarter := scene.UpQuarter(f.Film.Cranial)
	shape := "IDENTITY"
	if h.Photometric == "MONOCHROME1" {
		shape = "INVERSE" // C.11.6: the image's own interpretation is passed over
	}
	all := append(common(r, stateKind, number), []attribute{
		// Presentation State Identification (C.11.10).
		{tag.ContentLabel, one("LEADLINE")},
		{tag.ContentDescription, one(fit("Marks and figures. "+version(r), 64))},
		{tag.PresentationCreationDate, one(r.Changed.UTC().Format("20060102"))},
		{tag.PresentationCreationTime, one(r.Changed.UTC().Format("150405"))},
		{tag.TimezoneOffsetFromUTC, one("+0000")},
		{tag.ContentCreatorName, one(strings.ReplaceAll(fit(r.Book.Observer, 64), "^", " "))},
		// Presentation State Relationship (C.11.11).
		{tag.ReferencedSeriesSequence, [][]attribute{{
			{tag.SeriesInstanceUID, one(h.Series)}, {tag.ReferencedImageSequence, [][]attribute{of}},
		}}},
		// Displayed Area (C.10.4), Spatial Transformation (C.10.6).
		{tag.DisplayedAreaSelectionSequence, [][]attribute{area(s, h, quarter, of)}},
		{tag.ImageRotation, []int{90 * quarter}},
		{tag.ImageHorizontalFlip, one("N")},
		// Graphic Annotation (C.10.5), Graphic Layer (C.10.7).
		{tag.GraphicAnnotationSequence, [][]attribute{annotation(s, h, of)}},
		{tag.GraphicLayerSequence, [][]attribute{{
			{tag.GraphicLayer, one(layer)}, {tag.GraphicLayerOrder, []string{"1"}},
			{tag.GraphicLayerRecommendedDisplayGrayscaleValue, []int{0xffff}},
		}}},
		// Softcopy Presentation LUT (C.11.6).
		{tag.PresentationLUTShape, one(shape)},
	}...)
	if f.Window.Width > 0 { // Softcopy VOI LUT (C.11.8)
		window := []attribute{
			{tag.ReferencedImageSequence, [][]attribute{of}},
			{tag.WindowCenter, one(decimal(f.Window.Center))},
			{tag.WindowWidth, one(decimal(f.Window.Width))},
		}
		if f.Window.Function != "" && f.Window.Function != imaging.Linear {
			window = append(window, attribute{tag.VOILUTFunction, one(string(f.Window.Function))})
		}
		all = append(all, attribute{tag.SoftcopyVOILUTSequence, [][]attribute{window}})
	}
	if h.RescaleSlope.Known { // Modality LUT (C.11.1): a state without it has none
		all = append(all,
			attribute{tag.RescaleSlope, one(decimal(h.RescaleSlope.Value))},
			attribute{tag.RescaleIntercept, one(decimal(h.RescaleIntercept.Value))},
			attribute{tag.RescaleType, one("US")})
	}
	return dataset(all)
}

func fit(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most])
	}
	return s
}

// area is the whole frame. Its corners are named as they lie once the picture is
// turned (C.10.4).
func area(s scene.Scene, h *imaging.Header, quarter int, of []attribute) []attribute {
	c, r := h.Columns, h.Rows
	from, to := [2]int{1, 1}, [2]int{c, r}
	switch quarter {
	case 1:
		from, to = [2]int{1, r}, [2]int{c, 1}
	case 2:
		from, to = [2]int{c, r}, [2]int{1, 1}
	case 3:
		from, to = [2]int{c, 1}, [2]int{1, r}
	}
	out := []attribute{
		{tag.ReferencedImageSequence, [][]attribute{of}},
		{tag.DisplayedAreaTopLeftHandCorner, from[:]},
		{tag.DisplayedAreaBottomRightHandCorner, to[:]},
		{tag.PresentationSizeMode, one("SCALE TO FIT")},
	}
	if k := s.Film.Scale; k.Row > 0 && k.Column > 0 && k.Row != k.Column {
		// Only the pixel's shape is said here: what its spacing is at the sacrum
		// rests on more than a display can tell. Height over width, in whole numbers.
		return append(out, attribute{tag.PresentationPixelAspectRatio, []string{fmt.Sprint(int(k.Row/k.Column*10000 + 0.5)), "10000"}})
	}
	return append(out, attribute{tag.PresentationPixelAspectRatio, []string{"1", "1"}})
}

// annotation is every line, symbol and word of the scene.
func annotation(s scene.Scene, h *imaging.Header, of []attribute) []attribute {
	graphics, texts := [][]attribute{}, [][]attribute{}
	add := func(pts []r2.Vec, closed bool) {
		if closed && len(pts) > 2 {
			pts = append(append([]r2.Vec(nil), pts...), pts[0])
		}
		if len(pts) > 1 {
			graphics = append(graphics, polyline(pts))
		}
	}
	for _, p := range s.Paths {
		add(p.Points, p.Closed)
	}
	for _, l := range symbols(s, h) {
		add(l.Points, l.Closed)
	}
	for _, l := range s.Labels {
		var words []string
		for _, run := range l.Lines {
			words = append(words, run.Words)
		}
		if len(l.Anchors) > 0 {
			texts = append(texts, beside(strings.Join(words, " "), l.Anchors[0]))
		}
	}
	w, t := float64(h.Columns), float64(h.Rows)
	for _, e := range s.Edges {
		at := map[imaging.Edge]r2.Vec{
			imaging.Left: {X: 0.05 * w, Y: t / 2}, imaging.Right: {X: 0.95 * w, Y: t / 2},
			imaging.Top: {X: w / 2, Y: 0.05 * t}, imaging.Bottom: {X: w / 2, Y: 0.95 * t},
		}
		texts = append(texts, beside(e.Words, at[e.Edge]))
	}
	texts = append(texts, standing(s))
	out := []attribute{
		{tag.ReferencedImageSequence, [][]attribute{of}},
		{tag.GraphicLayer, one(layer)},
		{tag.TextObjectSequence, texts},
	}
	if len(graphics) > 0 {
		out = append(out, attribute{tag.GraphicObjectSequence, graphics})
	}
	return out
}

// symbols are their outlines in image pixels, as large as on a picture on which
// the film is as wide as a page's.
func symbols(s scene.Scene, h *imaging.Header) []scene.Line {
	w, t := float64(h.Columns), float64(h.Rows)
	alone := scene.Scene{Symbols: s.Symbols}
	d := alone.Draw(scene.View{
		Pane: scene.Box(0, 0, w, t), Centre: r2.Vec{X: w / 2, Y: t / 2},
		Shape: r2.Vec{X: 1, Y: 1}, Zoom: 1, Unit: w / 976,
	})
	var out []scene.Line
	for _, l := range d.Layers[0].Lines {
		if l.Color != scene.Dark { // the edge under a stroke
			out = append(out, l)
		}
	}
	return out
}

// mostPoints of a polyline: NumberOfGraphicPoints is a US, and a value of
// explicit VR FL has a 16-bit length (PS3.5 7.1.2).
const mostPoints = 8000

func polyline(pts []r2.Vec) []attribute {
	step := len(pts)/mostPoints + 1
	var data []float64
	for i := 0; i < len(pts); i += step {
		data = append(data, float64(float32(pts[i].X)), float64(float32(pts[i].Y)))
	}
	return []attribute{
		{tag.GraphicAnnotationUnits, one("PIXEL")},
		{tag.GraphicDimensions, []int{2}},
		{tag.NumberOfGraphicPoints, []int{len(data) / 2}},
		{tag.GraphicData, data},
		{tag.GraphicType, one("POLYLINE")},
		{tag.GraphicFilled, one("N")},
	}
}

// beside sets words near a point of the image.
func beside(words string, at r2.Vec) []attribute {
	return []attribute{
		{tag.AnchorPointAnnotationUnits, one("PIXEL")},
		{tag.UnformattedTextValue, []string{strings.ReplaceAll(words, "\\", "/")}},
		{tag.AnchorPoint, []float64{float64(float32(at.X)), float64(float32(at.Y))}},
		{tag.AnchorPointVisibility, one("N")},
	}
}

// standing are side and level with their basis, the scale and the cautions, along
// the foot of the picture as shown.
func standing(s scene.Scene) []attribute {
	var lines []string
	for _, c := range s.Case {
		lines = append(lines, c.Object+" "+c.Words+" ("+c.Side+"; "+c.Level+")")
	}
	lines = append(lines, "Scale: "+s.Bar.Words)
	lines = append(append(lines, s.Cautions...), scene.CautionReview, scene.CautionDepth)
	return []attribute{
		{tag.BoundingBoxAnnotationUnits, one("DISPLAY")},
		{tag.UnformattedTextValue, []string{strings.ReplaceAll(strings.Join(lines, "\r\n"), "\\", "/")}},
		{tag.BoundingBoxTopLeftHandCorner, []float64{0.02, 0.82}},
		{tag.BoundingBoxBottomRightHandCorner, []float64{0.98, 0.98}},
		{tag.BoundingBoxTextHorizontalJustification, one("LEFT")},
	}
}
