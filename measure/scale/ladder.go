package scale

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
)

// Assumptions about what headers leave open. Each is a rectangular
// distribution of the given half width; none has a published source.
const (
	// DistanceHalf is how far the ratio of the two distances, or the
	// magnification factor, may be off: a C-arm reads them from encoders and
	// assumes a table height.
	DistanceHalf = 0.02
	// FiducialHalf is how far a calibration by an object of known size may be off.
	FiducialHalf = 0.03
	// GeometryHalf is how far an assumed magnification may be off.
	GeometryHalf = 0.05
	// OffPlaneHalf, in millimetres, is how far along the beam the midline of
	// the sacrum may lie from the plane that the scale holds in.
	OffPlaneHalf = 35.0
	// ForeshorteningMost is the angle, in degrees, that a known length may be
	// tilted out of the plane of the detector: its picture is then shorter by up
	// to 6 %. Known lengths under 20 degrees of foreshortening were read to
	// under 7 % in Catheter Cardiovasc Interv 2001;52(3):334-41.
	ForeshorteningMost = 20.0
	// MagnificationMost is the largest magnification of a C-arm or an
	// over-table unit (source to detector over source to patient).
	MagnificationMost = 2.0
	// SourceToPlanePrior, in millimetres, stands in where no distance is given.
	SourceToPlanePrior = 700.0
)

// Known is a length the observer knows and has marked, in SR coordinates.
type Known struct {
	A, B   r2.Vec
	Length float64 // mm
	SD     float64 // pixels, per coordinate, of each end
}

// From finds the scale of a frame by PS3.3 10.7.1, in this order: a known
// length that is marked; Pixel Spacing that is calibrated (type FIDUCIAL or
// GEOMETRY, or differing from the spacing at the detector); Object Pixel Spacing
// in Center of Beam of an enhanced object, away from the lateral; Imager Pixel
// Spacing with the magnification factor or the two distances (XA and XRF only:
// PS3.3 C.8.7.5; in DX the distance is to another plane, table C.8-72); the
// detector plane alone; Pixel Spacing that cannot be placed; none. Headers that
// contradict each other are named in Conflicts and widen the uncertainty; they
// are never averaged.
func From(g imaging.Geometry, known []Known) Scale {
	l := ladder{g: clean(g)}
	l.shape = l.aspect()
	l.distances()
	s, ok := l.known(known)
	for _, rung := range []func() (Scale, bool){l.calibrated, l.object, l.magnified, l.detector, l.unplaced} {
		if ok {
			break
		}
		s, ok = rung()
	}
	if !ok {
		return Scale{Row: l.shape, Column: 1, Because: l.because(), Conflicts: l.conflicts}
	}
	s.Known = true
	if s.Column < plausibleLeast || s.Row < plausibleLeast || s.Column > plausibleMost || s.Row > plausibleMost {
		l.conflict(0, fmt.Sprintf("A pixel of %.3g x %.3g mm is not to be expected of a C-arm: check what the header says.", s.Row, s.Column))
	}
	s.Conflicts = l.conflicts
	s.Relative = math.Hypot(s.Relative, l.disagreement/math.Sqrt(3))
	if s.SourceToPlane == 0 {
		s.SourceToPlane = SourceToPlanePrior
	}
	s.PlaneOffset = OffPlaneHalf / math.Sqrt(3) / s.SourceToPlane
	return s
}

type ladder struct {
	g            imaging.Geometry
	shape        float64 // row over column size of a pixel
	conflicts    []string
	disagreement float64 // largest relative disagreement of sources that bear on the scale used
}

// No pixel of a film is smaller or larger than spacingLeast to spacingMost, in
// millimetres (common practice, no source): a header that says so does not know
// it. Outside the plausible bounds, and above magnificationOdd, a scale is used
// but told to be odd.
const (
	spacingLeast, spacingMost     = 1e-3, 50.0
	plausibleLeast, plausibleMost = 0.02, 2.0
	magnificationOdd              = 3.0
)

// clean drops values that cannot be meant: C-arms write zeros for what they do
// not know.
func clean(g imaging.Geometry) imaging.Geometry {
	positive := func(n *imaging.Number) {
		if !n.Known || !(n.Value > 0) || math.IsInf(n.Value, 0) {
			*n = imaging.Number{}
		}
	}
	spacing := func(s *imaging.Spacing) {
		s.Known = s.Known && s.Row >= spacingLeast && s.Column >= spacingLeast && s.Row <= spacingMost && s.Column <= spacingMost
	}
	positive(&g.MagnificationFactor)
	positive(&g.SourceToDetector)
	positive(&g.SourceToPatient)
	positive(&g.PixelAspectRatio)
	spacing(&g.PixelSpacing)
	spacing(&g.ImagerSpacing)
	spacing(&g.NominalSpacing)
	spacing(&g.ObjectSpacing)
	g.CalibrationType = strings.ToUpper(strings.TrimSpace(g.CalibrationType))
	return g
}

// No source stands nearer to a detector or a patient than distanceLeast, nor
// further than distanceMost, in millimetres (common practice, no source).
const distanceLeast, distanceMost = 200.0, 5000.0

