// Package response holds what stimulation at a position gave: thresholds of the
// pelvic floor, of leg and foot and of sensation, the movements and sensations
// seen, and the settings they were got with. It compares positions by side and
// level. It judges none.
//
// An amplitude is in the unit the stimulator read, milliamperes or volts; the two
// are never turned into each other, for that needs an impedance. Pulse widths are
// in microseconds, rates in hertz, evoked muscle responses in microvolts.
package response

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"leadline/imaging"
	"leadline/measure/mark"
)

// Kind is the kind of a response, each with a threshold of its own.
type Kind string

// The kinds, in the order in which they are told.
const (
	PelvicFloor Kind = "pelvic-floor"
	LegFoot     Kind = "leg-foot"
	Sensory     Kind = "sensory"
)

// Kinds in their order.
func Kinds() []Kind { return []Kind{PelvicFloor, LegFoot, Sensory} }

// Words of a kind.
func (k Kind) Words() string {
	switch k {
	case PelvicFloor:
		return "pelvic floor"
	case LegFoot:
		return "leg and foot"
	}
	return "sensation"
}

// Units of an amplitude.
const (
	Milliampere = "mA"
	Volt        = "V"
)

// Threshold is the least amplitude that gave a response, or, where None, the
// highest that was tested and gave none. Not known: not recorded.
type Threshold struct {
	Amplitude imaging.Number // in the test's unit
	None      bool
}

// At is the threshold of a response.
func At(amplitude float64) Threshold { return Threshold{Amplitude: imaging.Known(amplitude)} }

// NoneUpTo says that there was no response up to the amplitude.
func NoneUpTo(amplitude float64) Threshold {
	return Threshold{Amplitude: imaging.Known(amplitude), None: true}
}

// String is the threshold as it stands in a table: 1.2, or >3 where there was no
// response up to 3; empty where it is not recorded.
func (t Threshold) String() string {
	if !t.Amplitude.Known {
		return ""
	}
	s := Figure(t.Amplitude.Value)
	if t.None {
		return ">" + s
	}
	return s
}

// Told is the threshold for a reader: "1.2 mA", "none up to 3 mA", "not recorded".
func (t Threshold) Told(unit string) string {
	switch {
	case !t.Amplitude.Known:
		return NotRecorded
	case t.None:
		return "none up to " + Figure(t.Amplitude.Value) + " " + unit
	}
	return Figure(t.Amplitude.Value) + " " + unit
}

// NotRecorded is what a blank reads.
const NotRecorded = "not recorded"

