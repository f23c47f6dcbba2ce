package note

import (
	"fmt"
	"strings"

	"leadline/measure/placement"
	"leadline/measure/quantity"
)

// Contacts words how a lead's contacts lie to the ventral margin: which are
// beyond, astride and short by their ends, then their centres in turn: "All four
// contacts beyond the ventral margin; centres 25, 20, 13, 6 mm beyond, each ± 3 mm
// at most, along the lead, contact 0 first". Empty where none is measured. own are
// the lead's results.
func Contacts(p placement.Placement, own []placement.Result) string {
	var depths []placement.Result
	for _, r := range own {
		if r.Quantity == "contact-depth" {
			depths = append(depths, r)
		}
	}
	if depths == nil {
		return ""
	}
	return classes(depths) + "; " + centres(p, depths)
}

var classWords = map[string]string{
	"beyond": "beyond the ventral margin", "astride": "astride the ventral margin", "short": "short of the ventral margin",
}

// classes says which contacts lie how.
func classes(depths []placement.Result) string {
	var order []string
	by := map[string][]string{}
	for _, r := range depths {
		if by[r.Class] == nil {
			order = append(order, r.Class)
		}
		by[r.Class] = append(by[r.Class], fmt.Sprint(r.Contact))
	}
	words := func(class string) string {
		if w, ok := classWords[class]; ok {
			return w
		}
		return "not classed"
	}
	if len(order) == 1 {
		if len(depths) == 1 {
			return "Contact " + by[order[0]][0] + " " + words(order[0])
		}
		return "All " + numeral(len(depths)) + " contacts " + words(order[0])
	}
	var parts []string
	for _, class := range order {
		noun := "contact "
		if len(by[class]) > 1 {
			noun = "contacts "
		}
		parts = append(parts, noun+enumerate(by[class])+" "+words(class))
	}
	said := strings.Join(parts, ", ")
	return strings.ToUpper(said[:1]) + said[1:]
}

func numeral(n int) string {
	if words := []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight"}; n < len(words) {
		return words[n]
	}
	return fmt.Sprint(n)
}

// centres tells the depths of the contacts' centres.
func centres(p placement.Placement, depths []placement.Result) string {
	said := "centres "
	if len(depths) == 1 {
		said = "centre "
	}
	var all []quantity.Measured
	for _, r := range depths {
		all = append(all, p.Measured(r))
	}
	return fmt.Sprintf("%s%s, along the lead, contact %d first", said, quantity.Series(all), depths[0].Contact)
}
