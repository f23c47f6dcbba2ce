"""Writes the images that the tests of dicomfile read, with pydicom, and beside
each the sample values that went in, so that the reader is checked against a
library it shares nothing with.

usage: fixtures.py FOLDER
"""
import json
import os
import sys

import numpy as np
import pydicom
from pydicom.dataelem import RawDataElement
from pydicom.dataset import Dataset, FileDataset, FileMetaDataset
from pydicom.tag import Tag
from pydicom.uid import ExplicitVRLittleEndian

OUT = sys.argv[1]
XA = "1.2.840.10008.5.1.4.1.1.12.1"
RF = "1.2.840.10008.5.1.4.1.1.12.2"
CR = "1.2.840.10008.5.1.4.1.1.1"
DX = "1.2.840.10008.5.1.4.1.1.1.1"
SC = "1.2.840.10008.5.1.4.1.1.7"
SC_BYTE = "1.2.840.10008.5.1.4.1.1.7.2"
SC_WORD = "1.2.840.10008.5.1.4.1.1.7.3"
manifest = []


def blank(name, sop_class):
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = sop_class
    meta.MediaStorageSOPInstanceUID = "2.25.%d" % (1000 + len(manifest))
    meta.TransferSyntaxUID = ExplicitVRLittleEndian
    ds = FileDataset(name, {}, file_meta=meta, preamble=b"\0" * 128)
    ds.is_little_endian, ds.is_implicit_VR = True, False
    ds.SOPClassUID = sop_class
    ds.SOPInstanceUID = meta.MediaStorageSOPInstanceUID
    ds.StudyInstanceUID, ds.SeriesInstanceUID = "2.25.7", "2.25.8"
    ds.Modality = "XA"
    ds.PatientName, ds.PatientID = "Invented^Ina", "T1"
    return ds


def image(name, sop_class, alloc, stored, high, signed, photometric, frames, rows, cols, vr=None, film=False):
    rng = np.random.default_rng(len(manifest))
    shape = (frames, rows, cols)
    lo, hi = (-(1 << (stored - 1)), 1 << (stored - 1)) if signed else (0, 1 << stored)
    values = rng.integers(lo, hi, size=shape, dtype=np.int64)
    if film:  # what compression is made for: slow change and a little noise
        n, y, x = np.mgrid[0:frames, 0:rows, 0:cols]
        shade = 0.5 + 0.45 * np.sin(x / 9.0 + n) * np.cos(y / 13.0)
        values = np.clip(lo + (hi - lo) * shade + rng.normal(0, (hi - lo) / 150, shape), lo, hi - 1).astype(np.int64)
    values.flat[0], values.flat[1] = lo, hi - 1
    bits = (values & ((1 << stored) - 1)) << (high + 1 - stored)
    # Rubbish in the bits that hold no sample, as old overlays leave there.
    outside = ((1 << alloc) - 1) ^ (((1 << stored) - 1) << (high + 1 - stored))
    if outside and "dirty" in name:
        bits |= rng.integers(0, 1 << alloc, size=bits.shape) & outside
    ds = blank(name, sop_class)
    ds.SamplesPerPixel, ds.PhotometricInterpretation = 1, photometric
    ds.Rows, ds.Columns = rows, cols
    ds.BitsAllocated, ds.BitsStored, ds.HighBit = alloc, stored, high
    ds.PixelRepresentation = int(signed)
    if frames > 1:
        ds.NumberOfFrames = frames
    raw = bits.astype("<u1" if alloc == 8 else "<u2").tobytes()
    ds.PixelData = raw + b"\0" * (len(raw) % 2)
    ds["PixelData"].VR = vr or ("OB" if alloc == 8 else "OW")
    ds.save_as(os.path.join(OUT, name + ".dcm"), write_like_original=False)
    values.astype("<i4").tofile(os.path.join(OUT, name + ".values"))
    manifest.append(dict(name=name, rows=rows, columns=cols, frames=frames, high=high, stored=stored))


for alloc, stored in ((8, 8), (8, 6), (16, 8), (16, 10), (16, 12), (16, 14), (16, 16)):
    for signed in (False, True):
        image("a%ds%d%s" % (alloc, stored, "s" if signed else "u"), SC_BYTE if alloc == 8 else SC_WORD, alloc, stored, stored - 1, signed,
              "MONOCHROME1" if signed else "MONOCHROME2", 3, 5, 7)
