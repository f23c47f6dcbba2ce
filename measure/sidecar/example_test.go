package sidecar_test

import (
	"fmt"
	"os"
	"time"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
	"leadline/measure/sidecar"
)

// One observer's mark on one frame, saved, and read again by anybody.
func ExampleStore() {
	dir, err := os.MkdirTemp("", "case")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	images := []*imaging.Header{{
		SOPClass: "1.2.840.10008.5.1.4.1.1.12.1", SOPInstance: "2.25.11", Series: "2.25.12", Study: "2.25.13",
		Modality: "XA", Columns: 1024, Rows: 1024, Frames: 1,
	}}

	store, err := sidecar.Lock(dir, "reader-1")
	if err != nil {
		fmt.Println(err)
		return
	}
	report, _, err := store.Load(images)
	if err != nil {
		fmt.Println(err)
		return
	}
	report.Book.Marks = append(report.Book.Marks, mark.Mark{
		Frame: mark.One("2.25.11", 1), Structure: mark.Promontory, Points: []r2.Vec{{X: 420.5, Y: 170}}, Origin: mark.ByHand,
	})
	report.Book.Statements = append(report.Book.Statements, mark.Statement{
		Observer: "reader-1", When: time.Date(2025, 3, 14, 20, 0, 0, 0, time.UTC), Frame: mark.One("2.25.11", 1), View: imaging.Lateral,
	})
	if err := store.Save(&report); err != nil {
		fmt.Println(err)
		return
	}
	store.Close()

	again, found, err := sidecar.Load(dir, "reader-1", images)
	m := again.Book.Marks[0]
	fmt.Println(found, err, again.Revision, m.Structure, m.Points, again.Book.Statements[0].View)
	// Output: true <nil> 1 promontory [{420.5 170}] lateral
}
