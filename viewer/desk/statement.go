package desk

import (
	"time"

	"leadline/imaging"
	"leadline/measure/mark"
)

// state keeps what the observer states.
func (d *Desk) state(what string, s mark.Statement) {
	s.Observer, s.When = d.Observer(), d.cfg.Now().UTC().Truncate(time.Second)
	if err := s.Check(); err != nil {
		d.refuse(err)
		return
	}
	d.remember(what)
	d.now.book = withStatement(d.now.book, s)
	d.changed()
	d.say("Kept: %s.", what)
}

var sideBases = []Choice{
	{"a", "a lead marker in the field"},
	{"b", "the record of the procedure"},
	{"c", "a first needle whose side is known"},
	{"d", "no basis: stated only, stays not confirmed"},
}

var sideBasis = map[string]mark.Basis{"a": mark.LeadMarker, "b": mark.TheatreRecord, "c": mark.KnownNeedle, "d": mark.Stated}

// AskSide asks the side of the device and what it rests on.
func (d *Desk) AskSide() {
	object := d.device
	if object == "" {
		d.say("Mark a needle first (N): side is stated for a device.")
		return
	}
	d.question = &Question{Title: "Side of " + object, Detail: "The patient's side",
		Choices: []Choice{{"l", "left"}, {"r", "right"}},
		answer: func(key string) {
			side := map[string]mark.Side{"l": mark.LeftSide, "r": mark.RightSide}[key]
			d.question = &Question{Title: object + " " + string(side), Detail: "What does that rest on?", Choices: sideBases,
				answer: func(key string) {
					d.state("side of "+object+" "+string(side), mark.Statement{Object: object, Side: side, SideBasis: sideBasis[key]})
				}}
		}}
}

var arrowChoices = []Choice{{"Up", "top"}, {"Down", "bottom"}, {"Left", "left edge"}, {"Right", "right edge"}}

var arrowEdges = map[string]imaging.Edge{"Up": imaging.Top, "Down": imaging.Bottom, "Left": imaging.Left, "Right": imaging.Right}

// AskPatientLeft asks at which edge of the focused film, as shown, the
// patient's left lies.
func (d *Desk) AskPatientLeft() {
	ref := d.panes[d.focus].Ref
	if ref.Instance == "" {
		return
	}
	d.question = &Question{Title: "Patient's left", Detail: "At which edge of this film, as shown?", Choices: arrowChoices,
		answer: func(key string) {
			edge := d.storedEdge(ref, arrowEdges[key])
			d.question = &Question{Title: "Patient's left at the " + string(arrowEdges[key]), Detail: "What does that rest on?", Choices: sideBases,
				answer: func(key string) {
					d.state("patient's left on this film", mark.Statement{Frame: d.statedFor(ref), PatientLeft: edge, SideBasis: sideBasis[key]})
				}}
		}}
}

// AskLevel asks the level of the device, what it rests on, and whether there
// is transitional anatomy.
func (d *Desk) AskLevel() {
	object := d.device
	if object == "" {
		d.say("Mark a needle first (N): level is stated for a device.")
		return
	}
	d.question = &Question{Title: "Level of " + object, Detail: "Of the dorsal opening its axis passes, never of its tip", Choices: levelChoices,
		answer: func(key string) {
			level := mark.Level("S" + key)
			d.question = &Question{Title: object + " " + string(level), Detail: "What does that rest on?",
				Choices: []Choice{{"a", "counted from above"}, {"b", "counted from below"}, {"c", "lateral landmarks"},
					{"d", "the sacroiliac line only: stays not confirmed"}, {"e", "no basis: stated only, stays not confirmed"}},
				answer: func(key string) {
					basis := map[string]mark.Basis{"a": mark.CountedAbove, "b": mark.CountedBelow, "c": mark.LateralLandmarks,
						"d": mark.SILineOnly, "e": mark.Stated}[key]
					d.question = &Question{Title: object + " " + string(level), Detail: "Transitional anatomy?",
						Choices: []Choice{{"y", "yes"}, {"n", "no"}, {"u", "not seen"}},
						answer: func(key string) {
							t := map[string]string{"y": "yes", "n": "no", "u": "not-seen"}[key]
							d.state("level of "+object+" "+string(level),
								mark.Statement{Object: object, Level: level, LevelBasis: basis, Transitional: t})
						}}
				}}
		}}
}

// AskView asks what view the focused film is.
func (d *Desk) AskView() {
	ref := d.panes[d.focus].Ref
	if ref.Instance == "" {
		return
	}
	d.question = &Question{Title: "View of this film", Detail: d.fileOf(ref),
		Choices: []Choice{{"f", "frontal"}, {"l", "lateral"}, {"o", "oblique"}},
		answer: func(key string) {
			v := map[string]imaging.View{"f": imaging.Frontal, "l": imaging.Lateral, "o": imaging.Oblique}[key]
			d.state("view "+string(v), mark.Statement{Frame: d.statedFor(ref), View: v})
			d.settle()
		}}
}

// AskCranial asks at which edge of the focused film, as shown, the head lies.
func (d *Desk) AskCranial() {
	ref := d.panes[d.focus].Ref
	if ref.Instance == "" {
		return
	}
	d.question = &Question{Title: "Cranial", Detail: "At which edge of this film, as shown, does the head lie?", Choices: arrowChoices,
		answer: func(key string) {
			d.state("cranial direction", mark.Statement{Frame: d.statedFor(ref), Cranial: d.storedEdge(ref, arrowEdges[key])})
			d.settle()
		}}
}

// statedFor is what a statement about a frame holds for: all frames of its run,
// unless the beam turns in it.
func (d *Desk) statedFor(ref mark.FrameRef) mark.FrameRef {
	if h := d.header(ref.Instance); h != nil && h.Frames > 1 && h.Turning(1, h.Frames) <= imaging.TurningMost {
		return mark.FrameRef{Instance: ref.Instance, First: 1, Last: h.Frames}
	}
	return ref
}

// settle waits for the films to be read anew after a statement that says how
// they lie, and lays them out accordingly.
func (d *Desk) settle() {
	d.measuring.take(d.measuring.revision, d.cfg.Measure(d.films(), d.now.book))
	before := d.panes
	d.layFilms()
	if before != d.panes {
		d.measure()
	}
}

func (d *Desk) fileOf(ref mark.FrameRef) string {
	if h := d.header(ref.Instance); h != nil {
		return baseName(h.File)
	}
	return ""
}