// distances drops those that cannot be millimetres.
func (l *ladder) distances() {
	for _, d := range []struct {
		name string
		n    *imaging.Number
	}{
		{"Distance Source to Detector", &l.g.SourceToDetector},
		{"Distance Source to Patient", &l.g.SourceToPatient},
	} {
		if v := d.n.Value; d.n.Known && (v < distanceLeast || v > distanceMost) {
			l.conflict(0, fmt.Sprintf("%s of %g mm is not to be expected of a C-arm (in other units?): it is not used.", d.name, v))
			*d.n = imaging.Number{}
		}
	}
}

// aspect is the shape of a pixel, row over column, from the first source that
// tells; sources that differ are a conflict.
func (l *ladder) aspect() float64 {
	type source struct {
		name string
		v    float64
	}
	var all []source
	add := func(name string, s imaging.Spacing) {
		if s.Known {
			all = append(all, source{name, s.Row / s.Column})
		}
	}
	add("Pixel Spacing", l.g.PixelSpacing)
	add("Imager Pixel Spacing", l.g.ImagerSpacing)
	add("Object Pixel Spacing in Center of Beam", l.g.ObjectSpacing)
	add("Nominal Scanned Pixel Spacing", l.g.NominalSpacing)
	if l.g.PixelAspectRatio.Known {
		all = append(all, source{"Pixel Aspect Ratio", l.g.PixelAspectRatio.Value})
	}
	if len(all) == 0 {
		return 1
	}
	for _, s := range all[1:] {
		if differ(s.v, all[0].v) > 0.01 {
			l.conflicts = append(l.conflicts, fmt.Sprintf("%s makes a pixel %.3g times as high as wide, %s %.3g times: %s is used.",
				all[0].name, all[0].v, s.name, s.v, all[0].name))
		}
	}
	return all[0].v
}

// differ is the relative difference of two positive numbers.
func differ(a, b float64) float64 { return math.Abs(a-b) / math.Min(a, b) }

// same holds for spacings that DICOM would call equal; they are decimal
// strings, so a part in ten thousand is rounding.
func same(a, b imaging.Spacing) bool {
	return differ(a.Row, b.Row) < 1e-4 && differ(a.Column, b.Column) < 1e-4
}

// knownLeast in pixels is the shortest picture of a known length that counts.
const knownLeast = 5.0

func (l *ladder) known(known []Known) (Scale, bool) {
	var best Known
	var pixels float64
	for _, k := range known {
		p := math.Hypot(k.B.X-k.A.X, (k.B.Y-k.A.Y)*l.shape)
		if k.Length > 0 && p > pixels {
			best, pixels = k, p
		}
	}
	if pixels < knownLeast {
		if len(known) > 0 {
			l.conflict(0, "The known length is marked too short to give a scale: mark its two ends.")
		}
		return Scale{}, false
	}
	for _, k := range known {
		p := math.Hypot(k.B.X-k.A.X, (k.B.Y-k.A.Y)*l.shape)
		if k.Length <= 0 || p == 0 {
			continue
		}
		if d := differ(k.Length/p, best.Length/pixels); d > 0.05 {
			l.conflict(d, fmt.Sprintf("Known lengths disagree by %.0f %%: the longer one is used.", d*100))
		}
	}
	// Picture and length may both be off: the ends as marked, and a length
	// tilted out of the plane looks shorter than it is.
	ends := math.Sqrt2 * best.SD / pixels
	c := best.Length / pixels
	s := Scale{
		Row: c * l.shape, Column: c, Plane: KnownLength,
		Source:        "known length, marked",
		Relative:      math.Hypot(ends, tilted),
		SourceToPlane: l.g.SourceToPatient.Value, // 0 where not given
	}
	// The header's own scale, if it has one for anatomy, is a check.
	probe := ladder{g: l.g, shape: l.shape}
	for _, rung := range []func() (Scale, bool){probe.calibrated, probe.object, probe.magnified} {
		if h, ok := rung(); ok {
			if d := differ(h.Column, s.Column); d > 0.15 {
				l.conflict(0, fmt.Sprintf("The known length and %s disagree by %.0f %%: the known length is used.", h.Source, d*100))
			}
			break
		}
	}
	return s, true
}

// conflict records a contradiction and how much it matters to the scale.
func (l *ladder) conflict(relative float64, text string) {
	l.conflicts = append(l.conflicts, text)
	l.disagreement = math.Max(l.disagreement, relative)
}

// atDetector is the spacing at the detector or on the scanned film.
func (l *ladder) atDetector() (imaging.Spacing, string) {
	if l.g.ImagerSpacing.Known {
		return l.g.ImagerSpacing, "Imager Pixel Spacing"
	}
	if l.g.NominalSpacing.Known {
		return l.g.NominalSpacing, "Nominal Scanned Pixel Spacing"
	}
	return imaging.Spacing{}, ""
}

