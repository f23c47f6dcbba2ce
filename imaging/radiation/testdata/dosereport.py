"""Writes an X-Ray Radiation Dose SR by PS3.16 TID 10001 with pydicom.

dosereport.py OUT.dcm [plane ...]: one Accumulated X-Ray Dose Data container for
each plane named (a code of CID 10003), three irradiation events. All values are
invented; those of the n-th plane are n times those of the first.
"""
import sys

from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.sequence import Sequence
from pydicom.uid import ExplicitVRLittleEndian, ImplicitVRLittleEndian

PLANES = {"113622": "Single Plane", "113620": "Plane A", "113621": "Plane B"}


def code(value, scheme, meaning):
    d = Dataset()
    d.CodeValue, d.CodingSchemeDesignator, d.CodeMeaning = value, scheme, meaning
    return d


def item(relation, kind, concept, children=()):
    d = Dataset()
    if relation:
        d.RelationshipType = relation
    d.ValueType = kind
    d.ConceptNameCodeSequence = Sequence([concept])
    if kind == "CONTAINER":
        d.ContinuityOfContent = "SEPARATE"
    if children:
        d.ContentSequence = Sequence(children)
    return d


def coded(relation, concept, value, children=()):
    d = item(relation, "CODE", concept, children)
    d.ConceptCodeSequence = Sequence([value])
    return d


def num(concept, value, unit, meaning):
    d = item("CONTAINS", "NUM", concept)
    m = Dataset()
    m.NumericValue = value
    m.MeasurementUnitsCodeSequence = Sequence([code(unit, "UCUM", meaning)])
    d.MeasuredValueSequence = Sequence([m])
    return d


def dcm(value, meaning):
    return code(value, "DCM", meaning)


def accumulated(plane, n):
    return item("CONTAINS", "CONTAINER", dcm("113702", "Accumulated X-Ray Dose Data"), [
        coded("HAS CONCEPT MOD", dcm("113764", "Acquisition Plane"), dcm(plane, PLANES[plane])),
        num(dcm("113722", "Dose Area Product Total"), str(n * 0.000123), "Gy.m2", "Gy.m2"),
        num(dcm("113725", "Dose (RP) Total"), str(n * 0.0035), "Gy", "Gy"),
        num(dcm("113726", "Fluoro Dose Area Product Total"), str(n * 0.0001), "Gy.m2", "Gy.m2"),
        num(dcm("113730", "Total Fluoro Time"), str(n * 62), "s", "s"),
        num(dcm("113731", "Total Number of Radiographic Frames"), str(n * 7), "1", "no units"),
    ])


def event(kind):
    uid = item("CONTAINS", "UIDREF", dcm("113769", "Irradiation Event UID"))
    uid.UID = "2.25.77"
    return item("CONTAINS", "CONTAINER", dcm("113706", "Irradiation Event X-Ray Data"),
                [uid, coded("CONTAINS", dcm("113721", "Irradiation Event Type"), kind)])


def main(out, planes, implicit):
    fluoro = code("44491008", "SCT", "Fluoroscopy")
    shot = dcm("113611", "Stationary Acquisition")
    ds = item("", "CONTAINER", dcm("113701", "X-Ray Radiation Dose Report"), [
        coded("CONTAINS", dcm("121058", "Procedure reported"), dcm("113704", "Projection X-Ray"),
              [coded("HAS CONCEPT MOD", code("363703001", "SCT", "Has Intent"), code("261004008", "SCT", "Diagnostic Intent"))]),
        coded("HAS OBS CONTEXT", dcm("113705", "Scope of Accumulation"), dcm("113014", "Study")),
    ] + [accumulated(p, n + 1) for n, p in enumerate(planes)] + [event(fluoro), event(fluoro), event(shot)])
    template = Dataset()
    template.MappingResource, template.TemplateIdentifier = "DCMR", "10001"
    ds.ContentTemplateSequence = Sequence([template])
    ds.SOPClassUID, ds.SOPInstanceUID = "1.2.840.10008.5.1.4.1.1.88.67", "2.25.71"
    ds.StudyInstanceUID, ds.SeriesInstanceUID = "2.25.1", "2.25.72"
    ds.PatientName, ds.PatientID, ds.PatientBirthDate, ds.PatientSex = "TEST^FILM", "T-1", "", ""
    ds.StudyDate, ds.StudyTime, ds.StudyID, ds.AccessionNumber, ds.ReferringPhysicianName = "20260102", "101500", "", "", ""
    ds.Modality, ds.SeriesNumber, ds.InstanceNumber = "SR", "9", "1"
    ds.Manufacturer = "Invented"
    ds.ContentDate, ds.ContentTime = "20260102", "113000"
    ds.CompletionFlag, ds.VerificationFlag = "COMPLETE", "UNVERIFIED"
    ds.ReferencedPerformedProcedureStepSequence = Sequence([])
    ds.PerformedProcedureCodeSequence = Sequence([])
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID, meta.MediaStorageSOPInstanceUID = ds.SOPClassUID, ds.SOPInstanceUID
    meta.TransferSyntaxUID = ImplicitVRLittleEndian if implicit else ExplicitVRLittleEndian
    ds.file_meta = meta
    ds.is_little_endian, ds.is_implicit_VR = True, implicit
    ds.save_as(out, write_like_original=False)


if __name__ == "__main__":
    args = [a for a in sys.argv[2:] if a not in ("", "implicit")]
    main(sys.argv[1], args or ["113622"], "implicit" in sys.argv)
