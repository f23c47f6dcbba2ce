package imaging_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"strings"
	"testing"

	"leadline/imaging"
)

// Every code of CID 4010 that pydicom's dictionary names, in SNOMED CT and by
// its older value: the view is the one its meaning says. What is neither
// frontal, lateral nor oblique is a direction no sacrum is filmed in.
func TestViewCodes(t *testing.T) {
	const list = `
import json
from pydicom.sr._cid_dict import cid_concepts
from pydicom.sr._concepts_dict import concepts
from pydicom.sr._snomed_dict import mapping
out = []
for keyword in cid_concepts[4010]["SCT"]:
    for code, (meaning, cids) in concepts["SCT"][keyword].items():
        if 4010 in cids:
            out.append([code, mapping["SCT"][code], meaning])
print(json.dumps(out))`
	out, err := exec.Command("/usr/bin/python3", "-c", list).Output()
	if err != nil {
		if os.Getenv("LEADLINE_REQUIRE_TOOLS") == "1" {
			t.Fatalf("pydicom's dictionary cannot be read: %v", err)
		}
		t.Skip("pydicom is not installed: its dictionary cannot be read")
	}
	var codes [][3]string
	if err := json.Unmarshal(out, &codes); err != nil {
		t.Fatal(err)
	}
	if len(codes) < 40 {
		t.Fatalf("the dictionary holds %d codes of CID 4010", len(codes))
	}
	for _, c := range codes {
		meaning := strings.ToLower(c[2])
		want := imaging.NoView
		switch {
		case strings.Contains(meaning, "cranio"), strings.Contains(meaning, "caudo"), meaning == "oblique axial":
		case strings.Contains(meaning, "oblique"):
			want = imaging.Oblique
		case strings.Contains(meaning, "lateral"), meaning == "sagittal":
			want = imaging.Lateral
		case meaning == "frontal", meaning == "antero-posterior", meaning == "postero-anterior":
			want = imaging.Frontal
		}
		for _, code := range []imaging.Code{{Value: c[0], Scheme: "SCT"}, {Value: c[1], Scheme: "SRT"}} {
			if got := code.View(); got != want {
				t.Errorf("%s %s, %s: %q, want %q", code.Scheme, code.Value, meaning, got, want)
			}
		}
	}
}

// A value counts in its own scheme alone, whatever its meaning says.
func TestViewOfOtherSchemes(t *testing.T) {
	for _, c := range []imaging.Code{
		{}, {Value: "399067008", Scheme: "SRT"}, {Value: "R-102CD", Scheme: "SCT"}, {Value: "399067008", Scheme: "99LOCAL"},
		{Value: "1", Scheme: "SCT", Meaning: "lateral"}, {Value: "399067008"},
	} {
		if v := c.View(); v != imaging.NoView {
			t.Errorf("%+v: %q", c, v)
		}
	}
}
