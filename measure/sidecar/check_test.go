package sidecar

import (
	"encoding/json"
	"strings"
	"testing"
)

// node is a DICOM JSON object under the knife of a negative test.
type node = map[string]any

// values are those of an attribute, "0040A730" and so on.
func values(n node, tag string) []any {
	a, _ := n[tag].(node)
	v, _ := a["Value"].([]any)
	return v
}

func set(n node, tag string, v ...any) { n[tag].(node)["Value"] = v }

// conceptOfNode is the Code Value of an item's concept name.
func conceptOfNode(n node) string {
	for _, c := range values(n, "0040A043") {
		if v := values(c.(node), "00080100"); len(v) == 1 {
			return v[0].(string)
		}
	}
	return ""
}

func kindOfNode(n node) string { return values(n, "0040A040")[0].(string) }

// find gives the first item below n, in document order, that passes.
func find(t *testing.T, n node, pass func(node) bool) (it, parent node) {
	t.Helper()
	for _, c := range values(n, "0040A730") {
		if pass(c.(node)) {
			return c.(node), n
		}
		if it, parent := search(c.(node), pass); it != nil {
			return it, parent
		}
	}
	t.Fatal("the item to change is not there")
	return nil, nil
}

func search(n node, pass func(node) bool) (it, parent node) {
	for _, c := range values(n, "0040A730") {
		if pass(c.(node)) {
			return c.(node), n
		}
		if it, parent := search(c.(node), pass); it != nil {
			return it, parent
		}
	}
	return nil, nil
}

func byConcept(value string) func(node) bool {
	return func(n node) bool { return conceptOfNode(n) == value }
}

func byKind(kind string) func(node) bool { return func(n node) bool { return kindOfNode(n) == kind } }

// drop removes an item from its parent.
func drop(it, parent node) {
	var kept []any
	for _, c := range values(parent, "0040A730") {
		if got, ok := c.(node); !ok || !same(got, it) {
			kept = append(kept, c)
		}
	}
	set(parent, "0040A730", kept...)
}

func same(a, b node) bool { // the same object, not an equal one
	a["mark"] = true
	_, ok := b["mark"]
	delete(a, "mark")
	return ok
}

