"""A C-arm's pinhole projection, written from the DICOM standard alone.

Patient coordinates in millimetres with the origin at the isocentre: x to the
patient's left, y to posterior, z to the head (PS3.3 C.7.6.2.1.1 for the
directions). Positioner Primary Angle 0 puts the detector in front of the chest,
+90 at the patient's left hand side; Secondary +90 puts it cranial (PS3.3
C.8.7.5.1.2). Stored pixels are assumed to show the picture as seen from the
detector with the head up, and then to have been turned clockwise by Field of View
Rotation (0018,7032) and mirrored left to right by Field of View Horizontal Flip
(0018,7034), in that order. The central beam is assumed to meet the image's centre.

Image positions are SR coordinates (PS3.3 table C.18.6-1): column, row, with 0,0 at
the top left corner of the top left pixel.
"""
import math
from dataclasses import dataclass

import numpy as np

LETTERS = {'L': (1, 0, 0), 'R': (-1, 0, 0), 'P': (0, 1, 0), 'A': (0, -1, 0),
           'H': (0, 0, 1), 'F': (0, 0, -1)}

# What is read along the rows and down the columns of a film that nothing has turned.
UPRIGHT = {0: 'LF', 180: 'RF', -180: 'RF', 90: 'PF', -90: 'AF'}

OPPOSITE = {'L': 'R', 'R': 'L', 'A': 'P', 'P': 'A', 'H': 'F', 'F': 'H'}


def turned(rightward, downward, rotation, flip):
    """The Patient Orientation pair after a clockwise turn and then a mirroring.

    Turning a picture clockwise by 90 degrees sends what pointed right to point down,
    and what pointed down to point left.
    """
    for _ in range(rotation // 90):
        rightward, downward = OPPOSITE[downward], rightward
    if flip:
        rightward = OPPOSITE[rightward]
    return rightward, downward


@dataclass(frozen=True)
class Camera:
    primary: float = 0.0      # degrees
    secondary: float = 0.0    # degrees
    detector: float = 1000.0  # source to detector, mm
    patient: float = 750.0    # source to isocentre, mm
    rows: int = 512
    columns: int = 512
    row_spacing: float = 0.5     # mm at the detector, from row to row of the stored image
    column_spacing: float = 0.5  # mm at the detector, from column to column
    rotation: int = 0
    flip: bool = False

    @property
    def magnification(self):
        return self.detector / self.patient

    def frame(self):
        """Unit vectors: along the rows, down the columns and along the beam."""
        a, b = math.radians(self.primary), math.radians(self.secondary)
        beam = np.array([math.cos(b) * math.sin(a), -math.cos(b) * math.cos(a), math.sin(b)])
        along = np.array([math.cos(a), math.sin(a), 0.0])
        return along, np.cross(along, beam), beam

    def source(self):
        return -self.patient * self.frame()[2]

    def turn(self):
        """The matrix that Field of View Rotation and Flip apply to detector positions."""
        m = np.eye(2)
        for _ in range(self.rotation // 90):
            m = np.array([[0.0, -1.0], [1.0, 0.0]]) @ m
        if self.flip:
            m = np.array([[-1.0, 0.0], [0.0, 1.0]]) @ m
        return m

    def project(self, points):
        """Patient millimetres (n, 3) to image positions (n, 2)."""
        p = np.atleast_2d(np.asarray(points, float)) - self.source()
        along, down, beam = self.frame()
        depth = p @ beam
        on_detector = np.stack([p @ along, p @ down], axis=1) * (self.detector / depth)[:, None]
        q = on_detector @ self.turn().T
        return q / [self.column_spacing, self.row_spacing] + [self.columns / 2, self.rows / 2]

    def ray(self, position):
        """Source and unit direction of the ray that made an image position."""
        q = (np.asarray(position, float) - [self.columns / 2, self.rows / 2]) * [self.column_spacing, self.row_spacing]
        d = self.turn().T @ q
        along, down, beam = self.frame()
        v = d[0] * along + d[1] * down + self.detector * beam
        return self.source(), v / np.linalg.norm(v)

    def epipolar(self, position, other):
        """The ray through position as a line (point, direction) on the other film."""
        origin, direction = self.ray(position)
        a, b = other.project([origin + self.patient * direction, origin + 1.05 * self.patient * direction])
        return a, b - a

    def towards(self, letter):
        """Image direction of a patient direction at the isocentre, in pixels."""
        a, b = self.project([(0, 0, 0), LETTERS[letter]])
        return b - a

    def orientation(self):
        """Patient Orientation (0020,0020) of the stored image, leading letters."""
        a = min((0, 90, 180, -90, -180), key=lambda k: abs(k - self.primary))
        return turned(*UPRIGHT[a], self.rotation, self.flip)

    def plane(self):
        """Column and row spacing, mm, in the plane through the isocentre."""
        return np.array([self.column_spacing, self.row_spacing]) / self.magnification
