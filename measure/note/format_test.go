package note_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"leadline/imaging"
	"leadline/imaging/radiation"
	"leadline/measure/mark"
	"leadline/measure/note"
	"leadline/measure/operation"
	"leadline/measure/placement"
	"leadline/measure/response"
)

// recorded is a case with all that a note can hold.
func recorded() note.Material {
	m := note.Material{Report: twoNeedles()}
	m.Report.Operation = operation.Record{"procedure": "first-stage", "indication": "urge-incontinence", "antibiotic": "given before the incision",
		"time-out": "yes", "passes": "4", "chosen-side": "left", "implanted": "one lead with four contacts", "impedances": "0:812 1:790"}
	m.Report.Responses = []response.Test{
		{Object: "N1", Contact: -1, PelvicFloor: response.At(1.2), LegFoot: response.At(1.8), Unit: "mA", PulseWidth: imaging.Known(210),
			Motor: []response.Motor{response.Bellows, response.GreatToe}, State: response.Sedated},
		{Object: "N2", Contact: -1, PelvicFloor: response.NoneUpTo(3), LegFoot: response.At(2.5), Unit: "mA", PulseWidth: imaging.Known(210),
			Motor: []response.Motor{response.LegRotation}, Note: "left alone"},
	}
	m.Radiation = radiation.Record{
		Figures: []radiation.Figure{{Kind: radiation.DoseAreaProduct, Value: 0.000123, Unit: "Gy.m2", Of: "single plane", Source: "from X-Ray Radiation Dose SR"}},
		Notes:   []string{"a dose report of another study is left out"},
	}
	return m
}

func byDefault(t *testing.T) note.Template {
	t.Helper()
	parsed, err := note.ParseTemplate(strings.NewReader(note.DefaultTemplate()))
	if err != nil {
		t.Fatal(err)
	}
	return parsed
}

// The whole note, written by hand.
func TestWholeNote(t *testing.T) {
	got, err := note.Write(recorded(), byDefault(t), note.PlainText)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"Operation:\nProcedure: first stage. Indication: urge urinary incontinence. Anaesthesia: not recorded; muscle relaxant: not recorded. Patient position: not recorded. Antibiotic: given before the incision. Time-out: done.\n\n" +
			"Sides tested: not recorded. Levels tested: not recorded. Passes: 4. Side chosen: LEFT; level chosen: not recorded; why: not recorded.\n\n" +
			"Implanted: one lead with four contacts; lot or serial: not recorded. Lead side: not recorded; pocket side: not recorded. Stylet: not recorded. " +
			"Lead unmoved after sheath and stylet came out: not recorded; final frontal film not recorded; final lateral film not recorded. " +
			"Impedances: contact 0 812 Ω, contact 1 790 Ω. Programming: not recorded.\n\n" +
			"Radiation: dose-area product 0.000123 Gy.m2 (1.23 Gy.cm2), single plane, from X-Ray Radiation Dose SR.\n\nPlacement:\n",
		"Position  Side                  Level by film      Approach                   Tip or contact            Pelvic floor     Leg and foot  Sensation     Root by response\n" +
			"N1        LEFT                  S3                 70 ± 3° to dorsal surface  3 ± 2 mm beyond margin    1.2 mA           1.8 mA        not recorded  S3 by pattern\n" +
			"N2        RIGHT, not confirmed  S3, not confirmed  66 ± 6° to dorsal tangent  2 ± 2 mm short of margin  none up to 3 mA  2.5 mA        not recorded  S2 by pattern (film S3)\n",
		"Responses:\n- N1: motor bellows, plantar flexion of the great toe; sensation not recorded; settings 210 µs, sedated\n" +
			"- N2: motor rotation of leg and heel; sensation not recorded; settings 210 µs; left alone\n",
		"Thresholds of one kind, unit, pulse width and device:\n- pelvic floor, 210 µs, needle: N1 (LEFT; S3) 1.2 mA, sedated; N2 (RIGHT, not confirmed; S3, not confirmed) none up to 3 mA\n" +
			"- leg and foot, 210 µs, needle: N1 (LEFT; S3) 1.8 mA, sedated; N2 (RIGHT, not confirmed; S3, not confirmed) 2.5 mA\n",
		"- N2: Film level and response disagree.\n",
		"- Radiation: a dose report of another study is left out.\n",
		"- Implanted: recorded.\n- Programming: not recorded.\n",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("want\n%s\nin\n%s", want, got)
		}
	}
	// Facts alone: no word that chooses or grades.
	for _, bad := range []string{"better", "best", "optimal", "recommend", "should", "good", "poor"} {
		if strings.Contains(strings.ReplaceAll(got, "has not been shown", ""), bad) {
			t.Errorf("the note says %q", bad)
		}
	}
}

