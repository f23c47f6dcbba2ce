package rehearsal

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/imaging/intake"
	"leadline/measure/mark"
	"leadline/measure/sidecar"
)

// plan is what is marked, in order: the structure's key, the answers it asks
// for, and which of the practice marks it follows.
var plan = []struct {
	pane      int // 0 frontal, 1 lateral
	key       string
	answers   []string
	structure mark.Structure
	object    string
	level     mark.Level
	side      mark.Side
	detail    string
}{
	{pane: 1, key: "m", structure: mark.VentralMargin},
	{pane: 1, key: "d", structure: mark.DorsalMargin},
	{pane: 1, key: "n", structure: mark.Needle, object: "N1"},
	{pane: 1, key: "n", structure: mark.Needle, object: "N2"},
	{pane: 1, key: "u", answers: []string{"2"}, structure: mark.FusionLine, detail: "S2/S3"},
	{pane: 1, key: "b", structure: mark.SkinLine},
	{pane: 1, key: "p", structure: mark.Promontory},
	{pane: 0, key: "i", structure: mark.Midline},
	{pane: 0, key: "j", structure: mark.SILine},
	{pane: 0, key: "n", structure: mark.Needle, object: "N2"},
	{pane: 0, key: "n", structure: mark.Needle, object: "N1"},
	{pane: 0, key: "f", answers: []string{"3", "d", "l"}, structure: mark.Foramen, level: "S3", side: mark.LeftSide, detail: "dorsal"},
	{pane: 0, key: "f", answers: []string{"3", "d", "r"}, structure: mark.Foramen, level: "S3", side: mark.RightSide, detail: "dorsal"},
}

func TestWholeCaseMarkedByMouseAndKeyboard(t *testing.T) {
	s := newStage(t, "1280x800")
	dir, state := copyCase(t), t.TempDir()
	drawn := practiceMarks(t)

	v := s.open(state, dir, "--observer", "hand")
	v.begin()

	var want []mark.Mark
	for i := range plan {
		want = append(want, v.draw(i, drawn))
	}
	v.amend(want)

	// Side and level with their basis.
	if n, _ := v.now(); n.Device != "N1" {
		v.press("a", "N1 is shown", func(n seen) bool { return n.Device == "N1" })
	}
	v.press("s", "asks for the side", func(n seen) bool { return n.Asking == "Side of N1" })
	v.press("l", "asks what it rests on", func(n seen) bool { return n.Asking == "N1 left" })
	v.press("b", "keeps it", func(n seen) bool { return n.Asking == "" })
	v.press("t", "asks for the level", func(n seen) bool { return n.Asking == "Level of N1" })
	v.press("3", "asks what it rests on", func(n seen) bool { return n.Asking == "N1 S3" })
	v.press("c", "asks for transitional anatomy", func(n seen) bool { return n.Asking == "N1 S3" && n.Frames > 0 })
	v.press("n", "keeps it", func(n seen) bool { return n.Asking == "" })

	v.until("saved", func(n seen) bool { return n.Current && strings.HasPrefix(n.Saved, "saved ") })
	v.xdotool("keydown", "ctrl", "keydown", "q")
	if code := v.ends(); code != 0 {
		t.Fatalf("exit code %d\n%s", code, v.stderr.String())
	}
	v.xdotool("keyup", "q", "keyup", "ctrl")

	report := load(t, dir)
	sameMarks(t, report.Book.Marks, want)

	// The same marks by way of a table, measured by the other program.
	other := copyCase(t)
	table := filepath.Join(t.TempDir(), "marks.csv")
	writeTable(t, table, other, want)
	leadline(t, "mark", other, "--import", table, "--observer", "hand")
	leadline(t, "confirm", other, "--observer", "hand", "--object", "N1", "--side", "left", "--basis", "theatre-record")
	leadline(t, "confirm", other, "--observer", "hand", "--object", "N1", "--level", "S3", "--basis", "lateral-landmarks", "--transitional", "no")
	byHand, byTable := measured(t, dir), measured(t, other)
	if len(byHand.Results) < 20 {
		t.Fatalf("only %d results: the comparison compares nothing", len(byHand.Results))
	}
	if diff := differs(asAny(t, byHand), asAny(t, byTable), ""); diff != "" {
		t.Errorf("marked by hand it measures otherwise than by table: %s", diff)
	}
	againstTruth(t, byHand)

	// Opened again it shows the same and writes nothing.
	file := filepath.Join(dir, "hand.leadline.json")
	before, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	v = s.open(state, dir)
	n := v.until("numbers", func(n seen) bool { return n.Current })
	if n.Caution {
		t.Error("the caution is shown to someone who has acknowledged it")
	}
	if n.Marks != len(want) {
		t.Errorf("opened again it shows %d marks, not %d", n.Marks, len(want))
	}
	v.xdotool("keydown", "ctrl", "keydown", "q")
	v.ends()
	after, err := os.ReadFile(file)
	if err != nil || string(before) != string(after) {
		t.Errorf("opening and closing changed the sidecar (%v)", err)
	}
}

