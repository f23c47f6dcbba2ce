"""The same adjustment by scipy, written on its own.

Reads a problem as JSON on standard input and writes what
scipy.optimize.least_squares finds for it. Cameras are told as projection
matrices' parts: a source, three axes and a calibration; everything else
(rotations by scipy's Rotation, projection by 3 x 4 matrices, numerical
derivatives) is this file's own.
"""
import json
import sys

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

problem = json.load(sys.stdin)
views = problem["views"]
count = problem["points"]


def matrix(view, p):
    """3 x 4 projection matrix of a view whose parameters differ by p."""
    source = np.array(view["source"])
    axes = np.array([view["right"], view["down"], view["beam"]])
    beam = axes[2]
    z = np.array([0.0, 0.0, 1.0])
    cross = np.cross(z, beam)
    cross /= np.linalg.norm(cross)
    w = np.radians(p[0]) * z + np.radians(p[1]) * cross + np.radians(p[2]) * beam
    turn = Rotation.from_rotvec(w).as_matrix()
    centre = np.array(p[3:6]) + turn @ (source * np.exp(p[7]))
    rotation = axes @ turn.T
    f = np.exp(p[6])
    k = np.array([[f * view["fx"], 0, view["foot"][0] + p[8]],
                  [0, f * view["fy"], view["foot"][1] + p[9]],
                  [0, 0, 1]])
    return k @ np.hstack([rotation, -(rotation @ centre)[:, None]])


prior = np.array([v["prior"] for v in views])
free = prior > 0


def unpack(x):
    p = np.zeros_like(prior)
    n = free.sum()
    p[free] = x[:n] * prior[free]
    return p, x[n:].reshape(count, 3)


def residuals(x):
    p, points = unpack(x)
    matrices = [matrix(v, q) for v, q in zip(views, p)]

    def picture(view, point):
        h = matrices[view] @ np.append(points[point], 1)
        return h[:2] / h[2]

    out = []
    for s in problem["sightings"]:
        out.extend((picture(s["view"], s["point"]) - [s["x"], s["y"]]) / s["sd"])
    for s in problem["lines"]:
        a, b = picture(s["view"], s["a"]), picture(s["view"], s["b"])
        line = np.cross([*a, 1], [*b, 1])
        line /= np.hypot(line[0], line[1])
        out.append(line @ [s["x"], s["y"], 1] / s["sd"])
    for s in problem["lengths"]:
        out.append((np.linalg.norm(points[s["a"]] - points[s["b"]]) - s["mm"]) / s["sd"])
    for s in problem["relations"]:
        total = 0.0
        for by, of_view, i, n in s["terms"]:
            total += by * (p[i][n] if of_view else points[i][n])
        out.append((total - s["equals"]) / s["sd"])
    out.extend(x[:free.sum()])
    return np.array(out)


def jacobian(x):
    """Central differences, of fourth order."""
    step = 1e-3
    out = []
    for i in range(len(x)):
        d = np.zeros_like(x)
        d[i] = step
        out.append((8 * (residuals(x + d) - residuals(x - d)) - (residuals(x + 2 * d) - residuals(x - 2 * d))) / (12 * step))
    return np.array(out).T


start = np.concatenate([np.zeros(free.sum()), np.array(problem["start"]).ravel()])
found = least_squares(residuals, start, jac=jacobian, method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=2000)
p, points = unpack(found.x)
j = jacobian(found.x)
covariance = np.linalg.inv(j.T @ j)
json.dump({
    "settings": p.tolist(), "points": points.tolist(), "chi2": float(2 * found.cost),
    "sd": np.sqrt(np.diag(covariance)).tolist(),
}, sys.stdout)
