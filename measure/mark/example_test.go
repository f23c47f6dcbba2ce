package mark_test

import (
	"fmt"
	"os"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"leadline/imaging"
	"leadline/measure/mark"
)

func ExampleReadCSV() {
	film := &imaging.Header{SOPInstance: "1.2.3", Columns: 1024, Rows: 1024, Frames: 1}
	marks, err := mark.ReadCSV(strings.NewReader(`instance,frame,structure,level,side,object,index,x,y
lateral.dcm,1,needle,S3,,N1,0,310.5,120
lateral.dcm,1,needle,S3,,N1,1,405.25,388
`), func(string) (*imaging.Header, bool) { return film, true })
	fmt.Println(marks[0].Structure, marks[0].Object, marks[0].Level, marks[0].Points, err)
	_, err = mark.ReadCSV(strings.NewReader(`instance,frame,structure,level,side,object,index,x,y
lateral.dcm,1,needle,S3,,N1,0,310.5,1240
`), func(string) (*imaging.Header, bool) { return film, true })
	fmt.Println(err)
	// Output:
	// needle N1 S3 [{310.5 120} {405.25 388}] <nil>
	// line 2: y 1240 lies outside the image: it is 0 to 1024 here
}

func ExampleWriteCSV() {
	marks := []mark.Mark{{Frame: mark.One("1.2.3", 1), Structure: mark.Promontory, Points: []r2.Vec{{X: 512.5, Y: 88}}}}
	mark.WriteCSV(os.Stdout, marks, func(string) string { return "lateral.dcm" })
	// Output:
	// instance,frame,structure,level,side,object,index,x,y,sd,origin,detail
	// lateral.dcm,1,promontory,,,,0,512.5,88,,hand,
}

func ExampleRead() {
	film := mark.One("1.2.3", 1)
	g := imaging.Geometry{
		PrimaryAngle: imaging.Known(180), SecondaryAngle: imaging.Known(0),
		PatientPosition: "HFP",
	}
	r := mark.Read(film, g, mark.Book{})
	fmt.Println(r.PatientLeft, "-", r.LeftSource)
	d := mark.DecideSide("N1", r, r2.Vec{X: -60}, true, mark.Book{})
	fmt.Println(d.Side, d.Confirmed)

	book := mark.Book{Statements: []mark.Statement{{Observer: "Ann", Frame: film, PatientLeft: imaging.Right, SideBasis: mark.LeadMarker}}}
	r = mark.Read(film, g, book)
	d = mark.DecideSide("N1", r, r2.Vec{X: -60}, true, book)
	fmt.Println(d.Side, d.Confirmed, "-", d.Source)
	// Output:
	// left - positioner angles, Patient Position: from header, not confirmed
	// left false
	// right true - lead marker in the field, confirmed by Ann; the header says otherwise: at the left edge by positioner angles and Patient Position
}
