package desk

import (
	"reflect"
	"strings"
	"testing"

	"leadline/imaging"
	"leadline/measure/response"
)

// keyed types a text key by key, Space by its name.
func (b *bench) keyed(text string) {
	for _, r := range text {
		if r == ' ' {
			b.press("Space")
			continue
		}
		b.press(string(r))
	}
}

// A response is entered by keys alone, proposed settings come again, undo takes
// it back, and it is saved. The entry needs no mouse and under forty keys.
func TestResponseIsEnteredByKeys(t *testing.T) {
	b := newBench(t)
	b.press("R")
	if n := b.Notice(); !n.Trouble || b.Question() != nil {
		t.Fatalf("a response of no position: %+v", n)
	}
	b.press("n")
	b.click(LateralPane, row(2)...)
	b.press("Enter", "R")
	for _, text := range []string{"1.2", "2.5", "3", "m", "needle- pad+", "210", "14", "be gr", "per", "", "sed", "", "clear at once"} {
		b.keyed(text)
		b.press("Tab")
	}
	b.press("Enter")
	want := response.Test{Object: "N1", Contact: -1, PelvicFloor: response.At(1.2), LegFoot: response.At(2.5), Sensory: response.At(3),
		Unit: "mA", Polarity: "needle- pad+", PulseWidth: imaging.Known(210), Rate: imaging.Known(14),
		Motor: []response.Motor{response.Bellows, response.GreatToe}, Sensation: []response.Sensation{response.Perineum}, State: response.Sedated, Note: "clear at once"}
	if b.Question() != nil || len(b.Responses()) != 1 || !reflect.DeepEqual(b.Responses()[0], want) {
		t.Fatalf("kept %+v, want %+v; %+v", b.Responses(), want, b.Question())
	}
	b.after(saveLatest)
	b.after(0)
	if state, _ := b.Saved(); state != Kept || len(b.kept) != 1 {
		t.Errorf("saved: %v, %+v", state, b.kept)
	}

	// Opened again it shows what was kept; typing over one field leaves the rest.
	b.press("R", "0", ".", "9", "Enter")
	want.PelvicFloor = response.At(0.9)
	if !reflect.DeepEqual(b.Responses()[0], want) {
		t.Errorf("changed: %+v", b.Responses()[0])
	}
	b.press("Ctrl+z")
	if b.Responses()[0].PelvicFloor != response.At(1.2) {
		t.Error("undo did not bring the response back")
	}
	b.press("Ctrl+z")
	if len(b.Responses()) != 0 {
		t.Error("undo did not take the response back")
	}
	b.press("Ctrl+Z", "Ctrl+Z")

	// The next position is proposed the settings, and no response.
	b.device = "N2"
	b.now.selection = Selection{Vertex: whole}
	b.press("R")
	f := b.Question().Fields
	if f[pelvicFloorField].Text != "" || f[motorField].Text != "" || f[unitField].Text != "mA" || f[pulseWidthField].Text != "210" || f[rateField].Text != "14" || f[polarityField].Text != "needle- pad+" {
		t.Errorf("proposed: %+v", f)
	}
	b.press("Enter")
	if q := b.Question(); q == nil || !strings.Contains(q.Fault, "nothing is entered") {
		t.Errorf("an empty response was kept: %+v", q)
	}
	b.keyed("12x")
	b.press("Enter")
	if q := b.Question(); q == nil || !strings.Contains(q.Fault, "Pelvic floor") {
		t.Errorf("12x was kept: %+v", q)
	}
	b.press("Escape")
	if len(b.Responses()) != 1 {
		t.Error("Escape kept a response")
	}
}

// A word is taken as far as it is typed only where no other begins so.
func TestWordsByTheirBeginning(t *testing.T) {
	got, err := wordsOf(Field{Label: "Motor", Text: "be great"}, response.Motors())
	if err != nil || !reflect.DeepEqual(got, []response.Motor{response.Bellows, response.GreatToe}) {
		t.Errorf("%v %v", got, err)
	}
	for _, text := range []string{"l", "other", "knee"} {
		got, err := wordsOf(Field{Label: "Motor", Text: text}, response.Motors())
		if text == "other" { // a word itself, though other-toes begins so
			if err != nil || got[0] != response.OtherMotor {
				t.Errorf("other: %v %v", got, err)
			}
		} else if err == nil {
			t.Errorf("%s was taken as %v", text, got)
		}
	}
}

// A test of which all is blanked is removed, and undo brings it back.
func TestBlankedResponseIsRemoved(t *testing.T) {
	b := newBench(t)
	b.press("n")
	b.click(LateralPane, row(2)...)
	b.press("Enter", "R", "2", "Tab", "Tab", "Tab", "v", "Enter")
	if len(b.Responses()) != 1 {
		t.Fatalf("%+v", b.Question())
	}
	b.press("R", "Delete", "Enter")
	if len(b.Responses()) != 0 {
		t.Fatalf("%+v", b.Responses())
	}
	b.press("Ctrl+z")
	if len(b.Responses()) != 1 {
		t.Error("undo did not bring the removed response back")
	}
}
