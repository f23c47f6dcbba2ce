package main_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
)

// The cases of this test are made by testdata/oracle, a simulator in Python that
// shares no code with this project: it projects an invented sacrum through a pinhole
// camera, writes the films with pydicom, and works the quantities out a second time
// with scipy. The program under test is run as a user runs it.

const systemPython = "/usr/bin/python3"

// simulated is a case's truth.json.
type simulated struct {
	Name, Purpose string
	Steps         [][]string
	Args          []string
	Values        []wanted
	Absent        []struct{ Object, Quantity string }
	Missing       []struct{ Object, Quantity, Because string }
	Cautions      []string
	Refusals      [][]string
	NoMillimetre  bool
}

// wanted is one result that must be there. Fields left out are not checked.
type wanted struct {
	Object, Quantity, Plane string
	Unit, Class             *string
	Contact                 *int
	Value                   *float64 // by the second program, from the same marks
	Within                  float64
	OneOf                   []float64 // one of several readings of the definition
	Truth                   *float64  // in the scaled plane
	TruthWithin             float64
	Covers                  []float64 // what the stated interval must hold
	Loosely                 bool      // a miss is counted, not a fault of this case
	Marking                 *float64  // standard uncertainty by Monte Carlo, to 10 %
	Markings                []float64 // the same where there is more than one reading
	Lacks                   string    // a part the budget must not have
	Side                    *string   // empty: no side may be named
	SideConfirmed           *bool
	SideSays                string
	SideNames               []string
	ScaleSays               string
	Level                   *string // empty: no level may be named
	LevelSays               string
	Several                 bool // the same quantity on several films
}

// measured is the output of measure --json.
type measured struct {
	Schema  int
	Results []result
	Missing []struct{ Object, Quantity, Because string }
	// A caution is a sentence.
	Cautions []string
}

type result struct {
	Object, Quantity, Plane, Unit, Class string
	Value                                *float64
	U95, Lo, Hi                          *float64
	Side, SideSource                     string
	SideConfirmed                        bool
	Level, LevelSource                   string
	Contact                              *int
	Scale                                string
	Budget                               map[string]float64
	Notes                                json.RawMessage
}

// TestSimulatedCases checks depth within 0.05 mm, angles within 0.2 degrees, sides,
// intervals and budgets on simulated films. With LEADLINE_STUDY set there are more.
func TestSimulatedCases(t *testing.T) {
	if testing.Short() {
		t.Skip("simulated cases take a minute")
	}
	needPython(t)
	folder := t.TempDir()
	program := filepath.Join(folder, "leadline")
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		t.Fatalf("building leadline: %v\n%s", err, out)
	}
	args := []string{"../../testdata/oracle/simulate.py", folder}
	if os.Getenv("LEADLINE_STUDY") != "" {
		args = append(args, "--study")
	}
	simulate := exec.Command(systemPython, args...)
	simulate.Env = append(os.Environ(), "PYTHONDONTWRITEBYTECODE=1")
	if out, err := simulate.CombinedOutput(); err != nil {
		t.Fatalf("simulating cases: %v\n%s", err, out)
	}
	var names []string
	readJSON(t, filepath.Join(folder, "cases.json"), &names)
	if len(names) < 200 {
		t.Fatalf("only %d cases were simulated", len(names))
	}
	slots := make(chan struct{}, runtime.GOMAXPROCS(0))
	var coverage tally
	t.Run("case", func(t *testing.T) {
		for _, name := range names {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				slots <- struct{}{}
				defer func() { <-slots }()
				checkCase(t, program, filepath.Join(folder, name), &coverage)
			})
		}
	})
	if coverage.asked > 200 && float64(coverage.held) < 0.93*float64(coverage.asked) {
		t.Errorf("95 %% intervals held the true value %d times of %d", coverage.held, coverage.asked)
	}
	t.Logf("intervals that were asked to hold a true value: %d of %d did", coverage.held, coverage.asked)
}

type tally struct {
	sync.Mutex
	held, asked int
}

func needPython(t *testing.T) {
	t.Helper()
	out, err := exec.Command(systemPython, "-c", "import numpy, scipy, pydicom").CombinedOutput()
	if err == nil {
		return
	}
	if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
		t.Fatalf("%s with numpy, scipy and pydicom is needed: %v %s", systemPython, err, out)
	}
	t.Skipf("%s with numpy, scipy and pydicom is not here", systemPython)
}

func readJSON(t *testing.T, path string, to any) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, to); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
}

