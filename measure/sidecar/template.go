package sidecar

import (
	"fmt"
	"slices"
	"strings"
)

// row is a content item that a template asks for under its parent.
type row struct {
	rule     string
	relation string
	kind     string
	concept  code
	least    int
	most     int // 0: any number
}

func (c *checker) rows(parent item, where string, rows ...row) {
	for _, r := range rows {
		n := 0
		for _, it := range parent.children {
			if !it.concept.is(r.concept) {
				continue
			}
			if it.relation != r.relation || it.kind != r.kind {
				c.say(where+"/"+r.concept.meaning, r.rule, fmt.Sprintf("is %s %s, not %s %s", it.relation, it.kind, r.relation, r.kind))
				continue
			}
			n++
		}
		switch {
		case n < r.least:
			c.say(where+"/"+r.concept.meaning, r.rule, fmt.Sprintf("%s item is missing", r.kind))
		case r.most > 0 && n > r.most:
			c.say(where+"/"+r.concept.meaning, r.rule, fmt.Sprintf("stands %d times", n))
		}
	}
}

// report: TID 1500.
func (c *checker) report(root item) {
	where := "/" + root.concept.meaning
	if root.kind != typeContainer || !root.concept.is(documentTitle) {
		c.say(where, "TID 1500 row 1", "the root is not a container titled "+documentTitle.String())
	}
	if root.template != "1500" {
		c.say(where, "PS3.3 C.18.8.1.2", "the root does not name TID 1500")
	}
	c.rows(root, where,
		row{"TID 1204 row 1", hasModifier, typeCode, language, 1, 1},
		row{"TID 1002 row 1", hasContext, typeCode, observerType, 1, 1},
		row{"TID 1003 row 1", hasContext, typeName, personName, 1, 1},
		row{"TID 1500 row 4", hasModifier, typeCode, procedureReported, 1, 0},
		row{"TID 1500 row 5", contains, typeContainer, imageLibrary, 1, 1},
		row{"TID 1500 row 6", contains, typeContainer, measurements, 0, 1},
		row{"TID 1500 row 12", contains, typeContainer, evaluations, 1, 1},
	)
	for _, it := range root.children {
		in := where + "/" + it.concept.meaning
		switch {
		case it.concept.is(language):
			if it.value.scheme != "RFC5646" {
				c.say(in, "TID 1204 row 1", "language is coded by "+it.value.scheme+", not RFC5646 (CID 5000)")
			}
		case it.concept.is(observerType):
			if !it.value.is(observerPerson) {
				c.say(in, "TID 1002 row 1", "the observer is not a person (CID 270)")
			}
		case it.concept.is(imageLibrary):
			c.library(it, in)
		case it.concept.is(measurements):
			c.groups(it, in)
		case it.concept.is(evaluations):
			c.rows(it, in, row{"report row: purpose", contains, typeText, purpose, 1, 1})
			for _, e := range it.children {
				if e.kind != typeCode && e.kind != typeText {
					c.say(in, "TID 1500 rows 13 and 14", "a qualitative evaluation is a "+e.kind+", not a code or text")
				}
				if e.concept.is(purpose) && e.text != ReviewOnly {
					c.say(in, "report row: purpose", "does not say: "+ReviewOnly)
				}
			}
		}
	}
}

// library: TID 1600, with entries by TID 1601 and 1602.
func (c *checker) library(library item, where string) {
	c.rows(library, where, row{"TID 1600 row 2", contains, typeContainer, imageLibraryGroup, 1, 0})
	for _, group := range library.children {
		for _, entry := range group.children {
			in := where + "/" + entry.ref.instance
			if entry.kind != typeImage || entry.relation != contains {
				c.say(in, "TID 1601 row 1", "an entry of the library is not an image")
				continue
			}
			c.rows(entry, in,
				row{"TID 1602 row 1", hasAcquired, typeCode, modality, 0, 1},
				row{"TID 1602, Pixel Data Rows", hasAcquired, typeNum, pixelDataRows, 1, 1},
				row{"TID 1602, Pixel Data Columns", hasAcquired, typeNum, pixelDataColumns, 1, 1},
				row{"report row: frames", hasAcquired, typeNum, imageFrames, 1, 1},
			)
		}
	}
}

