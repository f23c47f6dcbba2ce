package phantom

import (
	"bytes"
	"encoding/csv"
	"math/rand/v2"
	"strconv"

	"gonum.org/v1/gonum/spatial/r3"

	"leadline/imaging"
	"leadline/imaging/carm"
)

// Observer is the invented observer of the practice case's marks.
const Observer = "Observer A"

// markScatter is how far, in pixels and as a standard deviation per coordinate,
// the practice marks are off the truth: a careful hand, no source.
const markScatter = 0.7

// mark of one structure, still in the patient.
type mark struct {
	structure, level, side, object, detail string
	points                                 []r3.Vec
}

// marksCSV gives the marks that a careful observer would set on the films, in
// the format of marks.csv, instances by their file name.
func marksCSV(m *midline, t Truth, cameras []carm.Camera) ([]byte, error) {
	var buf bytes.Buffer
	w := csv.NewWriter(&buf)
	if err := w.Write([]string{"instance", "frame", "structure", "level", "side", "object", "index", "x", "y", "origin", "detail"}); err != nil {
		return nil, err
	}
	hand := rand.New(rand.NewPCG(noiseSeed, 77))
	for i, s := range shots {
		marks := frontalMarks(m, t)
		if s.view == imaging.Lateral {
			marks = lateralMarks(m, t)
		}
		for _, k := range marks {
			for index, p := range k.points {
				px, _ := cameras[i].Project(p)
				x, y := px.X+markScatter*hand.NormFloat64(), px.Y+markScatter*hand.NormFloat64()
				row := []string{s.file, "1", k.structure, k.level, k.side, k.object, strconv.Itoa(index),
					strconv.FormatFloat(x, 'f', 2, 64), strconv.FormatFloat(y, 'f', 2, 64), "hand", k.detail}
				if err := w.Write(row); err != nil {
					return nil, err
				}
			}
		}
	}
	w.Flush()
	return buf.Bytes(), w.Error()
}

// needleMarks from where the shaft goes through the skin to the tip.
func needleMarks(t Truth) []mark {
	var out []mark
	for _, n := range t.Needles {
		k := mark{structure: "needle", side: n.Side, object: n.Object}
		tip, hub := n.Tip.Vec(), n.Hub.Vec()
		for _, f := range []float64{0.74, 0.6, 0.45, 0.3, 0.2, 0.1, 0} {
			k.points = append(k.points, r3.Add(tip, r3.Scale(f, r3.Sub(hub, tip))))
		}
		out = append(out, k)
	}
	return out
}

func lateralMarks(m *midline, t Truth) []mark {
	surface := func(s float64) r3.Vec { return m.point(0, s, m.thickAt.Predict(s)) }
	ventral, dorsal := mark{structure: "ventral-margin"}, mark{structure: "dorsal-margin"}
	for k := range 13 {
		ventral.points = append(ventral.points, m.point(0, 2+8.5*float64(k), 0))
	}
	for k := range 11 {
		dorsal.points = append(dorsal.points, surface(16+8*float64(k)))
	}
	skin := mark{structure: "skin-line"}
	for z := 52.0; z >= -44; z -= 12 {
		skin.points = append(skin.points, skinSilhouette(z, 1))
	}
	out := []mark{ventral, dorsal, skin}
	for i, s := range fusionAt[:3] {
		k := mark{structure: "fusion-line", detail: []string{"S1/S2", "S2/S3", "S3/S4"}[i]}
		deep := m.bodyDepth(s)
		for _, f := range []float64{0.12, 0.5, 0.88} {
			k.points = append(k.points, m.point(0, s, f*deep))
		}
		out = append(out, k)
	}
	out = append(out,
		mark{structure: "promontory", points: []r3.Vec{t.Promontory.Vec()}},
		mark{structure: "coccyx-tip", points: []r3.Vec{t.CoccyxTip.Vec()}},
		mark{structure: "sciatic-notch", detail: "first", points: []r3.Vec{t.SciaticNotches[0].Vec()}},
		mark{structure: "sciatic-notch", detail: "second", points: []r3.Vec{t.SciaticNotches[1].Vec()}})
	return append(out, needleMarks(t)...)
}

func frontalMarks(m *midline, t Truth) []mark {
	mid := mark{structure: "midline"}
	for _, s := range []float64{21, 43, 61, 78, 96} {
		mid.points = append(mid.points, m.point(0, s, m.thickAt.Predict(s)))
	}
	out := []mark{mid,
		{structure: "si-line", points: []r3.Vec{t.SacroiliacLine[0].Vec(), t.SacroiliacLine[1].Vec()}}}
	for _, side := range []float64{1, -1} {
		k := mark{structure: "medial-line", side: sideName(side)}
		for _, f := range foramina {
			k.points = append(k.points, m.point(side*(f.dorsal.x-f.dorsal.across), f.dorsal.s, m.thickAt.Predict(f.dorsal.s)))
		}
		out = append(out, k)
	}
	for _, f := range foramina[1:] {
		for _, side := range []float64{1, -1} {
			out = append(out, mark{structure: "foramen", level: f.level, side: sideName(side), detail: "dorsal", points: f.outline(m, true, side, 12)})
		}
	}
	return append(out, needleMarks(t)...)
}
