"""Writes Enhanced XA and XRF objects (PS3.3 A.47, A.48) with pydicom, and what
was put into each frame, so that the reader is checked against a library it
shares nothing with.

usage: enhanced.py FOLDER
"""
import json
import os
import sys

import numpy as np
from pydicom.dataset import Dataset, FileDataset, FileMetaDataset
from pydicom.sequence import Sequence
from pydicom.uid import ExplicitVRLittleEndian

OUT = sys.argv[1]
XA = "1.2.840.10008.5.1.4.1.1.12.1.1"
XRF = "1.2.840.10008.5.1.4.1.1.12.2.1"


def code(value, scheme, meaning):
    c = Dataset()
    c.CodeValue, c.CodingSchemeDesignator, c.CodeMeaning = value, scheme, meaning
    return c


def seq(**attributes):
    d = Dataset()
    for name, value in attributes.items():
        setattr(d, name, value)
    return Sequence([d])


def blank(sop_class, modality, uid, frames, rows, cols):
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID, meta.MediaStorageSOPInstanceUID = sop_class, uid
    meta.TransferSyntaxUID = ExplicitVRLittleEndian
    ds = FileDataset(uid, {}, file_meta=meta, preamble=b"\0" * 128)
    ds.is_little_endian, ds.is_implicit_VR = True, False
    ds.SOPClassUID, ds.SOPInstanceUID = sop_class, uid
    ds.StudyInstanceUID, ds.SeriesInstanceUID = "2.25.70", "2.25.71"
    ds.FrameOfReferenceUID, ds.PositionReferenceIndicator = "2.25.72", ""
    ds.SynchronizationFrameOfReferenceUID, ds.SynchronizationTrigger, ds.AcquisitionTimeSynchronized = "2.25.73", "NO TRIGGER", "N"
    ds.Modality, ds.PatientName, ds.PatientID, ds.PatientBirthDate, ds.PatientSex = modality, "Invented^Ina", "T1", "", "O"
    ds.StudyDate, ds.StudyTime, ds.StudyID, ds.AccessionNumber, ds.ReferringPhysicianName = "20260103", "101500", "S1", "", ""
    ds.SeriesNumber, ds.InstanceNumber, ds.AcquisitionNumber = 1, 1, 1
    ds.Manufacturer, ds.ManufacturerModelName, ds.DeviceSerialNumber, ds.SoftwareVersions = "Maker", "Model", "1", "1"
    ds.ContentDate, ds.ContentTime, ds.AcquisitionDateTime = "20260103", "101600", "20260103101559.5"
    ds.ImageType = ["ORIGINAL", "PRIMARY", "SINGLE PLANE", "NONE"]
    ds.BurnedInAnnotation, ds.LossyImageCompression, ds.PresentationLUTShape = "NO", "00", "IDENTITY"
    ds.SamplesPerPixel, ds.PhotometricInterpretation = 1, "MONOCHROME2"
    ds.Rows, ds.Columns, ds.NumberOfFrames = rows, cols, frames
    ds.BitsAllocated, ds.BitsStored, ds.HighBit, ds.PixelRepresentation = 16, 12, 11, 0
    ds.PixelIntensityRelationship, ds.PixelIntensityRelationshipSign = "LIN", 1
    ds.ContentQualification, ds.AcquisitionProtocolName = "PRODUCT", "Spot"
    ds.CArmPositionerTabletopRelationship = "YES"
    ds.PositionerType, ds.XRayReceptorType, ds.DetectorType = "CARM", "DIGITAL_DETECTOR", "DIRECT"
    ds.PhysicalDetectorSize = [300.0, 400.0]
    ds.PlanesInAcquisition, ds.PlaneIdentification, ds.AcquisitionDuration = "SINGLE PLANE", "MONOPLANE", 0.4
    ds.DistanceReceptorPlaneToDetectorHousing, ds.AcquiredImageAreaDoseProduct = None, None
    ds.PatientOrientationCodeSequence = Sequence([code("102538003", "SCT", "recumbent")])
    ds.PatientOrientationCodeSequence[0].PatientOrientationModifierCodeSequence = Sequence([code("1240000", "SCT", "prone")])
    ds.PatientGantryRelationshipCodeSequence = Sequence([code("102540008", "SCT", "headfirst")])
    ds.RecommendedDisplayFrameRate, ds.PreferredPlaybackSequencing = 12, 0
    ds.AcquisitionContextSequence = Sequence([])
    ds.KVP, ds.XRayTubeCurrentInmA, ds.ExposureTimeInms, ds.ExposureInmAs, ds.FocalSpots = 80, 5.0, 8.0, 1.0, [0.6]
    ds.AnodeTargetMaterial, ds.AveragePulseWidth, ds.RadiationSetting, ds.RadiationMode = "TUNGSTEN", 8.0, "SC", "PULSED"
    ds.FilterType, ds.ImageAndFluoroscopyAreaDoseProduct, ds.ExposureControlMode, ds.ExposureControlModeDescription = "NONE", 1, "AUTOMATIC", "auto"
    ds.PixelData = np.arange(frames * rows * cols, dtype="<u2").tobytes()
    ds["PixelData"].VR = "OW"
    return ds