// draw marks one structure of the plan and gives the mark it must make.
func (v *viewer) draw(i int, drawn []mark.Mark) mark.Mark {
	v.t.Helper()
	p := plan[i]
	source, ok := find(drawn, p.structure, p.object, p.level, p.side, p.detail, p.pane)
	if !ok {
		v.t.Fatalf("the practice marks hold no %s %s %s", p.structure, p.object, p.detail)
	}
	n := v.until("no question", func(n seen) bool { return n.Asking == "" && n.Draft == "" })
	if want := []string{"frontal", "lateral"}[p.pane]; n.Focus != want {
		v.press("Tab", "the other film", func(n seen) bool { return n.Focus == want })
	}
	marks := n.Marks
	if len(p.answers) == 0 {
		v.press(p.key, "begins", func(n seen) bool { return n.Draft == string(p.structure) })
	} else {
		v.press(p.key, "asks", func(n seen) bool { return n.Asking != "" })
		for j, a := range p.answers {
			asked, _ := v.now()
			v.press(a, "answered", func(n seen) bool {
				if j == len(p.answers)-1 {
					return n.Draft == string(p.structure)
				}
				return n.Frames > asked.Frames && n.Asking != ""
			})
		}
	}
	n = v.until("the draft", func(n seen) bool { return n.Draft == string(p.structure) })
	m := source.Clone()
	m.Points = nil
	if m.Structure == mark.Needle {
		m.Side, m.Level = mark.NoSide, "" // not asked of a needle
	}
	for k, q := range source.Points {
		x, y, means := n.Panes[p.pane].screen(q)
		m.Points = append(m.Points, mark.Round(means))
		info, _ := mark.Info(p.structure)
		last := info.Most > 0 && k+1 == info.Most
		v.click(x, y, fmt.Sprintf("point %d of %s", k+1, p.structure), func(n seen) bool {
			return n.Points == k+1 || last && n.Draft == "" && n.Marks == marks+1
		})
		// Which needle it is follows from the film of its first point.
		if n, _ := v.now(); p.object != "" && n.Device != p.object {
			v.t.Fatalf("the needle being marked is %s, not %s", n.Device, p.object)
		}
	}
	if n, _ := v.now(); n.Draft != "" {
		v.press("Return", "ends it", func(n seen) bool { return n.Draft == "" && n.Marks == marks+1 })
	}
	return m
}