for alloc, stored, signed in ((8, 8, False), (8, 8, True), (16, 10, False), (16, 12, False), (16, 12, True), (16, 16, False), (16, 16, True)):
    image("film%d-%d%s" % (alloc, stored, "s" if signed else "u"), SC_BYTE if alloc == 8 else SC_WORD, alloc, stored, stored - 1, signed,
          "MONOCHROME2", 3, 53, 37, film=True)
for name, cls in (("xa", XA), ("rf", RF), ("cr", CR), ("dx", DX), ("sc", SC)):
    image(name, cls, 16, 12, 11, False, "MONOCHROME2", 1, 6, 4)
image("shift12", XA, 16, 12, 15, False, "MONOCHROME2", 2, 4, 6)
image("shift10s-dirty", XA, 16, 10, 13, True, "MONOCHROME2", 2, 4, 6)
image("dirty", CR, 16, 10, 9, False, "MONOCHROME1", 1, 8, 8)
image("words8", SC_BYTE, 8, 8, 7, False, "MONOCHROME2", 3, 5, 7, vr="OW")
image("one-pixel", SC, 8, 8, 7, False, "MONOCHROME2", 1, 1, 3)

NAMES = {
    "ISO_IR 100": "Müller^Jürgen",
    "ISO_IR 101": "Wałęsa^Łukasz",
    "ISO_IR 109": "Ĝŭst^Ĥo",
    "ISO_IR 110": "Ķēniņš^Ģirts",
    "ISO_IR 144": "Люкceмбypг^Анна",
    "ISO_IR 127": "قباني^لنزار",
    "ISO_IR 126": "Διονυσιος^Α",
    "ISO_IR 138": "שרון^דבורה",
    "ISO_IR 148": "Çavuşoğlu^İpek",
    "ISO_IR 166": "นามสกุล^ชื่อ",
    "ISO_IR 192": "Wang^XiaoDong=王^小东",
    "GB18030": "Wang^XiaoDong=王^小东",
    "ISO_IR 13": "ﾔﾏﾀﾞ^ﾀﾛｳ",
    "\\ISO 2022 IR 87": "Yamada^Tarou=山田^太郎=やまだ^たろう",
    "ISO 2022 IR 13\\ISO 2022 IR 87": "ﾔﾏﾀﾞ^ﾀﾛｳ=山田^太郎=やまだ^たろう",
    "\\ISO 2022 IR 149": "Hong^Gildong=洪^吉洞=홍^길동",
    "ISO 2022 IR 100\\ISO 2022 IR 144": "Müller^Ян",
}
# pydicom 2.3 leaves the escape sequence of this one out; these are the bytes of
# the example in PS3.5 K.2.
RAW = {"\\ISO 2022 IR 58": (b"Zhang^XiaoDong=\x1b$)A\xd5\xc5^\x1b$)A\xd0\xa1\xb6\xab=", "Zhang^XiaoDong=张^小东=")}
charsets = []
for i, (terms, person) in enumerate([*NAMES.items(), *RAW.items()]):
    ds = blank("charset", SC)
    ds.SpecificCharacterSet = terms.split("\\")
    if isinstance(person, tuple):
        data, person = person
        ds[0x00100010] = RawDataElement(Tag(0x00100010), "PN", len(data), data, 0, False, True)
    else:
        ds.PatientName = person
    ds.SamplesPerPixel, ds.PhotometricInterpretation, ds.Rows, ds.Columns = 1, "MONOCHROME2", 1, 2
    ds.BitsAllocated, ds.BitsStored, ds.HighBit, ds.PixelRepresentation = 8, 8, 7, 0
    ds.PixelData = b"\1\2"
    ds["PixelData"].VR = "OB"
    path = os.path.join(OUT, "charset%d.dcm" % i)
    ds.save_as(path, write_like_original=False)
    charsets.append(dict(file="charset%d.dcm" % i, terms=terms, name=person))