def content(n):
    return seq(FrameAcquisitionNumber=n, FrameReferenceDateTime="20260103101559.%06d" % (500000 + 80000 * (n - 1)),
               FrameAcquisitionDateTime="20260103101600.%06d" % (80000 * (n - 1)), FrameAcquisitionDuration=8.0)


def anatomy(laterality="U"):
    return seq(FrameLaterality=laterality, AnatomicRegionSequence=Sequence([code("54735007", "SCT", "Sacrum")]))


def calibration(to, th, angle, sod, sid=1000.0, px=(0.3, 0.25)):
    d = seq(DistanceObjectToTableTop=to, ObjectPixelSpacingInCenterOfBeam=[px[0] * sod / sid, px[1] * sod / sid], TableHeight=th, BeamAngle=angle)
    return d


manifest = {}


def save(ds, name, frames):
    ds.save_as(os.path.join(OUT, name + ".dcm"), write_like_original=False)
    manifest[name] = frames


# A run over a turning gantry: what varies stands with each frame.
ds = blank(XA, "XA", "2.25.80", 4, 6, 4)
shared = Dataset()
shared.FrameAnatomySequence = anatomy()
shared.IrradiationEventIdentificationSequence = seq(IrradiationEventUID="2.25.74")
shared.FieldOfViewSequence = seq(FieldOfViewShape="RECTANGLE", FieldOfViewDimensionsInFloat=[200.0, 200.0], FieldOfViewOrigin=["0", "0"],
                                 FieldOfViewRotation="90", FieldOfViewHorizontalFlip="YES", FieldOfViewDescription="full")
shared.FramePixelDataPropertiesSequence = seq(FrameType=ds.ImageType, PixelIntensityRelationship="LIN", PixelIntensityRelationshipSign=1,
                                              ImagerPixelSpacing=["0.3", "0.25"], GeometricalProperties="UNIFORM",
                                              ImageProcessingApplied="NONE")
shared.XRayGeometrySequence = seq(DistanceSourceToIsocenter=750.0, DistanceSourceToDetector="1000")
shared.FrameDetectorParametersSequence = seq(DetectorActiveTime="8", DetectorActivationOffsetFromExposure="0")
shared.PatientOrientationInFrameSequence = seq(PatientOrientation=["L", "F"])
shared.PixelValueTransformationSequence = seq(RescaleIntercept="-3", RescaleSlope="0.5", RescaleType="US")
shared.TablePositionSequence = seq(TableTopVerticalPosition="0", TableTopLongitudinalPosition="0", TableTopLateralPosition="0",
                                   TableHorizontalRotationAngle=0.0, TableHeadTiltAngle=0.0, TableCradleTiltAngle=0.0)
shared.CollimatorShapeSequence = seq(CollimatorShape="RECTANGULAR", CollimatorLeftVerticalEdge="1", CollimatorRightVerticalEdge="4",
                                     CollimatorUpperHorizontalEdge="1", CollimatorLowerHorizontalEdge="6")
