"""Writes images with overlays and in colour with pydicom, and beside each what
pydicom makes of it: overlay_array, convert_color_space, apply_color_lut.

usage: display.py FOLDER
"""
import json
import os
import sys

import numpy as np
import pydicom
from pydicom.dataset import FileDataset, FileMetaDataset
from pydicom.pixel_data_handlers.numpy_handler import pack_bits
from pydicom.pixel_data_handlers.util import apply_color_lut, convert_color_space
from pydicom.uid import ExplicitVRLittleEndian

OUT = sys.argv[1]
rng = np.random.default_rng(11)
overlays, colours = [], []


def blank(name, frames, rows, cols, samples, photometric, stored, alloc):
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.1.1.7.%d" % (4 if samples == 3 else 3) if frames > 1 else "1.2.840.10008.5.1.4.1.1.7"
    meta.MediaStorageSOPInstanceUID = "2.25.%d" % (5000 + len(overlays) + 100 * len(colours))
    meta.TransferSyntaxUID = ExplicitVRLittleEndian
    ds = FileDataset(name, {}, file_meta=meta, preamble=b"\0" * 128)
    ds.is_little_endian, ds.is_implicit_VR = True, False
    ds.SOPClassUID, ds.SOPInstanceUID = meta.MediaStorageSOPClassUID, meta.MediaStorageSOPInstanceUID
    ds.StudyInstanceUID, ds.SeriesInstanceUID, ds.Modality = "2.25.7", "2.25.8", "OT"
    ds.SamplesPerPixel, ds.PhotometricInterpretation, ds.Rows, ds.Columns = samples, photometric, rows, cols
    ds.BitsAllocated, ds.BitsStored, ds.HighBit, ds.PixelRepresentation = alloc, stored, stored - 1, 0
    if frames > 1:
        ds.NumberOfFrames = frames
    return ds


def pixels(ds, raw):
    ds.PixelData = raw + b"\0" * (len(raw) % 2)
    ds["PixelData"].VR = "OW" if ds.BitsAllocated > 8 else "OB"


def over(ds, group, rows, cols, frames, origin=(1, 1), first=None, number=None, kind="G", label=""):
    bits = rng.integers(0, 2, size=(frames, rows, cols), dtype=np.uint8)
    ds.add_new((group, 0x0010), "US", rows)
    ds.add_new((group, 0x0011), "US", cols)
    if number is not None:
        ds.add_new((group, 0x0015), "IS", number)
    ds.add_new((group, 0x0022), "LO", "drawn at %04X" % group)
    ds.add_new((group, 0x0040), "CS", kind)
    ds.add_new((group, 0x0050), "SS", list(origin))
    if first is not None:
        ds.add_new((group, 0x0051), "US", first)
    ds.add_new((group, 0x0100), "US", 1)
    ds.add_new((group, 0x0102), "US", 0)
    ds.add_new((group, 0x1500), "LO", label)
    packed = pack_bits(bits.ravel())
    ds.add_new((group, 0x3000), "OW", packed + b"\0" * (len(packed) % 2))
    return bits


def keep(ds, name, planes):
    """planes: group, bits (frames, rows, cols), first frame or 0 for all, origin, embedded"""
    path = os.path.join(OUT, name + ".dcm")
    ds.save_as(path, write_like_original=False)
    told = []
    for group, bits, first, origin, embedded, kind, label in planes:
        if not embedded:
            back = pydicom.dcmread(path).overlay_array(group)
            assert np.array_equal(back.reshape(bits.shape), bits), name
        told.append(dict(group=group, frames=bits.shape[0], rows=bits.shape[1], columns=bits.shape[2], first=first, top=origin[0] - 1, left=origin[1] - 1,
                         type={"G": "GRAPHICS", "R": "ROI"}[kind], label=label, bits="".join(map(str, bits.ravel()))))
    overlays.append(dict(name=name, frames=int(ds.get("NumberOfFrames") or 1), planes=told))


def gray(frames, rows, cols, stored=12):
    return rng.integers(1, (1 << stored) - 1, size=(frames, rows, cols)).astype("<u2")


ds = blank("overlays-one", 1, 21, 17, 1, "MONOCHROME2", 12, 16)
pixels(ds, gray(1, 21, 17).tobytes())
keep(ds, "overlays-one", [
    (0x6000, over(ds, 0x6000, 21, 17, 1, label="side"), 0, (1, 1), False, "G", "side"),
    (0x6002, over(ds, 0x6002, 7, 13, 1, (3, 2)), 0, (3, 2), False, "G", ""),
    (0x600A, over(ds, 0x600A, 30, 25, 1, (-4, -2), kind="R", label="field"), 0, (-4, -2), False, "R", "field"),
    (0x601E, over(ds, 0x601E, 1, 1, 1, (21, 17), 1, 1), 0, (21, 17), False, "G", "")])

