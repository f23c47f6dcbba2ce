"""Decodes every file with an image that pydicom ships, with pydicom itself or
else after dcmtk or gdcm have decompressed it, and writes the values as 32-bit
numbers: stored values of grayscale, R, G, B of colour.

usage: shipped.py FOLDER
"""
import glob
import json
import os
import subprocess
import sys
import warnings

import numpy as np
import pydicom
import pydicom.data
from pydicom.pixel_data_handlers.util import convert_color_space

OUT = sys.argv[1]
FOLDER = os.path.join(os.path.dirname(pydicom.data.__file__), "test_files")
warnings.filterwarnings("ignore")


def picture(path):
    ds = pydicom.dcmread(path, force=True)
    a = ds.pixel_array
    if ds.SamplesPerPixel == 3 and ds.PhotometricInterpretation.startswith("YBR_FULL"):
        a = convert_color_space(a, "YBR_FULL", "RGB")
    return ds, a


# Called RGB in the header, and YCbCr with halved colours in the stream: dcmtk is
# told to convert.
CONVERT = ["SC_rgb_jpeg_lossy_gdcm.dcm"]


def decoded(path):
    try:
        return (*picture(path), "pydicom")
    except Exception:
        pass
    for how in (["dcmdjpeg", "+cl"] if os.path.basename(path) in CONVERT else ["dcmdjpeg"], ["dcmdjpls"], ["gdcmconv", "--raw"]):
        plain = os.path.join(OUT, "plain.dcm")
        if os.path.exists(plain):
            os.remove(plain)
        if subprocess.run([*how, path, plain], capture_output=True).returncode == 0 and os.path.exists(plain):
            try:
                return (*picture(plain), how[0])
            except Exception:
                pass
    return None, None, ""


files = []
for path in sorted(glob.glob(os.path.join(FOLDER, "*.dcm"))):
    try:
        if "PixelData" not in pydicom.dcmread(path, force=True):
            continue
    except Exception:
        continue
    ds, a, how = decoded(path)
    name = os.path.basename(path)
    one = dict(name=name, path=path, how=how)
    if how:
        one["samples"], one["frames"] = int(ds.SamplesPerPixel), int(ds.get("NumberOfFrames") or 1)
        a.astype(np.int64).astype("<i4").tofile(os.path.join(OUT, name + ".values"))
    files.append(one)
json.dump(files, open(os.path.join(OUT, "shipped.json"), "w"))