// Each breach is made in an accepted report, and Check names the row it breaks.
// dicom3tools' dciodvfy lets pass uncertainty in the wrong relationship, missing
// tracking, unit px and coordinates outside the image (tried on its version of
// June 2022); the rows are those of PS3.16.
func TestCheckFindsEachBreach(t *testing.T) {
	doc, err := Encode(sample())
	if err != nil {
		t.Fatal(err)
	}
	if v := Check(doc); len(v) > 0 {
		t.Fatalf("the sample itself: %v", v)
	}
	code := func(value, scheme, meaning string) node {
		return node{"00080100": node{"vr": "SH", "Value": []any{value}}, "00080102": node{"vr": "SH", "Value": []any{scheme}},
			"00080104": node{"vr": "LO", "Value": []any{meaning}}}
	}
	for name, c := range map[string]struct {
		rule  string
		spoil func(t *testing.T, root node)
	}{
		"uncertainty in the wrong relationship": {"TID 310 row 6", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("371884006"))
			set(it, "0040A010", "INFERRED FROM")
		}},
		"uncertainty as a sibling": {"TID 310 row 6", func(t *testing.T, root node) {
			it, parent := find(t, root, byConcept("371884006"))
			drop(it, parent)
			set(it, "0040A010", "CONTAINS")
			groups, _ := find(t, root, byConcept("126010"))
			g := values(groups, "0040A730")
			last := g[len(g)-1].(node)
			set(last, "0040A730", append(values(last, "0040A730"), it)...)
		}},
		"uncertainty in another unit": {"TID 310 row 6", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("371884006"))
			set(values(it, "0040A300")[0].(node), "004008EA", code("deg", "UCUM", "degree"))
		}},
		"negative uncertainty": {"TID 310 row 6", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("371884006"))
			set(values(it, "0040A300")[0].(node), "0040A30A", json.Number("-1"))
		}},
		"upper side without the lower": {"TID 310 row 6", func(t *testing.T, root node) {
			it, parent := find(t, root, byConcept("371885007"))
			drop(it, parent)
		}},
		"uncertainty without coverage": {"report row: coverage", func(t *testing.T, root node) {
			it, parent := find(t, root, byConcept("coverage"))
			drop(it, parent)
		}},
		"response without its position": {"report row: position", func(t *testing.T, root node) {
			_, g := find(t, root, byConcept("thr-pelvic"))
			it, _ := search(g, byConcept("device"))
			drop(it, g)
		}},
		"amplitude in another unit than the test's": {"report row: threshold", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("thr-pelvic"))
			set(values(it, "0040A300")[0].(node), "004008EA", code("V", "UCUM", "volt"))
		}},
		"amplitude without a unit": {"report row: threshold", func(t *testing.T, root node) {
			it, g := find(t, root, byConcept("stim-unit"))
			drop(it, g)
		}},
		"two thresholds of one kind": {"report row: threshold", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("max-leg"))
			set(it, "0040A043", code("thr-pelvic", "99LEADLINE", "Threshold of the pelvic floor"))
		}},
		"pulse width in hertz": {"report row: settings", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("pulse-width"))
			set(values(it, "0040A300")[0].(node), "004008EA", code("Hz", "UCUM", "hertz"))
		}},
		"operation with a word of another field": {"report row: operation", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("op-procedure"))
			set(it, "0040A168", code("side-left", "99LEADLINE", "Patient's left"))
		}},
		"impedance in millimetres": {"report row: operation", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("op-impedance"))
			set(values(it, "0040A300")[0].(node), "004008EA", code("mm", "UCUM", "millimeter"))
		}},
		"a mark's concept in the operation": {"report row: operation", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("op-implanted"))
			set(it, "0040A043", code("detail", "99LEADLINE", "Detail of the mark"))
		}},
		"missing tracking identifier": {"TID 1501 row 2", func(t *testing.T, root node) {
			it, parent := find(t, root, byConcept("112039"))
			drop(it, parent)
		}},
		"missing tracking UID": {"TID 1501 row 3", func(t *testing.T, root node) {
			it, parent := find(t, root, byConcept("112040"))
			drop(it, parent)
		}},
		"tracking UID as text": {"TID 1501 row 3", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("112040"))
			set(it, "0040A040", "TEXT")
			it["0040A160"] = node{"vr": "UT", "Value": []any{"1.2.3"}}
		}},
		"unit px": {"PS3.16 7.2.2", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("marking-sd"))
			set(values(it, "0040A300")[0].(node), "004008EA", code("px", "UCUM", "pixels"))
		}},
		"coordinates outside the image": {"PS3.3 table C.18.6-1", func(t *testing.T, root node) {
			it, _ := find(t, root, byKind("SCOORD"))
			v := values(it, "00700022")
			v[2] = json.Number("1024.5")
		}},
		"odd number of coordinates": {"PS3.3 C.18.6", func(t *testing.T, root node) {
			it, _ := find(t, root, byKind("SCOORD"))
			set(it, "00700022", values(it, "00700022")[1:]...)
		}},
		"point with two points": {"PS3.3 C.18.6.1.2", func(t *testing.T, root node) {
			it, _ := find(t, root, byKind("SCOORD"))
			set(it, "00700023", "POINT")
		}},
		"coordinates selected from nothing": {"TID 320 row 4", func(t *testing.T, root node) {
			it, _ := find(t, root, byKind("SCOORD"))
			delete(it, "0040A730")
		}},
		"coordinates in the wrong relationship": {"PS3.3 table A.35.3-2", func(t *testing.T, root node) {
			it, _ := find(t, root, byKind("SCOORD"))
			set(it, "0040A010", "CONTAINS")
		}},
		"fewer points than counted": {"report row: points", func(t *testing.T, root node) {
			it, _ := find(t, root, byKind("SCOORD"))
			set(it, "00700022", values(it, "00700022")[2:]...)
		}},
		"missing language": {"TID 1204 row 1", func(t *testing.T, root node) {
			it, parent := find(t, root, byConcept("121049"))
			drop(it, parent)
		}},
		"language of no known scheme": {"TID 1204 row 1", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("121049"))
			set(it, "0040A168", code("en", "DCM", "English"))
		}},
		"missing observer": {"TID 1003 row 1", func(t *testing.T, root node) {
			it, parent := find(t, root, byConcept("121008"))
			drop(it, parent)
		}},
		"missing procedure": {"TID 1500 row 4", func(t *testing.T, root node) {
			it, parent := find(t, root, byConcept("121058"))
			drop(it, parent)
		}},
		"missing image library": {"TID 1500 row 5", func(t *testing.T, root node) {
			it, parent := find(t, root, byConcept("111028"))
			drop(it, parent)
		}},
		"missing caution": {"report row: purpose", func(t *testing.T, root node) {
			it, parent := find(t, root, byConcept("purpose"))
			drop(it, parent)
		}},
		"image not in evidence": {"PS3.3 C.17.2.3", func(t *testing.T, root node) {
			it, _ := find(t, root, byKind("SCOORD"))
			image := values(it, "0040A730")[0].(node)
			set(values(image, "00081199")[0].(node), "00081155", "1.2.3.4")
		}},
		"image of another class": {"PS3.3 C.17.2.3", func(t *testing.T, root node) {
			it, _ := find(t, root, byKind("SCOORD"))
			image := values(it, "0040A730")[0].(node)
			set(values(image, "00081199")[0].(node), "00081150", "1.2.840.10008.5.1.4.1.1.7")
		}},
		"no evidence": {"PS3.3 C.17.2", func(t *testing.T, root node) { delete(root, "0040A375") }},
		"frame beyond the last": {"PS3.3 table 10-3", func(t *testing.T, root node) {
			it, _ := find(t, root, func(n node) bool {
				s := values(n, "00081199")
				return len(s) == 1 && s[0].(node)["00081160"] != nil
			})
			set(values(it, "00081199")[0].(node), "00081160", json.Number("25"))
		}},
		"private scheme not declared": {"PS3.3 C.12.1.1.1", func(t *testing.T, root node) { delete(root, "00080110") }},
		"private code that does not exist": {"scheme 99LEADLINE", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("record"))
			set(it, "0040A168", code("rec-other", "99LEADLINE", "Other"))
		}},
		"wrong value type": {"PS3.3 A.35.3.3.1.1", func(t *testing.T, root node) {
			it, _ := find(t, root, byKind("SCOORD"))
			set(it, "0040A040", "SCOORD3D")
		}},
		"number as text": {"TID 300 row 1", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("points"))
			set(it, "0040A040", "TEXT")
			it["0040A160"] = node{"vr": "UT", "Value": []any{"2"}}
		}},
		"decimal string too long": {"PS3.5 6.2", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("371884006"))
			set(values(it, "0040A300")[0].(node), "0040A30A", json.Number("1.40000000000000001"))
		}},
		"decimal and floating values that differ": {"PS3.3 C.18.1", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("371884006"))
			values(it, "0040A300")[0].(node)["0040A161"] = node{"vr": "FD", "Value": []any{json.Number("1.5")}}
		}},
		"number without a unit": {"PS3.3 8.8", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("371884006"))
			delete(values(it, "0040A300")[0].(node), "004008EA")
		}},
		"laterality while the side is open": {"report row: laterality", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("side-confirmed"))
			set(it, "0040A043", code("side", "99LEADLINE", "Side, not confirmed"))
			num, _ := find(t, root, func(n node) bool { return conceptOfNode(n) == "131197000" })
			for _, c := range values(num, "0040A730") {
				if conceptOfNode(c.(node)) == "side-confirmed" {
					set(c.(node), "0040A043", code("side", "99LEADLINE", "Side, not confirmed"))
				}
			}
		}},
		"laterality against the confirmed side": {"report row: laterality", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("272741003"))
			set(it, "0040A168", code("24028007", "SCT", "Right"))
		}},
		"laterality that is no side": {"TID 300 row 6", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("272741003"))
			set(it, "0040A168", code("54735007", "SCT", "Sacrum"))
		}},
		"laterality not under a site": {"TID 300 row 6", func(t *testing.T, root node) {
			it, parent := find(t, root, byConcept("272741003"))
			drop(it, parent)
			num, _ := find(t, root, byConcept("131197000"))
			set(num, "0040A730", append(values(num, "0040A730"), it)...)
		}},
		"measurement that does not say what it is": {"TID 300 row 2", func(t *testing.T, root node) {
			num, _ := find(t, root, byConcept("131197000"))
			it, parent := find(t, num, byConcept("quantity"))
			drop(it, parent)
		}},
		"group outside its container": {"TID 1501 row 1", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("125007"))
			set(it, "0040A043", code("126010", "DCM", "Imaging Measurements"))
		}},
		"another document title": {"TID 1500 row 1", func(t *testing.T, root node) {
			set(root, "0040A043", code("126001", "DCM", "Oncology Measurement Report"))
		}},
		"no root template":   {"PS3.3 C.18.8.1.2", func(t *testing.T, root node) { delete(root, "0040A504") }},
		"verified":           {"PS3.3 C.17.2", func(t *testing.T, root node) { set(root, "0040A493", "VERIFIED") }},
		"no content date":    {"PS3.3 C.17.2", func(t *testing.T, root node) { delete(root, "00080023") }},
		"no patient's name":  {"PS3.3 C.7.1.1", func(t *testing.T, root node) { delete(root, "00100010") }},
		"another class":      {"PS3.3 C.12.1", func(t *testing.T, root node) { set(root, "00080016", "1.2.840.10008.5.1.4.1.1.88.22") }},
		"a UID that is none": {"PS3.5 9.1", func(t *testing.T, root node) { set(root, "00080018", "1.02.3") }},
		"no concept name": {"PS3.3 C.17.3", func(t *testing.T, root node) {
			it, _ := find(t, root, byConcept("record"))
			delete(it, "0040A043")
		}},
		"its own predecessor": {"PS3.3 C.17.2", func(t *testing.T, root node) {
			evidence := values(root, "0040A375")[0].(node)
			sop := node{"00081150": node{"vr": "UI", "Value": []any{comprehensiveSR}}, "00081155": root["00080018"]}
			root["0040A360"] = node{"vr": "SQ", "Value": []any{node{"0020000D": evidence["0020000D"],
				"00081115": node{"vr": "SQ", "Value": []any{node{"0020000E": root["0020000E"],
					"00081199": node{"vr": "SQ", "Value": []any{sop}}}}}}}}
		}},
	} {
		t.Run(name, func(t *testing.T) {
			root := parsed(t, doc)
			c.spoil(t, root)
			broken, err := json.Marshal(root)
			if err != nil {
				t.Fatal(err)
			}
			found := Check(broken)
			for _, v := range found {
				if v.Rule == c.rule {
					return
				}
			}
			t.Errorf("Check finds %v, nothing of %s", found, c.rule)
		})
	}
}

func TestCheckOfNonsense(t *testing.T) {
	for _, doc := range []string{"", "[]", "{}", `{"00080016":{"vr":"UI"}}`, strings.Repeat("[", 1000)} {
		if len(Check([]byte(doc))) == 0 {
			t.Errorf("Check finds nothing wrong with %q", doc)
		}
	}
}
