"""Triangulation and pose by OpenCV.

Reads cameras, as 3 x 4 matrices' parts, with points' pictures as JSON on
standard input; writes what correctMatches with triangulatePoints (the best
there is for two views and equal errors) and solvePnP make of them.
"""
import json
import sys

import cv2
import numpy as np

problem = json.load(sys.stdin)


def parts(view):
    rotation = np.array([view["right"], view["down"], view["beam"]])
    k = np.array([[view["fx"], 0, view["foot"][0]], [0, view["fy"], view["foot"][1]], [0, 0, 1]])
    return k, rotation, -rotation @ np.array(view["source"])


out = {}
matrices, pictures = [], []
for view in problem["views"]:
    k, rotation, t = parts(view)
    matrices.append(k @ np.hstack([rotation, t[:, None]]))
    pictures.append(np.array(view["pictures"]).T)
# Fundamental matrix of two projection matrices (Hartley and Zisserman, 17.3).
centre = np.append(np.array(problem["views"][0]["source"]), 1)
e = matrices[1] @ centre
cross = np.array([[0, -e[2], e[1]], [e[2], 0, -e[0]], [-e[1], e[0], 0]])
f = cross @ matrices[1] @ np.linalg.pinv(matrices[0])
a, b = cv2.correctMatches(f / np.linalg.norm(f), pictures[0].T[None], pictures[1].T[None])
h = cv2.triangulatePoints(matrices[0], matrices[1], a[0].T, b[0].T)
out["points"] = (h[:3] / h[3]).T.tolist()

# Where the second view stands, from points that are known.
k, _, _ = parts(problem["views"][1])
ok, r, t = cv2.solvePnP(np.array(problem["known"]), pictures[1].T.copy(), k, None, flags=cv2.SOLVEPNP_ITERATIVE)
r, t = cv2.solvePnPRefineLM(np.array(problem["known"]), pictures[1].T.copy(), k, None, r, t,
                            (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 500, 1e-14))
rotation, _ = cv2.Rodrigues(r)
out["source"] = (-rotation.T @ t).ravel().tolist()
out["axes"] = rotation.tolist()
json.dump(out, sys.stdout)