// hostile is text that would mean something to one format or another.
const hostile = `a\b {\field{\*\fldinst HYPERLINK "http://example.org"}} <script>x</script> | *b* _c_ [d](http://e) $x$ & é 😀 # ~`

func hostileNote(t *testing.T, f note.Format) string {
	t.Helper()
	m := recorded()
	m.Report.Operation["remarks"] = hostile
	m.Report.Operation["complications"] = "- # " + hostile
	m.Report.Responses[0].Note = hostile
	m.Report.Book.Observer = "{\\rtf1 " + hostile
	s, err := note.Write(m, byDefault(t), f)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func run(t *testing.T, input string, command ...string) string {
	t.Helper()
	if _, err := exec.LookPath(command[0]); err != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatalf("%s is not installed", command[0])
		}
		t.Skipf("%s is not installed", command[0])
	}
	path := filepath.Join(t.TempDir(), "note")
	if err := os.WriteFile(path, []byte(input), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(command[0], append(command[1:], path)...).Output()
	if err != nil {
		t.Fatalf("%v: %v", command, err)
	}
	return string(out)
}

// Another reader of RTF (GNU UnRTF) shows the words as they were typed, and every
// one of the plain note.
func TestRichTextReadByAnother(t *testing.T) {
	out := run(t, hostileNote(t, note.RichText), "unrtf", "--text", "--nopict")
	words := func(s string) string { return strings.Join(strings.Fields(s), " ") }
	said := words(out)
	if !strings.Contains(said, `a\b {\field{\*\fldinst HYPERLINK "http://example.org"}} <script>x</script> | *b* _c_ [d](http://e) $x$ & `) {
		t.Errorf("the words come back otherwise:\n%s", out)
	}
	plainNote, err := note.Write(recorded(), byDefault(t), note.PlainText)
	if err != nil {
		t.Fatal(err)
	}
	rich, err := note.Write(recorded(), byDefault(t), note.RichText)
	if err != nil {
		t.Fatal(err)
	}
	said = words(run(t, rich, "unrtf", "--text", "--nopict"))
	for _, figure := range regexp.MustCompile(`[0-9]+(\.[0-9]+)?`).FindAllString(plainNote, -1) {
		if !strings.Contains(said, figure) {
			t.Errorf("the figure %s is not in the rich text", figure)
		}
	}
}

// By the grammar of RTF 1.9.1: braces balance, and of control words there are only
// those of paragraphs and tables; none that opens an object, a field or a file.
func TestRichTextHoldsNothingThatRuns(t *testing.T) {
	s := hostileNote(t, note.RichText)
	known := strings.Fields("rtf ansi ansicpg deff uc fonttbl f fswiss paperw paperh margl margr fs pard sb sa keepn b par li fi tx u tab " +
		"trowd trgaph trhdr clbrdrt clbrdrl clbrdrb clbrdrr brdrs brdrw cellx intbl cell row")
	depth := 0
	for i := 0; i < len(s); i++ {
		switch s[i] {
		case '{':
			depth++
		case '}':
			depth--
		case '\\':
			m := regexp.MustCompile(`^\\([a-z]+)-?[0-9]* ?`).FindString(s[i:])
			if m == "" {
				if !strings.ContainsRune(`\{}`, rune(s[i+1])) {
					t.Errorf("control symbol %q", s[i:i+2])
				}
				i++
				continue
			}
			word := strings.TrimRight(strings.TrimSpace(m[1:]), "-0123456789")
			if !strings.Contains(" "+strings.Join(known, " ")+" ", " "+word+" ") {
				t.Errorf("control word %q", word)
			}
			i += len(m) - 1
		}
		if s[i] >= 0x80 {
			t.Fatalf("byte %x is not ASCII", s[i])
		}
		if depth < 0 {
			t.Fatal("braces close more than they open")
		}
	}
	if depth != 0 {
		t.Errorf("%d braces stay open", depth)
	}
}