// amend changes marks by drag, key, deletion and undo, and what they must be.
func (v *viewer) amend(want []mark.Mark) {
	v.t.Helper()
	n := v.until("rest", func(n seen) bool { return n.Draft == "" })
	midline := indexOf(want, mark.Midline)
	m := &want[midline]
	// A click takes hold of a point, a drag carries it, letting go keeps it.
	x, y, _ := n.Panes[0].screen(m.Points[1])
	v.click(x, y, "a point of the midline in hand", func(n seen) bool { return n.Selected == "Midline" && n.Point != nil })
	held := v.until("its place", func(n seen) bool { return n.Point != nil })
	if got := (r2.Vec{X: held.Point[0], Y: held.Point[1]}); got != m.Points[1] {
		v.t.Fatalf("in hand is %v, not %v", got, m.Points[1])
	}
	v.xdotool("mousedown", "1")
	v.until("taken hold", func(n seen) bool { return n.Held == 1 })
	v.xdotool("mousemove", fmt.Sprint(x+9), fmt.Sprint(y+3))
	moved := v.until("the drag's end", func(n seen) bool {
		px, py, _ := n.Panes[0].screen(r2.Vec{X: n.Point[0], Y: n.Point[1]})
		return px == x+9 && py == y+3
	})
	v.xdotool("mouseup", "1")
	v.until("let go", free)
	if math.Abs(moved.Point[0]-held.Point[0]-9/n.Panes[0].ToScreen[0]) > 1.01/n.Panes[0].ToScreen[0] {
		v.t.Errorf("dragged 9 px on the screen, the point went from %v to %v", *held.Point, *moved.Point)
	}
	v.press("ctrl+z", "undone", func(n seen) bool { return n.Point != nil && *n.Point == *held.Point })
	v.press("ctrl+shift+z", "done again", func(n seen) bool { return n.Point != nil && *n.Point == *moved.Point })
	// Arrows move by whole pixels of the image.
	nudged := v.press("Right", "nudged", func(n seen) bool { return n.Point != nil && *n.Point != *moved.Point })
	nudged = v.until("rest", func(n seen) bool { return n.Frames >= nudged.Frames })
	step := nudged.Point[0] - moved.Point[0]
	if k := math.Round(step); k < 1 || math.Abs(step-k) > 1e-3 || nudged.Point[1] != moved.Point[1] {
		v.t.Errorf("an arrow moved the point from %v to %v", *moved.Point, *nudged.Point)
	}
	m.Points[1] = r2.Vec{X: nudged.Point[0], Y: nudged.Point[1]}
	// A mark deleted comes back whole.
	v.press("shift+Delete", "deleted", func(n seen) bool { return n.Marks == len(want)-1 })
	v.press("ctrl+z", "back", func(n seen) bool { return n.Marks == len(want) })
}

func indexOf(marks []mark.Mark, s mark.Structure) int {
	for i, m := range marks {
		if m.Structure == s {
			return i
		}
	}
	return -1
}

// practiceMarks reads the marks that came with the practice case; only where
// they lie is taken from them.
func practiceMarks(t *testing.T) []mark.Mark {
	t.Helper()
	dir := filepath.Join(programs(t), "practice")
	kase, err := intake.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer kase.Close()
	f, err := os.Open(filepath.Join(dir, "marks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	marks, err := mark.ReadCSV(f, func(name string) (*imaging.Header, bool) {
		if file, ok := kase.Find(name); ok {
			return file.Header, true
		}
		return nil, false
	})
	if err != nil {
		t.Fatal(err)
	}
	return marks
}

func find(marks []mark.Mark, s mark.Structure, object string, level mark.Level, side mark.Side, detail string, pane int) (mark.Mark, bool) {
	frames := map[mark.FrameRef]int{}
	for _, m := range marks {
		if m.Structure == mark.Midline {
			frames[m.Frame] = 0
		}
		if m.Structure == mark.VentralMargin {
			frames[m.Frame] = 1
		}
	}
	for _, m := range marks {
		if m.Structure == s && m.Object == object && frames[m.Frame] == pane &&
			(level == "" || m.Level == level) && (object != "" || side == "" || m.Side == side) && (detail == "" || m.Detail == detail) {
			return m, true
		}
	}
	return mark.Mark{}, false
}

func load(t *testing.T, dir string) sidecar.Report {
	t.Helper()
	kase, err := intake.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer kase.Close()
	report, found, err := sidecar.Load(dir, "hand", kase.Headers())
	if err != nil || !found {
		t.Fatalf("no sidecar of the observer: %v", err)
	}
	return report
}