func checkCase(t *testing.T, program, folder string, coverage *tally) {
	var truth simulated
	readJSON(t, filepath.Join(folder, "truth.json"), &truth)
	images := filepath.Join(folder, "images")
	run := func(args ...string) (string, string, int) {
		for i, a := range args {
			if rest, ok := strings.CutPrefix(a, "@"); ok {
				args[i] = images
				if rest != "" {
					args[i] = filepath.Join(folder, rest)
				}
			}
		}
		var stdout, stderr bytes.Buffer
		c := exec.Command(program, append(args, "--observer", "Examiner")...)
		c.Stdout, c.Stderr = &stdout, &stderr
		err := c.Run()
		if err != nil && c.ProcessState == nil {
			t.Fatal(err)
		}
		return stdout.String(), stderr.String(), c.ProcessState.ExitCode()
	}
	must := func(args ...string) string {
		out, complaint, code := run(args...)
		if code != 0 {
			t.Fatalf("%s\nleadline %s: exit %d: %s", truth.Purpose, strings.Join(args, " "), code, complaint)
		}
		return out
	}
	must("mark", "@", "--import", filepath.Join(folder, "marks.csv"))
	for _, step := range truth.Steps {
		must(step...)
	}
	out := must(append([]string{"measure", "@", "--json"}, truth.Args...)...)
	var got measured
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatalf("measure --json: %v\n%s", err, out)
	}
	if t.Failed() {
		return
	}
	faults := &faults{t: t, purpose: truth.Purpose}
	if got.Schema != 1 {
		faults.add("schema %d, want 1", got.Schema)
	}
	for _, r := range got.Results {
		checkResult(faults, r)
	}
	for _, w := range truth.Values {
		checkWanted(faults, w, got, coverage)
	}
	for _, a := range truth.Absent {
		for _, r := range got.Results {
			if r.Object == a.Object && r.Quantity == a.Quantity {
				faults.add("%s %s is given (%v %s) where it must be missing", r.Object, r.Quantity, number(r.Value), r.Unit)
			}
		}
	}
	for _, m := range truth.Missing {
		found := false
		for _, g := range got.Missing {
			found = found || g.Object == m.Object && g.Quantity == m.Quantity && regexp.MustCompile(m.Because).MatchString(g.Because)
		}
		if !found {
			faults.add("%s %s is not listed as missing because of %q", m.Object, m.Quantity, m.Because)
		}
	}
	cautions := strings.Join(got.Cautions, "\n")
	for _, c := range truth.Cautions {
		if !regexp.MustCompile(c).MatchString(cautions) {
			faults.add("no caution like %q, only:\n%s", c, cautions)
		}
	}
	if truth.NoMillimetre {
		if m := millimetre.FindString(out); m != "" {
			faults.add("a film without scale speaks of millimetres: %q", m)
		}
	}
	for _, args := range truth.Refusals {
		if _, complaint, code := run(args...); code != 2 || strings.Count(strings.TrimSpace(complaint), "\n") != 0 || complaint == "" {
			faults.add("leadline %s: exit %d, want 2 and one line, got %q", args[0], code, complaint)
		}
	}
}

var millimetre = regexp.MustCompile(`.{0,60}(?:\b|[0-9])mm\b.{0,20}`)

// faults gathers what is wrong with one case under its purpose.
type faults struct {
	t       *testing.T
	purpose string
}

func (f *faults) add(format string, args ...any) {
	f.t.Errorf("%s\n    %s", f.purpose, fmt.Sprintf(format, args...))
}

// checkResult holds every result to what any must satisfy: finite numbers, value inside
// its interval, and for a symmetric interval u95 = 1.96 root sum of squares of the budget
// (JCGM 100, 5.1.2 and 6.2.1).
func checkResult(f *faults, r result) {
	name := r.Object + " " + r.Quantity
	if r.Value == nil {
		f.add("%s has no value", name)
		return
	}
	if r.Unit == "mm" && r.Scale == "" {
		f.add("%s: millimetres without a source", name)
	}
	if r.U95 == nil {
		return
	}
	if r.Lo == nil || r.Hi == nil || !(*r.Lo <= *r.Value && *r.Value <= *r.Hi) || !(*r.U95 > 0) {
		f.add("%s: value %v, u95 %v, interval %v to %v", name, *r.Value, *r.U95, number(r.Lo), number(r.Hi))
		return
	}
	if d := math.Abs((*r.Hi-*r.Lo)/2 - *r.U95); d > 1e-9*(1+*r.U95) {
		f.add("%s: u95 %v is not half of %v to %v", name, *r.U95, *r.Lo, *r.Hi)
	}
	var sum float64
	for _, u := range r.Budget {
		sum += u * u
	}
	// Of a rectangular cause alone the middle 95 % reach 0.95 sqrt 3 = 1.65
	// standard uncertainties; of normal ones 1.96, of products of causes a little
	// more (JCGM 101), and of no distribution can they reach further than 4.5,
	// the root of 1/0.05 (Chebyshev's inequality): an entry near the end of an
	// opening has such tails. Causes that only lengthen shift the interval, so that half
	// its width is less than their root mean square would make it.
	if k := *r.U95 / math.Sqrt(sum); k < 1.2 || k > 4.5 {
		f.add("%s: u95 %v is %.2f times the root sum of squares of its budget %v", name, *r.U95, k, r.Budget)
	}
}