// CommonMark's reference reader shows the words as they were typed, with no tag but
// those of headings, paragraphs and lists.
func TestMarkdownReadByAnother(t *testing.T) {
	out := run(t, hostileNote(t, note.Markdown), "cmark", "--unsafe")
	for _, tag := range regexp.MustCompile(`</?([a-zA-Z0-9]+)[^>]*>`).FindAllStringSubmatch(out, -1) {
		if !strings.Contains(" h2 p ul li ", " "+tag[1]+" ") {
			t.Errorf("tag %s in\n%s", tag[0], out)
		}
	}
	if want := `a\b {\field{\*\fldinst HYPERLINK &quot;http://example.org&quot;}} &lt;script&gt;x&lt;/script&gt; | *b* _c_ [d](http://e) $x$ &amp; é 😀 # ~`; !strings.Contains(out, want) {
		t.Errorf("want %s in\n%s", want, out)
	}
	if !strings.Contains(out, "| Position | Side | Level by film |") {
		t.Errorf("no table:\n%s", out)
	}
}

func TestFormatIsRefused(t *testing.T) {
	if _, err := note.Write(recorded(), byDefault(t), "html"); err == nil || !strings.Contains(err.Error(), `format "html" is not known: use text, markdown or rtf`) {
		t.Error(err)
	}
}

// Where the record and the films name different sides, both are told.
func TestRecordAgainstFilms(t *testing.T) {
	m := recorded()
	m.Report.Placement.Devices = append(m.Report.Placement.Devices, placement.Device{Object: "L1", Kind: mark.Lead, Side: mark.LeftSide,
		SideSource: "theatre record, confirmed by Observer A", SideConfirmed: true, Level: "S3", LevelConfirmed: true})
	m.Report.Operation["lead-side"], m.Report.Operation["chosen-level"] = "right", "S4"
	s, err := note.Write(m, byDefault(t), note.PlainText)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"- Lead side recorded as RIGHT, L1 is LEFT on the films.\n", "- Level chosen recorded as S4, L1 is at S3 on the films.\n",
		"- Side chosen recorded as LEFT, lead side as RIGHT.\n"} {
		if !strings.Contains(s, want) {
			t.Errorf("want %q in\n%s", want, s)
		}
	}
	m.Report.Operation["lead-side"], m.Report.Operation["chosen-level"] = "left", "S3"
	if s, err = note.Write(m, byDefault(t), note.PlainText); err != nil || strings.Contains(s, "recorded as") {
		t.Errorf("%v: what agrees is told as differing:\n%s", err, s)
	}
}

// A comparison needs no film: responses alone can be set beside each other.
func TestComparisonWithoutFilm(t *testing.T) {
	m := recorded()
	m.Report.Placement = placement.Placement{}
	s, err := note.Comparison(m, note.PlainText)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(s, "N1        not marked  not marked") || !strings.Contains(s, "N1 1.2 mA, sedated; N2 none up to 3 mA") || strings.Contains(s, "disagree") {
		t.Error(s)
	}
	m = recorded()
	m.Report.Placement.Devices[0].Side, m.Report.Placement.Devices[0].SideConflict = mark.NoSide, "sources disagree"
	if _, err := note.Comparison(m, note.PlainText); err == nil {
		t.Error("a side in conflict is compared")
	}
}
