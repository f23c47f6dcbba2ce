package desk

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/response"
)

// Field is one line of a question that asks for several.
type Field struct {
	Label string
	Text  string // typed so far
	Hint  string // what it takes

	fresh bool // what is typed first takes the place of what was proposed
}

// Fields of a response, in the order in which they are entered.
const (
	pelvicFloorField = iota
	legFootField
	sensoryField
	unitField
	polarityField
	pulseWidthField
	rateField
	motorField
	sensationField
	evokedField
	stateField
	rootField
	noteField
	responseFields
)

// AskResponse opens the response of the position that is selected, or of the
// device shown: of its last test, or a new one with the settings of the test
// that was entered last. A lead's test is of one contact.
func (d *Desk) AskResponse() {
	object, contact := d.device, -1
	if m, ok := d.Selected(); ok && m.Object != "" {
		object = m.Object
		if m.Structure == mark.Contact {
			contact = m.Index
		}
	}
	if object == "" {
		d.refuse(fmt.Errorf("mark a needle, wire or lead first: a response belongs to one"))
		return
	}
	if strings.HasPrefix(object, "L") && contact < 0 {
		d.question = &Question{Title: "Response of " + object, Detail: "Which contact? 0 is nearest the tip.", Entry: true, Text: "0", Most: 2,
			check: func(s string) error { _, err := contactNumber(s); return err },
			answer: func(s string) {
				n, _ := contactNumber(s)
				d.askResponseOf(object, n)
			}}
		return
	}
	d.askResponseOf(object, contact)
}

// contactNumber reads what a contact is named by on a lead.
func contactNumber(s string) (int, error) {
	n, err := strconv.ParseUint(s, 10, 8)
	if err != nil {
		return 0, fmt.Errorf("a number from 0, which is nearest the tip")
	}
	return int(n), nil
}

func (d *Desk) askResponseOf(object string, contact int) {
	tests := d.now.responses
	at := -1
	for i, t := range tests {
		if t.Object == object && t.Contact == contact {
			at = i
		}
	}
	t := response.Test{Object: object, Contact: contact}
	switch {
	case at >= 0:
		t = tests[at]
	case len(tests) > 0:
		last := tests[len(tests)-1]
		if d.lastTest != nil {
			last = *d.lastTest
		}
		t.Unit, t.Polarity, t.PulseWidth, t.Rate = last.Unit, last.Polarity, last.PulseWidth, last.Rate
	}
	q := &Question{Title: "Response of " + t.Name(), Detail: "Tab goes on. A threshold is the least amplitude with a response, or > and the highest without.", Fields: asFields(t)}
	if at >= 0 {
		q.Detail += " With every response blank the entry is removed."
	}
	q.keep = func() error {
		n, err := fromFields(response.Test{Object: object, Contact: contact}, q.Fields)
		if err != nil {
			return err
		}
		return d.keepResponse(at, n)
	}
	d.question = q
}

// keepResponse puts t in place of the test at an index, or, at -1, after all; a
// test that says nothing removes the one it would replace.
func (d *Desk) keepResponse(at int, t response.Test) error {
	list := slices.Clone(d.now.responses)
	said := "kept"
	switch {
	case saysNothing(t) && at < 0:
		return fmt.Errorf("nothing is entered: give a threshold, a movement, a sensation or a note")
	case saysNothing(t):
		list, said = slices.Delete(list, at, at+1), "removed"
	default:
		if err := t.Check(); err != nil {
			return fmt.Errorf("%s", strings.TrimPrefix(err.Error(), imaging.ErrBadInput.Error()+": "))
		}
		if at < 0 {
			list = append(list, t)
		} else {
			list[at] = t
		}
		d.lastTest = &t
	}
	d.remember("response of " + t.Name())
	d.now.responses = list
	d.saving.changed(d.cfg.Now())
	d.say("Response of %s %s.", t.Name(), said)
	return nil
}

func saysNothing(t response.Test) bool {
	return t.PelvicFloor == response.Threshold{} && t.LegFoot == response.Threshold{} && t.Sensory == response.Threshold{} &&
		len(t.Motor) == 0 && len(t.Sensation) == 0 && !t.Evoked.Known && t.Root == "" && t.Note == ""
}

func asFields(t response.Test) []Field {
	f := make([]Field, responseFields)
	f[pelvicFloorField] = Field{Label: "Pelvic floor", Text: t.PelvicFloor.String(), Hint: "1.2 or >3"}
	f[legFootField] = Field{Label: "Leg and foot", Text: t.LegFoot.String(), Hint: "1.2 or >3"}
	f[sensoryField] = Field{Label: "Sensory", Text: t.Sensory.String(), Hint: "1.2 or >3"}
	f[unitField] = Field{Label: "Unit", Text: t.Unit, Hint: "mA or V"}
	f[polarityField] = Field{Label: "Polarity", Text: t.Polarity, Hint: "0- case+"}
	f[pulseWidthField] = Field{Label: "Pulse width", Text: number(t.PulseWidth), Hint: "µs"}
	f[rateField] = Field{Label: "Rate", Text: number(t.Rate), Hint: "Hz"}
	f[motorField] = Field{Label: "Motor", Text: joined(t.Motor), Hint: joined(response.Motors())}
	f[sensationField] = Field{Label: "Sensation", Text: joined(t.Sensation), Hint: joined(response.Sensations())}
	f[evokedField] = Field{Label: "Evoked muscle", Text: number(t.Evoked), Hint: "µV"}
	f[stateField] = Field{Label: "State", Text: string(t.State), Hint: joined(states)}
	f[rootField] = Field{Label: "Root", Text: string(t.Root), Hint: "S3; blank: by pattern"}
	f[noteField] = Field{Label: "Note", Text: t.Note, Hint: "free text"}
	for i := range f {
		f[i].fresh = true
	}
	return f
}