ds = blank("overlays-run", 4, 9, 11, 1, "MONOCHROME2", 12, 16)
pixels(ds, gray(4, 9, 11).tobytes())
keep(ds, "overlays-run", [
    (0x6000, over(ds, 0x6000, 9, 11, 4, number=4), 1, (1, 1), False, "G", ""),
    (0x6002, over(ds, 0x6002, 5, 3, 2, (2, 2), first=3, number=2), 3, (2, 2), False, "G", ""),
    (0x6004, over(ds, 0x6004, 9, 11, 1, first=2, number=1), 2, (1, 1), False, "G", ""),
    (0x6006, over(ds, 0x6006, 9, 11, 1), 0, (1, 1), False, "G", "")])

# The retired form: bits 13 and 15 of the words, over samples of 12 bits.
ds = blank("overlays-embedded", 3, 10, 7, 1, "MONOCHROME2", 12, 16)
words, planes = gray(3, 10, 7), []
for group, position in ((0x6000, 13), (0x6002, 15)):
    bits = rng.integers(0, 2, size=(3, 10, 7)).astype("<u2")
    words |= bits << position
    ds.add_new((group, 0x0010), "US", 10)
    ds.add_new((group, 0x0011), "US", 7)
    ds.add_new((group, 0x0040), "CS", "G")
    ds.add_new((group, 0x0050), "SS", [1, 1])
    ds.add_new((group, 0x0100), "US", 16)
    ds.add_new((group, 0x0102), "US", position)
    planes.append((group, bits, -1, (1, 1), True, "G", ""))  # each frame has its own bits
pixels(ds, words.tobytes())
keep(ds, "overlays-embedded", planes)


def colour(name, raw, rgb, samples, photometric, planar=None, stored=8, alloc=8, also=None):
    frames, rows, cols = rgb.shape[:3]
    ds = blank(name, frames, rows, cols, samples, photometric, stored, alloc)
    if planar is not None:
        ds.PlanarConfiguration = planar
    if also:
        also(ds)
    pixels(ds, raw)
    ds.save_as(os.path.join(OUT, name + ".dcm"), write_like_original=False)
    rgb.astype("<i4").tofile(os.path.join(OUT, name + ".values"))
    colours.append(dict(name=name, frames=frames, rows=rows, columns=cols))


three = rng.integers(0, 256, size=(2, 9, 14, 3), dtype=np.uint8)
three[0, 0, :5] = [[0, 0, 0], [255, 255, 255], [255, 0, 0], [0, 255, 0], [0, 0, 255]]
converted = convert_color_space(three, "YBR_FULL", "RGB")
colour("rgb", three.tobytes(), three, 3, "RGB", 0)
colour("rgb-planar", three.transpose(0, 3, 1, 2).tobytes(), three, 3, "RGB", 1)
colour("ybr", three.tobytes(), converted, 3, "YBR_FULL", 0)
colour("ybr-planar", three.transpose(0, 3, 1, 2).tobytes(), converted, 3, "YBR_FULL", 1)
half = three.reshape(2, 9, 7, 2, 3)
raw = np.stack([half[..., 0, 0], half[..., 1, 0], half[..., 0, 1], half[..., 0, 2]], -1)  # Y1 Y2 CB CR
full = half.copy()
full[..., 1, 1:] = half[..., 0, 1:]
colour("ybr-422", raw.tobytes(), convert_color_space(full.reshape(2, 9, 14, 3), "YBR_FULL", "RGB"), 3, "YBR_FULL_422", 0)


def palette(bits, entries, first, wide):
    tables = [rng.integers(0, 1 << bits, size=entries) for _ in range(3)]

    def put(ds):
        for i, t in enumerate(tables):
            ds.add_new((0x0028, 0x1101 + i), "US", [entries % 65536, first, bits])
            data = t.astype("<u2" if wide else "<u1").tobytes()
            ds.add_new((0x0028, 0x1201 + i), "OW", data + b"\0" * (len(data) % 2))
    return put


def paletted(name, bits, entries, first, wide, stored, alloc):
    index = rng.integers(0, 1 << stored, size=(2, 9, 14)).astype("<u1" if alloc == 8 else "<u2")
    put = palette(bits, entries, first, wide)
    ds = blank(name, 2, 9, 14, 1, "PALETTE COLOR", stored, alloc)
    put(ds)
    rgb = apply_color_lut(index, ds)
    colour(name, index.tobytes(), rgb >> (bits - 8), 1, "PALETTE COLOR", None, stored, alloc, put)


paletted("palette8", 8, 256, 0, False, 8, 8)
paletted("palette16", 16, 256, 0, True, 8, 8)
paletted("palette16-part", 16, 100, 40, True, 8, 8)
paletted("palette16-deep", 16, 4096, 0, True, 12, 16)

json.dump(dict(overlays=overlays, colours=colours), open(os.path.join(OUT, "display.json"), "w"))