// groups: TID 1501.
func (c *checker) groups(parent item, where string) {
	for i, g := range parent.children {
		in := fmt.Sprintf("%s/%s %d", where, g.concept.meaning, i+1)
		if g.kind != typeContainer || !g.concept.is(measurementGroup) || g.relation != contains {
			c.say(in, "TID 1501 row 1", "is not a Measurement Group")
			continue
		}
		c.rows(g, in,
			row{"TID 1501 row 2", hasContext, typeText, trackingID, 1, 1},
			row{"TID 1501 row 3", hasContext, typeUID, trackingUID, 1, 1},
			row{"report row: record", contains, typeCode, recordKind, 1, 1},
		)
		kind := code{}
		for _, it := range g.children {
			if it.concept.is(recordKind) {
				kind = it.value
			}
		}
		switch {
		case kind.is(kindMark):
			c.rows(g, in,
				row{"TID 1501, Finding", contains, typeCode, finding, 0, 1},
				row{"TID 1501, Finding Site", hasModifier, typeCode, findingSite, 1, 1},
				row{"TID 300 row 1", contains, typeNum, pointCount, 1, 1},
			)
		case kind.is(kindResponse):
			c.response(g, in)
		case kind.is(kindOperation):
			c.operation(g, in)
		case kind.is(kindPlacement):
			if !slices.ContainsFunc(g.children, func(it item) bool { return it.kind == typeNum }) {
				c.say(in, "TID 1501 row 10", "holds no measurement")
			}
			for _, it := range g.children {
				if it.kind == typeNum {
					c.measurement(it, in+"/"+it.concept.meaning)
				}
			}
		}
	}
}

// measurement: TID 300 as a placement uses it.
func (c *checker) measurement(num item, where string) {
	side, sideKnown := item{}, false
	count := map[string]int{}
	for _, it := range num.children {
		switch {
		case it.concept.is(quantityName):
			count["quantity"]++
		case it.concept.is(plusMinus):
			count["both"]++
		case it.concept.is(plusOnly):
			count["upper"]++
		case it.concept.is(minusOnly):
			count["lower"]++
		case it.concept.is(coverage):
			count["coverage"]++
		case it.concept.is(sideConfirmed):
			side, sideKnown = it, true
		}
	}
	if count["quantity"] != 1 {
		c.say(where, "TID 300 row 2", "does not say which quantity it is")
	}
	uncertain := count["both"] + count["upper"] + count["lower"]
	if count["both"] > 1 || count["both"] == 1 && uncertain > 1 || count["upper"] != count["lower"] || count["upper"] > 1 {
		c.say(where, "TID 310 row 6", "uncertainty must be one +/- or one of each side")
	}
	if (uncertain > 0) != (count["coverage"] == 1) {
		c.say(where, "report row: coverage", "an uncertainty and its coverage go together")
	}
	for _, site := range num.children {
		if !site.concept.is(findingSite) {
			continue
		}
		for _, it := range site.children {
			if !it.concept.is(laterality) {
				continue
			}
			if !sideKnown {
				c.say(where, "report row: laterality", "laterality is given though the side is not confirmed")
			} else if word, _ := sides.word(side.value); !lateralities[word].is(it.value) {
				c.say(where, "report row: laterality", "laterality and confirmed side differ")
			}
		}
	}
}