var states = []response.State{response.Awake, response.Sedated, response.Relaxed}

func number(n imaging.Number) string {
	if !n.Known {
		return ""
	}
	return response.Figure(n.Value)
}

func joined[W ~string](words []W) string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = string(w)
	}
	return strings.Join(out, " ")
}

// fromFields reads what was typed into t.
func fromFields(t response.Test, f []Field) (response.Test, error) {
	text := func(i int) string { return strings.TrimSpace(f[i].Text) }
	for i, k := range response.Kinds() { // the first fields, in this order
		th, ok := response.ParseThreshold(text(i))
		if !ok {
			return t, fmt.Errorf("%s: write 1.2, or >3 where there was no response up to 3", f[i].Label)
		}
		t.Put(k, th)
	}
	for _, n := range []struct {
		field int
		to    *imaging.Number
	}{{pulseWidthField, &t.PulseWidth}, {rateField, &t.Rate}, {evokedField, &t.Evoked}} {
		i := n.field
		if text(i) == "" {
			continue
		}
		v, err := strconv.ParseFloat(text(i), 64)
		if err != nil || !(v > 0 && v < 1e6) {
			return t, fmt.Errorf("%s: a number of %s", f[i].Label, f[i].Hint)
		}
		*n.to = imaging.Known(v)
	}
	var err error
	if t.Motor, err = wordsOf(f[motorField], response.Motors()); err != nil {
		return t, err
	}
	if t.Sensation, err = wordsOf(f[sensationField], response.Sensations()); err != nil {
		return t, err
	}
	state, err := wordsOf(f[stateField], states)
	if err != nil {
		return t, err
	}
	if len(state) > 1 {
		return t, fmt.Errorf("%s: one word of %s", f[stateField].Label, f[stateField].Hint)
	}
	if len(state) == 1 {
		t.State = state[0]
	}
	switch strings.ToLower(text(unitField)) {
	case "":
	case "m", "ma":
		t.Unit = response.Milliampere
	case "v":
		t.Unit = response.Volt
	default:
		return t, fmt.Errorf("%s: mA or V", f[unitField].Label)
	}
	t.Polarity = strings.Join(strings.Fields(f[polarityField].Text), " ")
	t.Root = mark.Level(strings.ToUpper(text(rootField)))
	t.Note = text(noteField)
	return t, nil
}

// wordsOf a list, each typed in full or as far as no other begins so.
func wordsOf[W ~string](f Field, list []W) ([]W, error) {
	var out []W
	for _, typed := range strings.Fields(strings.ToLower(f.Text)) {
		var fit []W
		for _, w := range list {
			if string(w) == typed {
				fit = []W{w}
				break
			}
			if strings.HasPrefix(string(w), typed) {
				fit = append(fit, w)
			}
		}
		switch len(fit) {
		case 0:
			return nil, fmt.Errorf("%s: %s is none of %s", f.Label, typed, joined(list))
		case 1:
			out = append(out, fit[0])
		default:
			return nil, fmt.Errorf("%s: %s may be %s: type more of it", f.Label, typed, strings.Join(strings.Fields(joined(fit)), " or "))
		}
	}
	return out, nil
}

// fillIn takes a key while a question with fields waits.
func (d *Desk) fillIn(q *Question, key string) {
	f := &q.Fields[q.At]
	most := len(q.Fields)
	add := func(s string) {
		if f.fresh {
			f.Text = ""
		}
		if len(f.Text)+len(s) <= fieldMost {
			f.Text += s
		}
		f.fresh, q.Fault = false, ""
	}
	switch {
	case key == "Enter":
		if err := q.keep(); err != nil {
			q.Fault = err.Error()
			return
		}
		d.question = nil
	case key == "Tab" || key == "Down":
		q.step(1, most)
	case key == "Shift+Tab" || key == "Up":
		q.step(-1, most)
	case key == "Backspace":
		_, n := utf8.DecodeLastRuneInString(f.Text)
		f.Text = f.Text[:len(f.Text)-n]
		f.fresh, q.Fault = false, ""
	case key == "Delete":
		f.Text, f.fresh, q.Fault = "", false, ""
	case key == "Space":
		add(" ")
	case utf8.RuneCountInString(key) == 1:
		add(key)
	}
}

// fieldMost is how many bytes a field takes: as many as a note may have.
const fieldMost = 500

// step to another field, round at the ends; what stands there is typed over
// unless it is changed letter by letter.
func (q *Question) step(by, of int) {
	q.At = (q.At + by + of) % of
	q.Fields[q.At].fresh = true
}