func checkWanted(f *faults, w wanted, got measured, coverage *tally) {
	name := w.Object + " " + w.Quantity
	if w.Contact != nil {
		name = fmt.Sprintf("%s contact %d", name, *w.Contact)
	}
	var found []result
	for _, r := range got.Results {
		if r.Object == w.Object && r.Quantity == w.Quantity && (w.Plane == "" || r.Plane == w.Plane) &&
			(w.Contact == nil || r.Contact != nil && *r.Contact == *w.Contact) {
			found = append(found, r)
		}
	}
	if len(found) != 1 && !(w.Several && len(found) > 1) {
		because := ""
		for _, m := range got.Missing {
			if m.Object == w.Object && m.Quantity == w.Quantity {
				because += "; missing because " + m.Because
			}
		}
		f.add("%s: %d results, want 1%s", name, len(found), because)
		return
	}
	for _, r := range found {
		if r.Value != nil {
			compare(f, name, w, r, coverage)
		}
	}
}

func compare(f *faults, name string, w wanted, r result, coverage *tally) {
	v := *r.Value
	if w.Value != nil && !(math.Abs(v-*w.Value) <= w.Within) {
		f.add("%s: %.7f %s, the second program has %.7f (difference %.2g, allowed %.2g)", name, v, r.Unit, *w.Value, v-*w.Value, w.Within)
	}
	if w.Truth != nil && !(math.Abs(v-*w.Truth) <= w.TruthWithin) {
		f.add("%s: %.4f %s, truth %.4f (allowed %.2g)", name, v, r.Unit, *w.Truth, w.TruthWithin)
	}
	if len(w.OneOf) > 0 {
		near := false
		for _, x := range w.OneOf {
			near = near || math.Abs(v-x) <= 1e-6
		}
		if !near {
			f.add("%s: %.7f %s is none of %.7f", name, v, r.Unit, w.OneOf)
		}
	}
	for _, x := range w.Covers {
		held := r.Lo != nil && r.Hi != nil && *r.Lo <= x && x <= *r.Hi
		coverage.Lock()
		coverage.asked++
		if held {
			coverage.held++
		}
		coverage.Unlock()
		if !held && !w.Loosely {
			f.add("%s: %.3f, interval %v to %v does not hold the true %.3f; budget %v", name, v, number(r.Lo), number(r.Hi), x, r.Budget)
		}
	}
	if w.Marking != nil {
		w.Markings = append(w.Markings, *w.Marking)
	}
	if u := r.Budget["marking"]; len(w.Markings) > 0 && !slices.ContainsFunc(w.Markings, func(m float64) bool { return math.Abs(u/m-1) <= 0.1 }) {
		f.add("%s: marking part %.4f, Monte Carlo %.4f", name, u, w.Markings)
	}
	if u := r.Budget[w.Lacks]; w.Lacks != "" && u != 0 {
		f.add("%s: its budget has %s %v where it must have none", name, w.Lacks, u)
	}
	if w.Unit != nil && r.Unit != *w.Unit {
		f.add("%s: unit %q, want %q", name, r.Unit, *w.Unit)
	}
	if w.Class != nil && !regexp.MustCompile(*w.Class).MatchString(r.Class) {
		f.add("%s: class %q, want %q", name, r.Class, *w.Class)
	}
	if w.ScaleSays != "" && !regexp.MustCompile(w.ScaleSays).MatchString(r.Scale) {
		f.add("%s: scale %s does not say %q", name, r.Scale, w.ScaleSays)
	}
	if w.Side != nil {
		checkSide(f, name, w, r)
	}
	if w.Level != nil && (r.Level != *w.Level || !regexp.MustCompile(w.LevelSays).MatchString(r.LevelSource)) {
		f.add("%s: level %q (%s), want %q with %q", name, r.Level, r.LevelSource, *w.Level, w.LevelSays)
	}
}

func checkSide(f *faults, name string, w wanted, r result) {
	if r.Side != *w.Side {
		f.add("%s: side %q (%s), want %q", name, r.Side, r.SideSource, *w.Side)
		return
	}
	if *w.Side == "" {
		if r.SideConfirmed {
			f.add("%s: no side, yet confirmed", name)
		}
		return
	}
	if w.SideConfirmed != nil && r.SideConfirmed != *w.SideConfirmed {
		f.add("%s: side confirmed %v, want %v (%s)", name, r.SideConfirmed, *w.SideConfirmed, r.SideSource)
	}
	for _, say := range append([]string{w.SideSays}, w.SideNames...) {
		if say != "" && !regexp.MustCompile(say).MatchString(r.SideSource) {
			f.add("%s: side source %q does not say %q", name, r.SideSource, say)
		}
	}
}

func number(v *float64) string {
	if v == nil {
		return "none"
	}
	return fmt.Sprintf("%.4f", *v)
}