// relations checks concepts that templates tie to one relationship, wherever
// they stand.
func (c *checker) relations(it item, where string, parent *item) {
	under := func(rule, relation string, source ...string) {
		switch {
		case it.relation != relation:
			c.say(where, rule, "stands in relationship "+it.relation+", not "+relation)
		case parent == nil || !slices.Contains(source, parent.kind):
			c.say(where, rule, "does not stand under "+strings.Join(source, " or "))
		}
	}
	expect := func(rule, kind string) {
		if it.kind != kind {
			c.say(where, rule, "is "+it.kind+", not "+kind)
		}
	}
	switch {
	case it.concept.is(plusMinus), it.concept.is(plusOnly), it.concept.is(minusOnly):
		under("TID 310 row 6", hasProperty, typeNum)
		expect("TID 310 row 6", typeNum)
		if parent != nil && !it.unit.is(parent.unit) {
			c.say(where, "TID 310 row 6", "is in "+it.unit.value+", its measurement in "+parent.unit.value)
		}
		if it.number < 0 {
			c.say(where, "TID 310 row 6", fmt.Sprintf("is negative: %g", it.number))
		}
	case it.concept.is(coverage), it.concept.is(lowerLimit), it.concept.is(upperLimit), it.concept.is(standardU), it.concept.is(halfWidth):
		under("report row: interval", hasProperty, typeNum)
		expect("report row: interval", typeNum)
		if want := unitPercent; it.concept.is(coverage) && (!it.unit.is(want) || it.number != 95) {
			c.say(where, "report row: coverage", "is not 95 %")
		} else if !it.concept.is(coverage) && parent != nil && !it.unit.is(parent.unit) {
			c.say(where, "report row: interval", "is in "+it.unit.value+", its measurement in "+parent.unit.value)
		}
	case it.concept.is(findingSite):
		under("TID 300 row 5", hasModifier, typeNum, typeContainer)
		expect("TID 300 row 5", typeCode)
	case it.concept.is(laterality):
		under("TID 300 row 6", hasModifier, typeCode)
		expect("TID 300 row 6", typeCode)
		if parent != nil && !parent.concept.is(findingSite) {
			c.say(where, "TID 300 row 6", "does not stand under a Finding Site")
		}
		if _, ok := lateralities.word(it.value); !ok {
			c.say(where, "TID 300 row 6", it.value.String()+" is none of left, right and median (CID 244 and 245)")
		}
	case it.concept.is(siteModifier):
		under("TID 300 row 7", hasModifier, typeCode)
	case it.concept.is(trackingID), it.concept.is(trackingUID):
		under("TID 1501 rows 2 and 3", hasContext, typeContainer)
	case it.concept.is(language):
		under("TID 1204 row 1", hasModifier, typeContainer)
	case it.concept.is(pixelDataRows), it.concept.is(pixelDataColumns):
		expect("TID 1602", typeNum)
		if !it.unit.is(unitPixels) {
			c.say(where, "TID 1602", "is not in {pixels}")
		}
	}
}

// number: units are UCUM's, of those the report uses; the points of a mark's
// count are where it says (TID 320).
func (c *checker) number(it item, where string, parent *item) {
	known := []code{unitMM, unitDegree, unitPixels, unitNone, unitPercent, unitMMPerPixel}
	known = append(append(known, unitOhm), stimulationUnits...)
	for _, u := range consoleUnits {
		known = append(known, u)
	}
	if !slices.ContainsFunc(known, it.unit.is) {
		c.say(where, "PS3.16 7.2.2", "unit "+it.unit.String()+" is not a UCUM unit of this report")
	}
	if !it.concept.is(pointCount) {
		return
	}
	var coords []item
	for _, k := range it.children {
		if k.kind == typeCoord && k.relation == inferredFrom {
			coords = append(coords, k)
		}
	}
	if len(coords) != 1 {
		c.say(where, "TID 320 row 3", fmt.Sprintf("a mark has %d sets of coordinates", len(coords)))
		return
	}
	points := coords[0].points
	n := len(points)
	if n > 3 && points[0] == points[n-1] && it.number == float64(n-1) {
		return // a closed outline
	}
	if it.number != float64(n) {
		c.say(where, "report row: points", fmt.Sprintf("says %g points, holds %d", it.number, n))
	}
}
