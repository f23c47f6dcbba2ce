"""Oracle for the C-arm projection: OpenCV's pinhole camera and scipy's rotations.

Reads a JSON list of poses on standard input, writes the projected points. The
gantry is turned as an engineer would turn it: start with the detector in front
of the chest, tilt it towards the head about the patient's left-right axis, then
swing it round the long axis. OpenCV's camera looks from the source, so its
picture is the mirror image of the film, which is looked at from the detector.
"""
import json
import sys

import cv2
import numpy as np
from scipy.spatial.transform import Rotation

out = []
for pose in json.load(sys.stdin):
    gantry = Rotation.from_euler("x", -pose["secondary"], degrees=True)
    gantry = Rotation.from_euler("z", pose["primary"], degrees=True) * gantry
    # Seen from the source at primary 0 the patient's right is to the right,
    # the feet are below and the detector is ahead.
    camera = gantry.apply(np.array([[-1.0, 0, 0], [0, 0, -1.0], [0, -1.0, 0]]))
    rvec, _ = cv2.Rodrigues(camera)
    tvec = np.array([0.0, 0.0, pose["sod"]])
    width, height = pose["columns"], pose["rows"]
    dx, dy = pose["columnSpacing"], pose["rowSpacing"]
    turn = pose["turn"]
    if turn in (90, 270):  # the picture before it was turned
        width, height, dx, dy = height, width, dy, dx
    k = np.array([[pose["sid"] / dx, 0, width / 2], [0, pose["sid"] / dy, height / 2], [0, 0, 1.0]])
    points, _ = cv2.projectPoints(np.array(pose["points"], dtype=float), rvec, tvec, k, None)
    x, y = points[:, 0, 0], points[:, 0, 1]
    x = width - x  # looked at from the detector
    for _ in range(turn // 90):  # a quarter turn clockwise of a width x height picture
        x, y, width, height = height - y, x, height, width
    if pose["flip"]:
        x = width - x
    out.append(np.stack([x, y], axis=1).tolist())
json.dump(out, sys.stdout)
