package desk

import (
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
)

func (b *bench) count(s mark.Structure) int {
	n := 0
	for _, m := range b.Book().Marks {
		if m.Structure == s {
			n++
		}
	}
	return n
}

// One needle is marked in two views: what follows a needle on one film is the
// same needle on the other, however it is asked for.
func TestNeedleIsContinuedOnTheOtherFilm(t *testing.T) {
	b := newBench(t)
	b.SetFocus(LateralPane)
	b.press("n")
	b.click(LateralPane, row(2)...)
	b.press("Enter")
	if b.Focus() != LateralPane {
		t.Fatal("the focus left the lateral film")
	}
	b.press("n")
	if b.Focus() != FrontalPane || b.Draft() == nil || b.Draft().Mark.Object != "N1" {
		t.Fatalf("N1 lacks the frontal film, but begun is %+v on the %s film", b.Draft(), b.Focus())
	}
	if !strings.Contains(b.Notice().Text, "N1 on the frontal film") || !strings.Contains(b.Notice().Text, "On the lateral film a click begins N2") {
		t.Errorf("said: %q", b.Notice().Text)
	}
	b.click(FrontalPane, row(2)...)
	b.press("Enter")
	for _, m := range b.Book().Marks {
		if m.Object != "N1" {
			t.Errorf("one needle was split: %s", NameOf(m))
		}
	}
	// Both views are there: the next is another needle, where the focus is.
	b.press("n")
	if dr := b.Draft(); dr == nil || dr.Mark.Object != "N2" || dr.Pane != FrontalPane {
		t.Errorf("after N1 in both views: %+v", dr)
	}
}

// The device is chosen by the film of the first point, by click and by key.
func TestDeviceFollowsTheFirstPoint(t *testing.T) {
	for _, byKey := range []bool{false, true} {
		b := newBench(t)
		b.SetFocus(LateralPane)
		b.press("n")
		b.click(LateralPane, row(2)...)
		b.press("Enter", "n")
		if byKey {
			b.press("Tab", "Space")
		} else {
			b.click(LateralPane, r2.Vec{X: 400, Y: 400})
		}
		dr := b.Draft()
		if dr == nil || dr.Mark.Object != "N2" || dr.Mark.Frame.Instance != "1.2" || len(dr.Mark.Points) != 1 || b.Device() != "N2" {
			t.Fatalf("by key %v: a second needle on the lateral film became %+v", byKey, dr)
		}
		b.press("Escape", "n")
		b.click(FrontalPane, row(2)...)
		b.press("Enter")
		m, _ := b.Selected()
		if m.Object != "N1" || m.Frame.Instance != "1.1" {
			t.Errorf("by key %v: on the frontal film it became %s", byKey, NameOf(m))
		}
	}
	// Begun on the frontal film by the focus, clicked on the lateral one.
	b := newBench(t)
	b.press("n")
	b.click(FrontalPane, row(2)...)
	b.press("Enter", "A")
	b.SetFocus(FrontalPane)
	b.press("n")
	b.click(LateralPane, row(2)...)
	b.press("Enter")
	if m, _ := b.Selected(); m.Object != "N1" {
		t.Errorf("it became %s", NameOf(m))
	}
}

func TestOneOfAKindOnAFilm(t *testing.T) {
	for key, pane := range map[string]PaneID{"m": LateralPane, "d": LateralPane, "b": LateralPane, "i": FrontalPane, "j": FrontalPane} {
		b := newBench(t)
		b.press(key)
		b.click(pane, row(5)...)
		b.press("Enter")
		first, ok := b.Selected()
		if !ok {
			t.Fatalf("%s marked nothing", key)
		}
		b.press("Escape", key)
		if b.Draft() != nil || b.Question() == nil || !strings.Contains(b.Question().Title, "is marked on this film") {
			t.Fatalf("%s: a second %s was begun without a word", key, NameOf(first))
		}
		b.press("e")
		if m, ok := b.Selected(); !ok || m.UID != first.UID || b.Draft() != nil {
			t.Errorf("%s: the mark that stands is not selected", key)
		}
		b.press(key, "Escape")
		if b.Draft() != nil || b.count(first.Structure) != 1 {
			t.Errorf("%s: left as it was, there are %d", key, b.count(first.Structure))
		}
		// Replaced: the former stands till the new one does, and comes back.
		b.press(key, "r")
		if b.count(first.Structure) != 1 {
			t.Fatalf("%s: the former is gone before the new one stands", key)
		}
		b.click(pane, r2.Vec{X: 500, Y: 500}, r2.Vec{X: 540, Y: 500})
		if n := b.count(first.Structure); n != 1 {
			t.Errorf("%s: %d alike on one film", key, n)
		}
		if b.Draft() != nil {
			b.press("Escape")
			if m, ok := b.Mark(first.UID); !ok || len(m.Points) != len(first.Points) {
				t.Errorf("%s: cancelled, the former mark is not back", key)
			}
			b.Undo()
			b.press("Enter")
		}
		if _, ok := b.Mark(first.UID); ok || b.count(first.Structure) != 1 {
			t.Errorf("%s: not replaced", key)
		}
	}
}

