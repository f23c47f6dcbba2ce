package board

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"leadline/measure/placement"
)

// crowded is a placement with more cautions and numbers than a screen holds.
func crowded(cautions int) placement.Placement {
	p := one
	p.Devices = []placement.Device{one.Devices[0]}
	p.Devices[0].SideConflict = "The patient's left lies at the left edge by Patient Orientation, at the right edge by the lead marker."
	p.Cautions = nil
	for i := range cautions {
		p.Cautions = append(p.Cautions, fmt.Sprintf("Caution number %d is about the data and takes a good two lines of the sheet to say.", i))
	}
	for _, q := range []string{"insertion-angle-dorsal", "insertion-angle-fusion", "insertion-angle-ventral", "insertion-angle-skin"} {
		p.Results = append(p.Results, placement.Result{Object: "N1", Quantity: q, Plane: "lateral", Value: 60, Unit: "deg", HasU: true, U95: 3, Lo: 57, Hi: 63, Contact: -1})
	}
	for _, q := range []string{"entry-offset-midline", "entry-from-foramen-medial", "tip-offset-midline", "tip-caudal-to-si-line"} {
		p.Missing = append(p.Missing, placement.Missing{Object: "N1", Quantity: q, Because: "mark the midline on the frontal film"})
	}
	return p
}

var moreWords = regexp.MustCompile(`and (\d+) more: R lists all`)

// Every caution is either on the screen or counted, however many there are and
// whatever the screen.
func TestNoCautionVanishes(t *testing.T) {
	for _, s := range [][2]int{{960, 600}, {1280, 800}, {1920, 1080}} {
		for _, n := range []int{1, 3, 6, 12, 30} {
			d := laid(t, crowded(n))
			all, _ := parts(d, s[0], s[1], 1)
			words := said(all)
			shown := 0
			for i := range n {
				if strings.Contains(words, fmt.Sprintf("Caution number %d is", i)) {
					shown++
				}
			}
			counted := 0
			if m := moreWords.FindStringSubmatch(words); m != nil {
				counted, _ = strconv.Atoi(m[1])
			}
			if shown+counted != n {
				t.Errorf("%v: of %d cautions %d are shown and %d counted:\n%s", s, n, shown, counted, words)
			}
			if shown == 0 {
				t.Errorf("%v: none of %d cautions is shown", s, n)
			}
			if s[1] >= 800 && n == 3 && shown != 3 {
				t.Errorf("%v: only %d of 3 cautions are shown", s, shown)
			}
		}
	}
}

// R lists every caution, and every missing number with its reason.
func TestFullListHoldsAll(t *testing.T) {
	d := laid(t, crowded(30))
	_, at := parts(d, 1280, 800, 1)
	d.Press("r")
	var words string
	for range 12 {
		words += strings.ReplaceAll(said([]Part{*Overlay(d, at, scenesOf(d))}), "\n", " ")
		d.Press("PageDown")
	}
	for i := range 30 {
		if !strings.Contains(words, fmt.Sprintf("Caution number %d is", i)) {
			t.Errorf("caution %d is not in the list", i)
		}
	}
	if strings.Count(words, "mark the midline on the frontal film") < 4 {
		t.Error("what is missing stands without its reason")
	}
	d.Press("Escape")
	if Overlay(d, at, scenesOf(d)) != nil {
		t.Error("Escape does not close the list")
	}
}

// A number that is not on the screen is counted.
func TestNoNumberVanishes(t *testing.T) {
	d := laid(t, crowded(6))
	all, _ := parts(d, 960, 600, 1)
	words := said(all)
	if !strings.Contains(words, "missing: R says what and why") {
		t.Errorf("missing numbers are left out without a word:\n%s", words)
	}
}

// A confirmed side that another source contradicts is never shown as settled.
func TestContradictedSideIsACaution(t *testing.T) {
	for source, want := range map[string]bool{
		"a lead marker in the field, confirmed by reader":                                   false,
		"a lead marker in the field, confirmed by reader; the film says otherwise: left":    true,
		"a lead marker in the field, confirmed by reader; the sources on the film disagree": true,
	} {
		p := one
		p.Devices = []placement.Device{one.Devices[0]}
		p.Devices[0].SideSource, p.Devices[0].SideConfirmed = source, true
		d := laid(t, p)
		all, _ := parts(d, 1920, 1080, 1)
		warned, seen := false, false
		for _, l := range all[0].Drawing.Layers {
			for _, text := range l.Texts {
				if strings.HasPrefix(text.Words, "RIGHT") {
					seen, warned = true, text.Color == Warn
				}
			}
		}
		if !seen || warned != want {
			t.Errorf("%q: seen %v, as a caution %v", source, seen, warned)
		}
	}
}

// Left and right from the header say at the film that they are not confirmed,
// and what they rest on stands on the screen before any device is marked.
func TestLettersSayTheyAreNotConfirmed(t *testing.T) {
	d := laid(t, placement.Placement{})
	for len(d.Book().Marks) > 0 {
		d.Press("Tab")
		d.Press("End")
		d.Press("Shift+Delete")
	}
	all, _ := parts(d, 1280, 800, 1)
	words := said(all)
	if !strings.Contains(words, "L, R not confirmed") {
		t.Errorf("letters without their standing:\n%s", words)
	}
	if !strings.Contains(words, "patient's left: ") {
		t.Errorf("the basis of left is nowhere:\n%s", words)
	}
}

// No word of the list of keys is cut.
func TestKeysAreListedWhole(t *testing.T) {
	d := laid(t, one)
	for _, s := range [][2]int{{960, 600}, {1280, 800}, {1920, 1080}} {
		_, at := parts(d, s[0], s[1], 1)
		d.Press("?")
		o := Overlay(d, at, scenesOf(d))
		d.Press("Escape")
		for _, l := range o.Drawing.Layers {
			for _, text := range l.Texts {
				if strings.Contains(text.Words, "…") {
					t.Errorf("%v: cut: %q", s, text.Words)
				}
				if b := text.Box(); b.Max.Y > o.Place.Max.Y || b.Max.X > o.Place.Max.X {
					t.Errorf("%v: %q leaves the list", s, text.Words)
				}
			}
		}
	}
}

// On the chart side and level are whole, however long they are.
func TestChartNamesSideAndLevelWhole(t *testing.T) {
	p := one
	p.Devices = []placement.Device{one.Devices[0]}
	p.Devices[0].Side, p.Devices[0].Level = "", ""
	d := laid(t, p)
	for _, s := range [][2]int{{960, 600}, {1280, 800}, {1920, 1080}} {
		all, _ := parts(d, s[0], s[1], 1)
		for _, part := range all {
			if part.Name != "chart" {
				continue
			}
			words := said([]Part{part})
			if !strings.Contains(words, "SIDE NOT KNOWN") || !strings.Contains(words, "LEVEL NOT KNOWN") {
				t.Errorf("%v: the chart says\n%s", s, words)
			}
		}
	}
}