// calibrated is Pixel Spacing that stands for a plane in the patient.
func (l *ladder) calibrated() (Scale, bool) {
	p := l.g.PixelSpacing
	if !p.Known {
		return Scale{}, false
	}
	detector, name := l.atDetector()
	equal := detector.Known && same(p, detector)
	s := Scale{Row: p.Row, Column: p.Column, Plane: Calibrated}
	switch kind := l.g.CalibrationType; {
	case equal && kind != "":
		l.conflict(0, fmt.Sprintf("Pixel Spacing says it is calibrated (%s) but equals %s: it is read as uncorrected.", kind, name))
		return Scale{}, false
	case equal:
		return Scale{}, false
	case kind == "FIDUCIAL":
		s.Source, s.Relative = "Pixel Spacing, calibrated by an object of known size (FIDUCIAL)", FiducialHalf/math.Sqrt(3)
	case kind == "GEOMETRY":
		s.Source, s.Relative = "Pixel Spacing, calibrated by an assumed magnification (GEOMETRY)", GeometryHalf/math.Sqrt(3)
	case detector.Known:
		s.Source, s.Relative = "Pixel Spacing, calibrated (it differs from "+name+")", GeometryHalf/math.Sqrt(3)
	default:
		return Scale{}, false
	}
	// Imager Pixel Spacing with its own magnification is a second opinion.
	probe := ladder{g: l.g, shape: l.shape}
	if m, ok := probe.magnified(); ok {
		s.SourceToPlane = m.SourceToPlane
		if d := differ(m.Column, s.Column); d > 0.05 {
			l.conflict(d, fmt.Sprintf("Pixel Spacing and %s disagree by %.0f %%: Pixel Spacing is used.", m.Source, d*100))
		}
	}
	return s, true
}

// magnified is Imager Pixel Spacing brought to the centre of the field.
func (l *ladder) magnified() (Scale, bool) {
	if (l.g.Kind != imaging.KindXA && l.g.Kind != imaging.KindXRF) || !l.g.ImagerSpacing.Known {
		return Scale{}, false
	}
	m, source := 0.0, ""
	if l.g.MagnificationFactor.Known {
		if l.g.MagnificationFactor.Value >= 1 {
			m, source = l.g.MagnificationFactor.Value, "Imager Pixel Spacing and the magnification factor"
		} else {
			l.conflict(0, fmt.Sprintf("Estimated Radiographic Magnification Factor %g is below 1: it is not used.", l.g.MagnificationFactor.Value))
		}
	}
	if l.g.SourceToDetector.Known && l.g.SourceToPatient.Known {
		ratio := l.g.SourceToDetector.Value / l.g.SourceToPatient.Value
		switch {
		case ratio < 1:
			l.conflict(0, fmt.Sprintf("Distance Source to Patient %g is larger than Source to Detector %g: they are not used.", l.g.SourceToPatient.Value, l.g.SourceToDetector.Value))
		case m == 0:
			m, source = ratio, "Imager Pixel Spacing and the two distances"
		case differ(ratio, m) > 0.01:
			l.conflict(differ(ratio, m), fmt.Sprintf("The magnification factor is %.4g, the two distances give %.4g: the factor is used.", m, ratio))
		}
	}
	if m == 0 {
		return Scale{}, false
	}
	if m > magnificationOdd {
		l.conflict(0, fmt.Sprintf("A magnification of %.3g is not to be expected of a C-arm: check what the header says.", m))
	}
	s := Scale{
		Row: l.g.ImagerSpacing.Row / m, Column: l.g.ImagerSpacing.Column / m,
		Plane: FieldCentre, Source: source, Relative: DistanceHalf / math.Sqrt(3),
	}
	switch {
	case l.g.SourceToPatient.Known:
		s.SourceToPlane = l.g.SourceToPatient.Value
	case l.g.SourceToDetector.Known:
		s.SourceToPlane = l.g.SourceToDetector.Value / m
	}
	return s, true
}

// detector is the plane of the detector: magnified, not anatomy.
func (l *ladder) detector() (Scale, bool) {
	d, name := l.atDetector()
	if !d.Known {
		return Scale{}, false
	}
	return Scale{
		Row: d.Row, Column: d.Column, Plane: DetectorPlane,
		Source:           name + ", detector plane: magnified, not anatomy",
		Relative:         0.005,
		MaxMagnification: MagnificationMost,
		SourceToPlane:    l.g.SourceToPatient.Value, // 0 where not given
	}, true
}

// unplaced is Pixel Spacing that stands alone with no type: whether it holds at
// the detector or in the patient cannot be known (PS3.3 10.7.1.1).
func (l *ladder) unplaced() (Scale, bool) {
	p := l.g.PixelSpacing
	if !p.Known {
		return Scale{}, false
	}
	return Scale{
		Row: p.Row, Column: p.Column, Plane: UnknownPlane,
		Source:           "Pixel Spacing with no type: its plane is not known, it may be magnified",
		Relative:         GeometryHalf / math.Sqrt(3),
		MaxMagnification: MagnificationMost,
	}, true
}

// because says why there is no scale and what would mend it, naming no unit of
// length.
func (l *ladder) because() string {
	return "the header gives no pixel spacing; mark a known length to have a scale"
}