ds = blank("full", XA)
ds.SpecificCharacterSet = "ISO_IR 192"
ds.PatientName, ds.PatientID, ds.PatientBirthDate, ds.PatientSex = "Erfunden^Zoë", "ID 7", "19600229", "F"
ds.StudyDate, ds.StudyTime, ds.StudyID, ds.AccessionNumber = "20260103", "101500", "S9", "A12"
ds.StudyDescription, ds.SeriesDescription, ds.ReferringPhysicianName = "Prüfung", "Seitlich", "Arzt^A"
ds.SeriesNumber, ds.InstanceNumber = 3, 12
ds.AcquisitionDate, ds.AcquisitionTime = "20260103", "101733.250"
ds.ContentDate, ds.ContentTime = "20260104", "000000"
ds.Manufacturer, ds.InstitutionName = "Maker", "Haus"
ds.FrameOfReferenceUID = "2.25.99"
ds.SamplesPerPixel, ds.PhotometricInterpretation, ds.Rows, ds.Columns, ds.NumberOfFrames = 1, "MONOCHROME1", 2, 3, 2
ds.BitsAllocated, ds.BitsStored, ds.HighBit, ds.PixelRepresentation = 16, 12, 11, 1
ds.add_new(0x00280120, "SS", -2048)
ds.add_new(0x00280121, "SS", -2040)
ds.PixelIntensityRelationship = "LOG"
ds.RescaleSlope, ds.RescaleIntercept, ds.RescaleType = "0.5", "-3", "US"
ds.WindowCenter, ds.WindowWidth = ["100.5", "-20"], ["400", "60.25"]
ds.WindowCenterWidthExplanation = ["weich", "Knöchern"]
ds.VOILUTFunction = "SIGMOID"
ds.PresentationLUTShape = "INVERSE"
voi = Dataset()
voi.add_new(0x00283002, "SS", [4, -2, 12])
voi.LUTExplanation = "Röhre"
voi.add_new(0x00283006, "US", [0, 100, 2000, 4095])
ds.VOILUTSequence = [voi]
ds.FrameTime, ds.CineRate, ds.RecommendedDisplayFrameRate = "66.7", 15, 12
ds.PixelSpacing, ds.ImagerPixelSpacing, ds.NominalScannedPixelSpacing = ["0.30", "0.25"], ["0.4", "0.35"], ["0.2", "0.1"]
ds.PixelAspectRatio = [6, 5]
ds.PixelSpacingCalibrationType = "GEOMETRY"
ds.EstimatedRadiographicMagnificationFactor = "1.4"
ds.DistanceSourceToDetector, ds.DistanceSourceToPatient = "1000", "714.3"
ds.PositionerPrimaryAngle, ds.PositionerSecondaryAngle = "-88.5", "2.5"
ds.PositionerPrimaryAngleIncrement, ds.PositionerSecondaryAngleIncrement = ["0", "1.5"], ["0", "-0.5"]
ds.FieldOfViewRotation, ds.FieldOfViewHorizontalFlip = "90", "YES"
ds.PatientOrientation, ds.PatientPosition, ds.ViewPosition = ["A", "FR"], "HFP", "LL"
# What a reader must find its way past: private data, nested sequences of
# defined and undefined length, and an icon with pixel data of its own.
icon = Dataset()
icon.Rows, icon.Columns, icon.SamplesPerPixel, icon.PhotometricInterpretation = 2, 2, 1, "MONOCHROME2"
icon.BitsAllocated, icon.BitsStored, icon.HighBit, icon.PixelRepresentation = 8, 8, 7, 0
icon.add_new(0x7FE00010, "OB", b"\xff\xff\xff\xff")
ds.IconImageSequence = [icon]
inner = Dataset()
inner.CodeValue, inner.CodingSchemeDesignator, inner.CodeMeaning = "54735007", "SCT", "Sacrum"
mod = Dataset()
mod.AnatomicRegionModifierSequence = [inner]
ds.AnatomicRegionSequence = [mod]
ds["AnatomicRegionSequence"].is_undefined_length = True
block = ds.private_block(0x0019, "LEADLINE TEST", create=True)
block.add_new(1, "LO", "kept private")
block.add_new(2, "SQ", [inner])
ds.PixelData = np.arange(12, dtype="<i2").tobytes()
ds["PixelData"].VR = "OW"
ds.save_as(os.path.join(OUT, "full.dcm"), write_like_original=False)

json.dump(dict(images=manifest, charsets=charsets), open(os.path.join(OUT, "manifest.json"), "w"))
