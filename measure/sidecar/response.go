package sidecar

import (
	"fmt"
	"slices"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/response"
)

// response is a test of stimulation as a Measurement Group (TID 1501).
func (b *builder) response(i int, t response.Test) item {
	if err := t.Check(); err != nil && b.err == nil {
		b.err = fmt.Errorf("response %d: %w", i+1, err)
	}
	s := b.group(kindResponse, orDash(t.Name()), b.derived("response", fmt.Sprint(i)))
	s.text(contains, device, t.Object)
	if t.Contact >= 0 {
		s.num(contains, contactIndex, float64(t.Contact), unitNone)
	}
	s.word(contains, amplitudeUnit, amplitudeWord, t.Unit)
	for _, k := range response.Kinds() {
		th := t.Threshold(k)
		if !th.Amplitude.Known {
			continue
		}
		concept := thresholdOf[k]
		if th.None {
			concept = noneUpTo[k]
		}
		s.num(contains, concept, th.Amplitude.Value, amplitudeUnits[t.Unit])
	}
	s.text(contains, polarity, t.Polarity)
	for _, n := range []struct {
		concept, unit code
		value         imaging.Number
	}{{pulseWidth, unitMicrosecond, t.PulseWidth}, {pulseRate, unitHertz, t.Rate}, {evoked, unitMicrovolt, t.Evoked}} {
		if n.value.Known {
			s.num(contains, n.concept, n.value.Value, n.unit)
		}
	}
	for _, m := range t.Motor {
		s.word(contains, motorSeen, motorTerms, string(m))
	}
	for _, f := range t.Sensation {
		s.word(contains, felt, sensationTerms, string(f))
	}
	s.word(contains, stateOf, stateTerms, string(t.State))
	s.word(contains, rootStated, levels, string(t.Root))
	s.text(contains, testRemarks, t.Note)
	return s.asGroup()
}

func (rd *reader) response(rec record) {
	t := response.Test{Contact: -1}
	for _, it := range rec.items {
		switch {
		case it.concept.is(device):
			t.Object = it.text
		case it.concept.is(contactIndex):
			t.Contact = rd.whole(it)
		case it.concept.is(amplitudeUnit):
			t.Unit = rd.worded(it, amplitudeWord)
		case it.concept.is(polarity):
			t.Polarity = it.text
		case it.concept.is(pulseWidth):
			t.PulseWidth = imaging.Known(it.number)
		case it.concept.is(pulseRate):
			t.Rate = imaging.Known(it.number)
		case it.concept.is(evoked):
			t.Evoked = imaging.Known(it.number)
		case it.concept.is(motorSeen):
			t.Motor = append(t.Motor, response.Motor(rd.worded(it, motorTerms)))
		case it.concept.is(felt):
			t.Sensation = append(t.Sensation, response.Sensation(rd.worded(it, sensationTerms)))
		case it.concept.is(stateOf):
			t.State = response.State(rd.worded(it, stateTerms))
		case it.concept.is(rootStated):
			t.Root = mark.Level(rd.worded(it, levels))
		case it.concept.is(testRemarks):
			t.Note = it.text
		default:
			if !rd.threshold(&t, it) {
				rd.odd(it, "a response")
			}
		}
	}
	rd.r.Responses = append(rd.r.Responses, t)
}

func (rd *reader) threshold(t *response.Test, it item) bool {
	for _, k := range response.Kinds() {
		switch {
		case it.concept.is(thresholdOf[k]):
			t.Put(k, response.At(it.number))
		case it.concept.is(noneUpTo[k]):
			t.Put(k, response.NoneUpTo(it.number))
		default:
			continue
		}
		return true
	}
	return false
}

// response: rows of our own. Each amplitude stands once, as a threshold or as the
// highest without response, in the unit the test names.
func (c *checker) response(g item, where string) {
	c.rows(g, where, row{"report row: position", contains, typeText, device, 1, 1},
		row{"report row: contact", contains, typeNum, contactIndex, 0, 1},
		row{"report row: unit of amplitudes", contains, typeCode, amplitudeUnit, 0, 1},
		row{"report row: pulse width", contains, typeNum, pulseWidth, 0, 1},
		row{"report row: rate", contains, typeNum, pulseRate, 0, 1},
		row{"report row: evoked response", contains, typeNum, evoked, 0, 1},
		row{"report row: state", contains, typeCode, stateOf, 0, 1},
		row{"report row: root", contains, typeCode, rootStated, 0, 1},
		row{"report row: movement", contains, typeCode, motorSeen, 0, 0},
		row{"report row: sensation", contains, typeCode, felt, 0, 0})
	named := code{}
	for _, it := range g.children {
		if it.concept.is(amplitudeUnit) {
			if word, ok := amplitudeWord.word(it.value); ok {
				named = amplitudeUnits[word]
			}
		}
	}
	of := map[response.Kind]int{}
	for _, it := range g.children {
		in := where + "/" + it.concept.meaning
		for _, k := range response.Kinds() {
			if !it.concept.is(thresholdOf[k]) && !it.concept.is(noneUpTo[k]) {
				continue
			}
			if of[k]++; of[k] > 1 {
				c.say(in, "report row: threshold", "a second amplitude of the "+k.Words())
			}
			if it.kind != typeNum || !it.unit.is(named) {
				c.say(in, "report row: threshold", "is not in the unit the test names")
			}
		}
		for _, u := range []struct{ concept, unit code }{{pulseWidth, unitMicrosecond}, {pulseRate, unitHertz}, {evoked, unitMicrovolt}} {
			if it.concept.is(u.concept) && !it.unit.is(u.unit) {
				c.say(in, "report row: settings", "is in "+it.unit.value+", not in "+u.unit.value)
			}
		}
	}
}

// stimulationUnits are the units of responses.
var stimulationUnits = []code{unitMilliampere, unitVolt, unitMicrosecond, unitHertz, unitMicrovolt}

// tidyTests is a copy of the tests as they are kept, their numbers in decimals that a DS
// value holds.
func tidyTests(tests []response.Test) []response.Test {
	out := slices.Clone(tests)
	for i := range out {
		t := out[i].Clone()
		for _, n := range []*imaging.Number{&t.PelvicFloor.Amplitude, &t.LegFoot.Amplitude, &t.Sensory.Amplitude, &t.PulseWidth, &t.Rate, &t.Evoked} {
			n.Value = inDecimals(n.Value)
		}
		out[i] = t
	}
	return out
}
