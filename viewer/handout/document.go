package handout

import (
	"bytes"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"leadline/measure/sidecar"
)

// Document is the sheet as an Encapsulated PDF object (PS3.3 A.45.1). It refuses
// what WriteSheet refuses.
func Document(r sidecar.Report, films []Picture) (dicom.Dataset, error) {
	var pdf bytes.Buffer
	if err := WriteSheet(&pdf, r, films); err != nil {
		return dicom.Dataset{}, err
	}
	length := pdf.Len()
	if length%2 != 0 {
		pdf.WriteByte(0) // PS3.5 8.2: values are of even length
	}
	return dataset(append(common(r, printedKind, 1), []attribute{
		{tag.ConversionType, one("WSD")},
		{tag.ContentDate, one(r.Changed.UTC().Format("20060102"))},
		{tag.ContentTime, one(r.Changed.UTC().Format("150405"))},
		{tag.TimezoneOffsetFromUTC, one("+0000")},
		{tag.AcquisitionDateTime, one("")},
		{tag.BurnedInAnnotation, one("YES")},
		{tag.SourceInstanceSequence, sources(films)},
		{tag.DocumentTitle, one("Placement sheet. " + version(r))},
		{tag.ConceptNameCodeSequence, [][]attribute{}},
		{tag.MIMETypeOfEncapsulatedDocument, one("application/pdf")},
		{tag.EncapsulatedDocument, pdf.Bytes()},
		{tag.EncapsulatedDocumentLength, []int{length}},
	}...))
}