// Figure prints a number as it was entered, with the digits it needs.
func Figure(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// State of the patient during a test.
type State string

// The states; empty: not recorded.
const (
	Awake   State = "awake"
	Sedated State = "sedated"
	Relaxed State = "relaxed" // under a muscle relaxant
)

// Test is one test at a position: of a device's tip, or of one contact of a lead.
type Test struct {
	Object  string // N1, N1.2, W1, L1
	Contact int    // of a lead, 0 nearest the tip; -1 of a needle or wire

	PelvicFloor, LegFoot, Sensory Threshold
	Unit                          string // mA or V, of all three
	Polarity                      string // 0- case+; needle- pad+
	PulseWidth                    imaging.Number
	Rate                          imaging.Number

	Motor     []Motor
	Sensation []Sensation
	Evoked    imaging.Number
	State     State
	// Root is the sacral root the observer takes the responses for; empty: left to
	// their pattern (see Roots).
	Root mark.Level
	Note string
}

// Threshold of a kind.
func (t Test) Threshold(k Kind) Threshold {
	switch k {
	case PelvicFloor:
		return t.PelvicFloor
	case LegFoot:
		return t.LegFoot
	}
	return t.Sensory
}

// Name is "N1" or "L1 contact 0".
func (t Test) Name() string {
	if t.Contact >= 0 {
		return fmt.Sprintf("%s contact %d", t.Object, t.Contact)
	}
	return t.Object
}

// Clone is a deep copy.
func (t Test) Clone() Test {
	t.Motor, t.Sensation = slices.Clone(t.Motor), slices.Clone(t.Sensation)
	return t
}

// Highest values that are taken for meant. They are far above what a stimulator
// gives, and catch a unit mistaken by a thousand.
const (
	maxAmplitude  = 100
	maxPulseWidth = 5000
	maxRate       = 1000
	maxEvoked     = 100_000
	maxContact    = 15
	maxNote       = 500
)

var electrode = regexp.MustCompile(`^([0-9]|1[0-5]|case|pad|needle|wire)[+-]$`)

// Check tells whether t says something, in known words, about a position. The
// error wraps imaging.ErrBadInput and says in one line what is wrong.
func (t Test) Check() error {
	lead := strings.HasPrefix(t.Object, "L")
	switch {
	case t.Object == "":
		return fault("no object: say which position was tested, such as N1, N1.2 or L1")
	case !mark.IsObject(t.Object):
		return fault("object %s is no position: use a name such as N1, or N1.2 for its second position", quote(t.Object))
	case lead && (t.Contact < 0 || t.Contact > maxContact):
		return fault("contact of %s: say which was tested, 0 nearest the tip", t.Object)
	case !lead && t.Contact >= 0:
		return fault("%s has no contacts: leave contact empty", t.Object)
	case t.Unit != "" && t.Unit != Milliampere && t.Unit != Volt:
		return fault("unit %s is not known: use mA or V", quote(t.Unit))
	case !slices.Contains([]State{"", Awake, Sedated, Relaxed}, t.State):
		return fault("state %s is not known: use awake, sedated or relaxed", quote(string(t.State)))
	case t.Root != "" && t.Root.Number() == 0:
		return fault("root %s is not known: use S1 to S5", quote(string(t.Root)))
	}
	thresholds := 0
	for _, k := range Kinds() {
		a := t.Threshold(k).Amplitude
		if !a.Known {
			continue
		}
		thresholds++
		if !(a.Value > 0 && a.Value <= maxAmplitude) {
			return fault("%s: %g is no amplitude above 0 and up to %d", k, a.Value, maxAmplitude)
		}
		if t.Unit == "" {
			return fault("%s: an amplitude without a unit: say mA or V", k)
		}
	}
	for _, n := range []struct {
		name, unit string
		value      imaging.Number
		most       float64
	}{{"pulse width", "µs", t.PulseWidth, maxPulseWidth}, {"rate", "Hz", t.Rate, maxRate}, {"evoked response", "µV", t.Evoked, maxEvoked}} {
		if n.value.Known && !(n.value.Value > 0 && n.value.Value <= n.most) {
			return fault("%s: %g %s is not above 0 and up to %g", n.name, n.value.Value, n.unit, n.most)
		}
	}
	for _, e := range strings.Fields(t.Polarity) {
		if !electrode.MatchString(e) {
			return fault("polarity %s is not known: write electrodes with their sign, such as 0- case+, or needle- pad+", quote(e))
		}
	}
	if err := t.words(); err != nil {
		return err
	}
	if !plain(t.Note) {
		return fault("note: a line of at most %d characters, without control characters", maxNote)
	}
	if thresholds == 0 && len(t.Motor) == 0 && len(t.Sensation) == 0 && !t.Evoked.Known && t.Note == "" {
		return fault("%s: nothing is recorded", t.Name())
	}
	return nil
}

// words checks the movements and sensations, and that they fit the thresholds.
func (t Test) words() error {
	pelvic, leg := false, false
	for i, m := range t.Motor {
		info, ok := motors[m]
		switch {
		case !ok:
			return fault("motor response %s is not known: use %s", quote(string(m)), list(Motors()))
		case slices.Index(t.Motor, m) < i:
			return fault("motor response %s stands there twice", m)
		case m == NoMotor && len(t.Motor) > 1:
			return fault("motor response none goes with no other")
		}
		pelvic, leg = pelvic || info.kind == PelvicFloor, leg || info.kind == LegFoot
	}
	for i, s := range t.Sensation {
		switch {
		case sensations[s] == "":
			return fault("sensation %s is not known: use %s", quote(string(s)), list(Sensations()))
		case slices.Index(t.Sensation, s) < i:
			return fault("sensation %s stands there twice", s)
		case s == NoSensation && len(t.Sensation) > 1:
			return fault("sensation none goes with no other")
		}
	}
	noMotor, noSense := slices.Contains(t.Motor, NoMotor), slices.Contains(t.Sensation, NoSensation)
	felt := len(t.Sensation) > 0 && !noSense
	for _, c := range []struct {
		kind      Kind
		seen, not bool
	}{{PelvicFloor, pelvic, noMotor}, {LegFoot, leg, noMotor}, {Sensory, felt, noSense}} {
		th := t.Threshold(c.kind)
		switch {
		case th.Amplitude.Known && th.None && c.seen:
			return fault("%s: no response up to %s, yet one is named", c.kind, Figure(th.Amplitude.Value))
		case th.Amplitude.Known && !th.None && c.not:
			return fault("%s: a threshold of %s, yet the response is none", c.kind, Figure(th.Amplitude.Value))
		}
	}
	return nil
}

func plain(s string) bool {
	return utf8.ValidString(s) && utf8.RuneCountInString(s) <= maxNote && s == strings.TrimSpace(s) && !strings.ContainsFunc(s, func(r rune) bool {
		return unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp)
	})
}

func fault(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{imaging.ErrBadInput}, args...)...)
}

// repeats reports whether two tests are of one position with the same settings.
func (t Test) repeats(u Test) bool {
	return t.Object == u.Object && t.Contact == u.Contact && t.Unit == u.Unit && t.Polarity == u.Polarity &&
		t.PulseWidth == u.PulseWidth && t.Rate == u.Rate && t.State == u.State
}