func TestWhatMayStandTwice(t *testing.T) {
	b := newBench(t)
	draw := func(pane PaneID, n int, keys ...string) {
		t.Helper()
		b.press(keys...)
		if b.Draft() == nil {
			t.Fatalf("%v was not begun: %+v %q", keys, b.Question(), b.Notice().Text)
		}
		b.click(pane, row(n)...)
		b.press("Enter")
	}
	b.SetFocus(LateralPane)
	draw(LateralPane, 2, "u", "1")
	draw(LateralPane, 2, "u", "2")
	draw(LateralPane, 1, "g")
	draw(LateralPane, 1, "g")
	draw(LateralPane, 2, "k", "9", "Enter")
	b.SetFocus(LateralPane)
	draw(LateralPane, 2, "k", "9", "Enter")
	b.SetFocus(FrontalPane)
	draw(FrontalPane, 5, "f", "3", "d", "l")
	draw(FrontalPane, 5, "f", "3", "d", "r")
	draw(FrontalPane, 5, "f", "3", "v", "r")
	draw(FrontalPane, 5, "f", "2", "d", "r")
	draw(FrontalPane, 2, "e", "l")
	draw(FrontalPane, 2, "e", "r")
	draw(FrontalPane, 5, "f", "4", "d", "n")
	b.press("f", "4", "d", "n")
	if b.Question() == nil || len(b.Question().Choices) < 3 {
		t.Fatal("a second opening without a side was begun unasked")
	}
	draw(FrontalPane, 5, "n") // that of the other side
	for _, keys := range [][]string{{"f", "2", "d", "r"}, {"e", "l"}, {"u", "2"}, {"g"}} {
		if keys[0] == "u" || keys[0] == "g" {
			b.SetFocus(LateralPane)
		}
		b.press(keys...)
		if b.Draft() != nil || b.Question() == nil {
			t.Errorf("%v was begun a second time", keys)
		}
		b.press("Escape")
	}
	// Nor may a mark be turned into one that stands already.
	before := len(b.undo)
	b.press("Home")
	for i := range 20 {
		if m, _ := b.Selected(); m.Structure == mark.FusionLine && m.Detail == "S1/S2" || i > 15 {
			break
		}
		b.press("End")
	}
	b.press("y", "2")
	if !b.Notice().Trouble || len(b.undo) != before {
		t.Errorf("a fusion line was renamed to one that is there: %q", b.Notice().Text)
	}
}

// A film whose view nobody knows is neither frontal nor lateral.
func TestUnknownViewIsAskedFor(t *testing.T) {
	plain := func(uid string) *imaging.Header {
		h := header(uid, 0)
		h.Base.PrimaryAngle, h.Base.SecondaryAngle = imaging.Number{}, imaging.Number{}
		return h
	}
	b := newBench(t, plain("1.1"))
	for _, n := range b.Sheet() {
		if n.Key != "V" {
			t.Errorf("of a film of unknown view the sheet wants %s (%s)", n.Title, n.Detail)
		}
	}
	if len(b.Sheet()) == 0 {
		t.Fatal("the sheet does not ask for the view")
	}
	for _, key := range []string{"m", "i", "n"} {
		b.press(key)
		if b.Draft() != nil || !b.Notice().Trouble || !strings.Contains(b.Notice().Text, "(V)") {
			t.Errorf("%s on a film of unknown view: %q", key, b.Notice().Text)
		}
	}
	b.press("v", "l")
	if b.Pane(LateralPane).Ref.Instance != "1.1" {
		t.Fatal("stated lateral, the film is not in the lateral pane")
	}
	b.press("m")
	if b.Draft() == nil {
		t.Errorf("stated lateral, no ventral margin can be marked: %q", b.Notice().Text)
	}
}

func TestNotchesAreThereWhenBothAre(t *testing.T) {
	b := newBench(t)
	notches := func() Need {
		for _, n := range b.Sheet() {
			if n.Key == "G" {
				return n
			}
		}
		t.Fatal("no row of the notches")
		return Need{}
	}
	b.SetFocus(LateralPane)
	b.press("g")
	b.click(LateralPane, r2.Vec{X: 300, Y: 300})
	b.press("Enter")
	if n := notches(); n.Standing == Done || !strings.Contains(n.Detail, "1 of 2") {
		t.Errorf("one notch: %+v", n)
	}
	b.press("g")
	b.click(LateralPane, r2.Vec{X: 320, Y: 300})
	b.press("Enter")
	if n := notches(); n.Standing != Done {
		t.Errorf("two notches: %+v", n)
	}
}
