package desk

import (
	"fmt"
	"time"

	"leadline/imaging"
	"leadline/measure/mark"
)

// suggestViews asks, when a case is opened that nobody has said anything about
// yet, whether the views read from the headers are right.
func (d *Desk) suggestViews() {
	if len(d.now.book.Marks) > 0 || len(d.now.book.Statements) > 0 {
		return
	}
	var words string
	var known []PaneID
	for _, p := range []PaneID{FrontalPane, LateralPane} {
		ref := d.panes[p].Ref
		if ref.Instance == "" {
			continue
		}
		r := d.Reading(ref)
		if words != "" {
			words += "; "
		}
		if r.View == imaging.NoView {
			words += d.fileOf(ref) + ": not known"
			continue
		}
		words += fmt.Sprintf("%s: %s, by %s", d.fileOf(ref), r.View, r.ViewSource)
		known = append(known, p)
	}
	if len(known) == 0 {
		return
	}
	d.question = &Question{Title: "Are these the views?", Detail: words + ".",
		Choices: []Choice{{"Enter", "yes: confirm"}, {"v", "no: state the view of the film in focus"}},
		answer: func(key string) {
			if key == "v" {
				d.AskView()
				return
			}
			d.confirmViews(known)
		}}
}

// confirmViews states the views that the panes are shown with, as one change.
func (d *Desk) confirmViews(known []PaneID) {
	d.remember("views confirmed")
	for _, p := range known {
		ref := d.panes[p].Ref
		d.now.book = withStatement(d.now.book, mark.Statement{Frame: d.statedFor(ref), View: d.Reading(ref).View,
			Observer: d.Observer(), When: d.cfg.Now().UTC().Truncate(time.Second)})
	}
	d.changed()
	d.say("Kept: views confirmed.")
}