// sameMarks compares all that a person sees of the marks.
func sameMarks(t *testing.T, got, want []mark.Mark) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%d marks, want %d", len(got), len(want))
	}
	for _, w := range want {
		w.UID, w.History, w.Origin = "", nil, mark.ByHand
		found := false
		for _, g := range got {
			g.UID, g.History = "", nil
			found = found || reflect.DeepEqual(g, w)
		}
		if !found {
			t.Errorf("not kept as clicked: %s %s %s %v", w.Structure, w.Object, w.Level, w.Points)
		}
	}
}

// writeTable writes marks.csv with no help of the program's own writer.
func writeTable(t *testing.T, path, dir string, marks []mark.Mark) {
	t.Helper()
	kase, err := intake.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer kase.Close()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w := csv.NewWriter(f)
	rows := [][]string{{"instance", "frame", "structure", "level", "side", "object", "index", "x", "y", "detail"}}
	for _, m := range marks {
		for i, p := range m.Points {
			rows = append(rows, []string{m.Frame.Instance, m.Frame.Span(), string(m.Structure), string(m.Level), string(m.Side), m.Object,
				fmt.Sprint(i), fmt.Sprintf("%.9g", p.X), fmt.Sprintf("%.9g", p.Y), m.Detail})
		}
	}
	if err := w.WriteAll(rows); err != nil {
		t.Fatal(err)
	}
}

// figures is what 'leadline measure --json' prints, without what names the
// case.
type figures struct {
	Results  []map[string]any `json:"results"`
	Missing  []map[string]any `json:"missing"`
	Cautions []string         `json:"cautions"`
}

func measured(t *testing.T, dir string) figures {
	t.Helper()
	var f figures
	if err := json.Unmarshal(leadline(t, "measure", dir, "--json", "--observer", "hand"), &f); err != nil {
		t.Fatal(err)
	}
	return f
}

func asAny(t *testing.T, f figures) any {
	t.Helper()
	data, err := json.Marshal(f)
	if err != nil {
		t.Fatal(err)
	}
	var v any
	if err := json.Unmarshal(data, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// differs compares two JSON values and says where they differ. A table lists
// marks in another order than a hand makes them, and sums of squares come out
// differently in their last digits: numbers agree to 1e-9 of their size.
func differs(a, b any, where string) string {
	switch a := a.(type) {
	case map[string]any:
		b, ok := b.(map[string]any)
		if !ok || len(a) != len(b) {
			return where + ": other keys"
		}
		for k := range a {
			if d := differs(a[k], b[k], where+"/"+k); d != "" {
				return d
			}
		}
		return ""
	case []any:
		b, ok := b.([]any)
		if !ok || len(a) != len(b) {
			return where + ": other length"
		}
		for i := range a {
			if d := differs(a[i], b[i], fmt.Sprintf("%s/%d", where, i)); d != "" {
				return d
			}
		}
		return ""
	case float64:
		if b, ok := b.(float64); ok && math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(a)) {
			return ""
		}
	}
	if reflect.DeepEqual(a, b) {
		return ""
	}
	return fmt.Sprintf("%s: %v and %v", where, a, b)
}

// againstTruth holds what was marked by hand against what the phantom knows:
// the anatomical depth of each tip must lie in the interval stated.
func againstTruth(t *testing.T, f figures) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(programs(t), "practice", "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth struct {
		Needles []struct {
			Object     string             `json:"object"`
			Quantities map[string]float64 `json:"quantities"`
		} `json:"needles"`
	}
	if err := json.Unmarshal(data, &truth); err != nil {
		t.Fatal(err)
	}
	if len(truth.Needles) != 2 {
		t.Fatalf("%d needles in the truth", len(truth.Needles))
	}
	for _, n := range truth.Needles {
		depth, seen := n.Quantities["tip-depth-along-needle"], false
		for _, r := range f.Results {
			if r["object"] == n.Object && r["quantity"] == "tip-depth-along-needle" {
				seen = true
				lo, hi := r["lo"].(float64), r["hi"].(float64)
				if depth < lo || depth > hi || hi-lo > 10 {
					t.Errorf("%s lies %.2f mm deep, the interval is %.2f to %.2f", n.Object, depth, lo, hi)
				}
			}
		}
		if !seen {
			t.Errorf("no depth of %s", n.Object)
		}
	}
}
