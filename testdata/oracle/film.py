"""Writes a film as a DICOM file and its marks as rows of marks.csv."""
import csv
import hashlib
import os

import numpy as np
import pydicom
from pydicom.dataset import FileDataset, FileMetaDataset
from pydicom.uid import ExplicitVRLittleEndian

CLASSES = {
    'XA': '1.2.840.10008.5.1.4.1.1.12.1',
    'RF': '1.2.840.10008.5.1.4.1.1.12.2',
    'CR': '1.2.840.10008.5.1.4.1.1.1',
    'DX': '1.2.840.10008.5.1.4.1.1.1.1',
    'OT': '1.2.840.10008.5.1.4.1.1.7',
}

HEADER = ['instance', 'frame', 'structure', 'level', 'side', 'object', 'index', 'x', 'y', 'detail']


def uid(*words):
    """A UID under 2.25 (PS3.5 annex B.2), the same for the same words."""
    return '2.25.%d' % (int(hashlib.sha256('/'.join(map(str, words)).encode()).hexdigest(), 16) >> 128)


class Film:
    """One film: its camera, what its header says, and the marks drawn on it.

    header holds DICOM keywords; a value of None leaves an attribute out. The camera's
    own distances, angles and turns are written unless header says otherwise.
    """

    def __init__(self, name, camera, kind='XA', header=None, minute=0):
        self.name, self.camera, self.kind, self.minute = name, camera, kind, minute
        self.header = dict(header or {})
        self.marks = []      # (structure, points, fields)

    def mark(self, structure, points, **fields):
        """Draw a structure from patient positions (n, 3) or image positions (n, 2).

        Positions are rounded to single precision, as graphic data are (PS3.3 C.18.6).
        """
        p = np.atleast_2d(np.asarray(points, float))
        if p.shape[1] == 3:
            p = self.camera.project(p)
        limit = [self.camera.columns, self.camera.rows]
        if (p < 0).any() or (p > limit).any():
            raise ValueError('%s: %s lies outside the image: %s' % (self.name, structure, p))
        p = p.astype(np.float32).astype(float)
        self.marks.append((structure, p, fields))
        return p

    def points(self, structure, **fields):
        for s, p, f in self.marks:
            if s == structure and all(f.get(k) == v for k, v in fields.items()):
                return p
        return None

    def attributes(self):
        c = self.camera
        a = {
            'PositionerPrimaryAngle': '%.10g' % c.primary, 'PositionerSecondaryAngle': '%.10g' % c.secondary,
            'DistanceSourceToDetector': '%.10g' % c.detector, 'DistanceSourceToPatient': '%.10g' % c.patient,
            'ImagerPixelSpacing': ['%.10g' % c.row_spacing, '%.10g' % c.column_spacing],
            'PatientOrientation': list(c.orientation()), 'PatientPosition': 'HFP',
        }
        if c.rotation or c.flip:
            a['FieldOfViewRotation'] = '%d' % c.rotation
            a['FieldOfViewHorizontalFlip'] = 'YES' if c.flip else 'NO'
        a.update(self.header)
        return {k: v for k, v in a.items() if v is not None}

    def save(self, folder, case):
        meta = FileMetaDataset()
        meta.MediaStorageSOPClassUID = CLASSES[self.kind]
        meta.MediaStorageSOPInstanceUID = self.uid = uid(case, self.name)
        meta.TransferSyntaxUID = ExplicitVRLittleEndian
        meta.ImplementationClassUID = uid('simulator')
        d = FileDataset(None, {}, file_meta=meta, preamble=b'\0' * 128)
        d.is_little_endian, d.is_implicit_VR = True, False
        d.SOPClassUID, d.SOPInstanceUID = meta.MediaStorageSOPClassUID, self.uid
        d.SpecificCharacterSet = 'ISO_IR 192'
        d.StudyInstanceUID, d.SeriesInstanceUID = uid(case), uid(case, 'series')
        d.PatientName, d.PatientID, d.PatientBirthDate, d.PatientSex = 'SOUNDING^TEST', 'SIM-1', '', ''
        d.StudyDate = d.SeriesDate = d.ContentDate = d.AcquisitionDate = '20300102'
        d.StudyTime = d.SeriesTime = '090000'
        d.ContentTime = d.AcquisitionTime = '09%02d00' % self.minute
        d.AccessionNumber = d.ReferringPhysicianName = d.StudyID = d.Manufacturer = ''
        d.Modality = self.kind
        d.SeriesNumber, d.InstanceNumber = 1, self.minute + 1
        d.ImageType = ['ORIGINAL', 'PRIMARY', 'SINGLE PLANE'] if self.kind in ('XA', 'RF') else ['ORIGINAL', 'PRIMARY']
        if self.kind in ('XA', 'RF'):
            d.KVP, d.RadiationSetting, d.XRayTubeCurrent, d.ExposureTime, d.Exposure = '75', 'SC', 3, 100, 1
        if self.kind == 'OT':
            d.ConversionType = 'DI'
            d.ImageType = ['DERIVED', 'SECONDARY']
        for k, v in self.attributes().items():
            setattr(d, k, v)
        c = self.camera
        d.Rows, d.Columns = c.rows, c.columns
        d.SamplesPerPixel, d.PhotometricInterpretation = 1, 'MONOCHROME2'
        d.BitsAllocated, d.BitsStored, d.HighBit, d.PixelRepresentation = 8, 8, 7, 0
        d.PixelIntensityRelationship = 'LIN'
        d.WindowCenter, d.WindowWidth = '128', '256'
        d.PixelData = self.picture()
        pydicom.dcmwrite(os.path.join(folder, self.name), d, write_like_original=False)

    def picture(self):
        """Grey with the marks as dark dots: enough to see what was simulated."""
        a = np.full((self.camera.rows, self.camera.columns), 170, np.uint8)
        for _, p, _ in self.marks:
            i = np.clip(p.astype(int), 0, [self.camera.columns - 1, self.camera.rows - 1])
            a[i[:, 1], i[:, 0]] = 20
        b = a.tobytes()
        return b + b'\0' * (len(b) % 2)

    def rows(self):
        for structure, points, f in self.marks:
            first = f.get('index', 0)
            for i, (x, y) in enumerate(points):
                yield [self.name, 1, structure, f.get('level', ''), f.get('side', ''), f.get('object', ''), first + i,
                       repr(float(np.float32(x))), repr(float(np.float32(y))), f.get('detail', '')]


def write_marks(path, films):
    with open(path, 'w', newline='') as f:
        w = csv.writer(f, lineterminator='\n')
        w.writerow(HEADER)
        for film in films:
            w.writerows(film.rows())
