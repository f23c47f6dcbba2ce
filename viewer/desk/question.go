package desk

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"leadline/measure/mark"
)

// Question waits for an answer by key: one of its choices or, where Entry is
// set, a line typed and ended with Enter, or several. Escape leaves all as it was.
type Question struct {
	Title   string
	Detail  string
	Choices []Choice
	Entry   bool
	Text    string // typed so far
	Most    int    // letters that can be typed; 0: 64
	Fault   string // what is wrong with it
	// Fields of a question that asks for several lines, and which is typed into.
	Fields []Field
	At     int

	answer func(string)
	check  func(string) error
	keep   func() error // takes the fields in
}

// Choice is one answer.
type Choice struct{ Key, Text string }

// Question that waits, or nil.
func (d *Desk) Question() *Question { return d.question }

// Answer takes a key while a question waits.
func (d *Desk) Answer(key string) {
	q := d.question
	if q == nil {
		return
	}
	if key == "Escape" {
		d.question = nil
		d.say("Left as it was.")
		return
	}
	if len(q.Fields) > 0 {
		d.fillIn(q, key)
		return
	}
	if q.Entry {
		d.typeInto(q, key)
		return
	}
	for _, c := range q.Choices {
		if c.Key == key || strings.EqualFold(c.Key, key) && utf8.RuneCountInString(key) == 1 {
			d.question = nil
			q.answer(c.Key)
			return
		}
	}
	if key == "Enter" && len(q.Choices) == 1 {
		d.question = nil
		q.answer(q.Choices[0].Key)
	}
}

func (d *Desk) typeInto(q *Question, key string) {
	switch {
	case key == "Enter":
		text := strings.TrimSpace(q.Text)
		if q.check != nil {
			if err := q.check(text); err != nil {
				q.Fault = err.Error()
				return
			}
		}
		d.question = nil
		q.answer(text)
	case key == "Backspace":
		if _, n := utf8.DecodeLastRuneInString(q.Text); n > 0 {
			q.Text = q.Text[:len(q.Text)-n]
		}
		q.Fault = ""
	case key == "Space":
		if len(q.Text) < cmp.Or(q.Most, 64) {
			q.Text += " "
		}
	case utf8.RuneCountInString(key) == 1 && len(q.Text) < cmp.Or(q.Most, 64):
		q.Text += key
		q.Fault = ""
	}
}

var levelChoices = []Choice{{"1", "S1"}, {"2", "S2"}, {"3", "S3"}, {"4", "S4"}, {"5", "S5"}}

// askAbout asks what a new mark must say about itself, then calls then.
func (d *Desk) askAbout(m mark.Mark, then func(mark.Mark)) {
	switch m.Structure {
	case mark.Foramen:
		d.question = &Question{Title: "Foramen", Detail: "Which level?", Choices: levelChoices, answer: func(key string) {
			m.Level = mark.Level("S" + key)
			d.question = &Question{Title: "Foramen " + string(m.Level), Detail: "Which opening is marked?",
				Choices: []Choice{{"d", "dorsal"}, {"v", "ventral"}, {"u", "unsure"}},
				answer: func(key string) {
					m.Detail = map[string]string{"d": "dorsal", "v": "ventral", "u": "unsure"}[key]
					d.askSide(m, then)
				}}
		}}
	case mark.MedialLine:
		d.askSide(m, then)
	case mark.FusionLine:
		d.question = &Question{Title: "Fusion line", Detail: "Between which segments?",
			Choices: []Choice{{"1", "S1/S2"}, {"2", "S2/S3"}, {"3", "S3/S4"}, {"4", "S4/S5"}},
			answer: func(key string) {
				n := key[0] - '0'
				m.Detail = fmt.Sprintf("S%d/S%d", n, n+1)
				then(m)
			}}
	case mark.KnownLength:
		d.askLength("Known length", "Its true length in mm", "", func(text string) { m.Detail = text; then(m) })
	case mark.Contact:
		d.askLength("Contacts of "+m.Object, "Length of one contact in mm", d.contactLength(m.Object),
			func(text string) { m.Detail = text; then(m) })
	default:
		then(m)
	}
}

// askSide asks on which side of the patient a mark lies; it may be left open.
func (d *Desk) askSide(m mark.Mark, then func(mark.Mark)) {
	name := NameOf(m)
	d.question = &Question{Title: name, Detail: "On which side of the patient?",
		Choices: []Choice{{"l", "left"}, {"r", "right"}, {"n", "not stated: from where it lies on the film"}},
		answer: func(key string) {
			m.Side = map[string]mark.Side{"l": mark.LeftSide, "r": mark.RightSide}[key]
			then(m)
		}}
}

func (d *Desk) askLength(title, detail, text string, then func(string)) {
	d.question = &Question{Title: title, Detail: detail, Entry: true, Text: text, check: checkLength, answer: then}
}

func checkLength(s string) error {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !(v > 0 && v < 1000) {
		return fmt.Errorf("a length in mm, such as 3 or 12.5")
	}
	return nil
}

// contactLength offers the length given for a contact of the same device.
func (d *Desk) contactLength(object string) string {
	for _, m := range d.now.book.Marks {
		if m.Structure == mark.Contact && m.Object == object && m.Detail != "" {
			return m.Detail
		}
	}
	return ""
}

// AskDetail asks again for what the selected mark says about itself.
func (d *Desk) AskDetail() {
	m, ok := d.Selected()
	if !ok {
		d.say("Select a mark to change what it says.")
		return
	}
	switch m.Structure {
	case mark.Foramen, mark.MedialLine, mark.FusionLine, mark.KnownLength, mark.Contact:
		uid := m.UID
		d.askAbout(m.Clone(), func(n mark.Mark) {
			d.now.selection = Selection{uid, whole}
			if o, found := d.twin(n); found && !(sided(n.Structure) && n.Side == mark.NoSide) {
				d.refuse(fmt.Errorf("%s is marked on this film already: nothing was changed", NameOf(o)))
				return
			}
			d.change("detail", func(m *mark.Mark) { m.Level, m.Side, m.Detail = n.Level, n.Side, n.Detail })
		})
	default:
		d.AskObject()
	}
}

// AskObject asks for the selected mark's device.
func (d *Desk) AskObject() {
	m, ok := d.Selected()
	if !ok || m.Object == "" {
		d.say("Select a needle, wire, lead or contact to name its device.")
		return
	}
	letter := m.Object[:1]
	d.question = &Question{Title: "Device of this mark", Detail: "Name, such as " + letter + "1, or " + letter + "1.2 for its second position",
		Entry: true, Text: m.Object,
		check: func(s string) error {
			if !objectName(s, letter) {
				return fmt.Errorf("write %s and a number, such as %s2 or %s2.3", letter, letter, letter)
			}
			for _, o := range d.now.book.Marks {
				if o.UID != m.UID && o.Structure == m.Structure && o.Index == m.Index && o.Frame == m.Frame && o.Object == s {
					return fmt.Errorf("%s is already marked on this film", s)
				}
			}
			return nil
		},
		answer: func(s string) { d.change("device", func(m *mark.Mark) { m.Object = s }) }}
}

// objectName reports whether s is the letter, a number from 1, and for a later
// position a point and its number.
func objectName(s, letter string) bool {
	rest, ok := strings.CutPrefix(s, letter)
	if !ok {
		return false
	}
	for _, part := range strings.SplitN(rest, ".", 2) {
		if n, err := strconv.Atoi(part); err != nil || n < 1 || n > 99 || strconv.Itoa(n) != part {
			return false
		}
	}
	return true
}
