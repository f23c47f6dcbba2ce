"""Writes phantom-like frames, with pydicom, of every depth that encoders are
tried with, and beside each the sample values that went in.

usage: matrix.py FOLDER
"""
import os
import sys

import numpy as np
from pydicom.dataset import FileDataset, FileMetaDataset
from pydicom.uid import ExplicitVRLittleEndian

OUT = sys.argv[1]
for stored in (8, 10, 12, 16):
    for signed in (False, True):
        for rows, cols in ((61, 47), (1, 53), (37, 1)):
            name = "%d%s-%dx%d" % (stored, "s" if signed else "u", cols, rows)
            lo, hi = (-(1 << (stored - 1)), 1 << (stored - 1)) if signed else (0, 1 << stored)
            y, x = np.mgrid[0:rows, 0:cols]
            shade = 0.3 + 0.5 * x / cols - 0.2 * y / rows  # a soft part, denser to one side
            shade[(x - cols / 3) ** 2 + (y - rows / 2) ** 2 < 120] += 0.25  # a bone
            shade[np.abs(x + y / 2 - cols / 2) < 2] = 0.05  # a needle
            noise = np.random.default_rng(stored).normal(0, 0.01, shade.shape)
            values = np.clip(lo + (hi - lo) * (shade + noise), lo, hi - 1).astype(np.int64)
            values.flat[0], values.flat[1] = lo, hi - 1
            sop = "1.2.840.10008.5.1.4.1.1.12.1"
            meta = FileMetaDataset()
            meta.MediaStorageSOPClassUID = sop
            meta.MediaStorageSOPInstanceUID = "2.25.%d" % (4000 + stored * 2 + signed)
            meta.TransferSyntaxUID = ExplicitVRLittleEndian
            ds = FileDataset(name, {}, file_meta=meta, preamble=b"\0" * 128)
            ds.is_little_endian, ds.is_implicit_VR = True, False
            ds.SOPClassUID, ds.SOPInstanceUID = sop, meta.MediaStorageSOPInstanceUID
            ds.StudyInstanceUID, ds.SeriesInstanceUID = "2.25.7", "2.25.8"
            ds.Modality, ds.PatientName, ds.PatientID = "XA", "Invented^Ina", "T1"
            ds.SamplesPerPixel, ds.PhotometricInterpretation = 1, "MONOCHROME2"
            ds.Rows, ds.Columns = rows, cols
            ds.BitsAllocated, ds.BitsStored, ds.HighBit = 8 if stored == 8 else 16, stored, stored - 1
            ds.PixelRepresentation = int(signed)
            raw = (values & ((1 << stored) - 1)).astype("<u1" if stored == 8 else "<u2").tobytes()
            ds.PixelData = raw + b"\0" * (len(raw) % 2)
            ds["PixelData"].VR = "OB" if stored == 8 else "OW"
            ds.save_as(os.path.join(OUT, name + ".dcm"), write_like_original=False)
            values.astype("<i4").tofile(os.path.join(OUT, name + ".values"))