shared.FrameAcquisitionSequence = seq(KVP="80", XRayTubeCurrentInmA=5.0)
ds.SharedFunctionalGroupsSequence = Sequence([shared])
per, told = [], []
for n, (primary, secondary, beam, sod) in enumerate([(0.0, 0.0, 0.0, 650.0), (-30.5, 0.0, 30.5, None), (-60.0, 0.0, 60.0, 550.0), (-90.0, 5.0, 90.0, None)], 1):
    if sod is None:
        sod = 750.0 - 100.0 / np.cos(np.radians(beam)) if beam < 89 else 700.0
    f = Dataset()
    f.FrameContentSequence = content(n)
    f.FrameVOILUTSequence = seq(WindowCenter="%d" % (1000 + n), WindowWidth="%d" % (500 * n), WindowCenterWidthExplanation="for frame %d" % n)
    f.PositionerPositionSequence = seq(PositionerPrimaryAngle=str(primary), PositionerSecondaryAngle=str(secondary))
    f.IsocenterReferenceSystemSequence = seq(PositionerIsocenterPrimaryAngle=primary, PositionerIsocenterSecondaryAngle=secondary,
                                             PositionerIsocenterDetectorRotationAngle=0.0, TableXPositionToIsocenter=0.0, TableYPositionToIsocenter=200.0,
                                             TableZPositionToIsocenter=0.0, TableHorizontalRotationAngle=0.0, TableHeadTiltAngle=0.0, TableCradleTiltAngle=0.0)
    f.ProjectionPixelCalibrationSequence = calibration(100.0, "200", beam, sod)
    f.ObjectThicknessSequence = seq(CalculatedAnatomyThickness=200.0)
    per.append(f)
    told.append(dict(primary=primary, secondary=secondary, center=1000 + n, width=500 * n, window="for frame %d" % n, beam=beam,
                     row=float(np.float32(0.3 * sod / 1000)), column=float(np.float32(0.25 * sod / 1000)), millis=80 * (n - 1)))
ds.PerFrameFunctionalGroupsSequence = Sequence(per)
save(ds, "turning", told)

# The same said once for all frames, as XRF.
ds = blank(XRF, "RF", "2.25.81", 2, 6, 4)
shared2 = Dataset()
for g in shared:
    shared2.add(g)
shared2.FrameVOILUTSequence = seq(WindowCenter="900", WindowWidth="1800")
shared2.PositionerPositionSequence = seq(PositionerPrimaryAngle="180", PositionerSecondaryAngle="-10")
ds.SharedFunctionalGroupsSequence = Sequence([shared2])
ds.PerFrameFunctionalGroupsSequence = Sequence([Dataset(), Dataset()])
for n, f in enumerate(ds.PerFrameFunctionalGroupsSequence, 1):
    f.FrameContentSequence = content(n)
    f.IrradiationEventIdentificationSequence = shared.IrradiationEventIdentificationSequence
del shared2.IrradiationEventIdentificationSequence
save(ds, "steady", [dict(primary=180.0, secondary=-10.0, center=900, width=1800, window="", beam=None, row=None, column=None, millis=80 * n) for n in range(2)])

# One item fewer than frames: nothing says which frame is which.
del ds.PerFrameFunctionalGroupsSequence[1]
ds.SOPInstanceUID = ds.file_meta.MediaStorageSOPInstanceUID = "2.25.82"
ds.PerFrameFunctionalGroupsSequence[0].PositionerPositionSequence = seq(PositionerPrimaryAngle="5", PositionerSecondaryAngle="5")
save(ds, "lacking", [])

# A long run, to see that what is kept of each frame stays small.
ds = blank(XA, "XA", "2.25.83", 1500, 2, 2)
ds.SharedFunctionalGroupsSequence = Sequence([shared])
ds.PerFrameFunctionalGroupsSequence = Sequence([])
for n in range(1500):
    f = Dataset()
    f.FrameContentSequence = seq(FrameAcquisitionNumber=n + 1)
    f.FrameVOILUTSequence = seq(WindowCenter="100", WindowWidth="200")
    f.PositionerPositionSequence = seq(PositionerPrimaryAngle="%.2f" % (n / 100), PositionerSecondaryAngle="0")
    ds.PerFrameFunctionalGroupsSequence.append(f)
save(ds, "long", [])

json.dump(manifest, open(os.path.join(OUT, "enhanced.json"), "w"))
