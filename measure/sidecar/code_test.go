package sidecar

import "testing"

// PS3.5 6.2: SH holds 16 characters, LO 64; PS3.3 8.1: a code value means one
// thing within its scheme.
func TestPrivateSchemeIsSound(t *testing.T) {
	if !validUID(ownSchemeUID) || len(ownScheme) > 16 || ownScheme[:2] != "99" {
		t.Errorf("scheme %q with UID %q", ownScheme, ownSchemeUID)
	}
	for value, codes := range ownCodes {
		if len(codes) != 1 {
			t.Errorf("code %q is used for %v", value, codes)
		}
		c := codes[0]
		if len(c.value) > 16 || len(c.meaning) > 64 || c.value == "" || c.meaning == "" {
			t.Errorf("%v does not fit its value representation", c)
		}
	}
	all := []vocabulary{structures, levels, sides, edges, views, origins, bases, transitionals, planes, scalePlanes, quantities,
		motorTerms, sensationTerms, stateTerms, amplitudeWord, fieldCodes}
	for _, v := range fieldTerms {
		all = append(all, v)
	}
	for _, v := range all {
		seen := map[string]string{}
		for word, c := range v {
			if c.value == "" {
				t.Errorf("%q has no code", word)
			}
			if other, twice := seen[c.value]; twice {
				t.Errorf("%q and %q share the code %v", word, other, c)
			}
			seen[c.value] = word
		}
	}
}
