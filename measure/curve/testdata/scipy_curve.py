"""Answers curve questions with scipy: reads JSON on stdin, writes JSON on stdout.

Splines: scipy.interpolate.CubicSpline, chord-length parameter, bc_type
'not-a-knot' or 'periodic'. Roots: scipy.optimize.brentq on a dense bracket.
Lengths: scipy.integrate.quad. Lines: numpy.linalg.svd.
"""
import json
import sys

import numpy as np
from scipy.integrate import quad
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq, minimize_scalar


def spline(points, closed):
    p = np.asarray(points, float)
    if closed:
        p = np.vstack([p, p[0]])
    t = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
    return CubicSpline(t, p, bc_type="periodic" if closed else "not-a-knot"), t


def roots(f, a, b, n=20000):
    x = np.linspace(a, b, n)
    y = f(x)
    out = []
    for i in np.nonzero(y[:-1] * y[1:] < 0)[0]:
        out.append(brentq(lambda v: float(f(np.array([v]))[0]), x[i], x[i + 1], xtol=1e-14))
    return out


def answer(q):
    s, t = spline(q["points"], q["closed"])
    d = s.derivative()
    end = t[-1]
    at = [end * f for f in q["at"]]
    o, v = np.array(q["origin"]), np.array(q["direction"])
    n = np.array([-v[1], v[0]])
    cross = roots(lambda x: (s(x) - o) @ n, 0, end)
    speed = lambda x: float(np.hypot(*d(x)))
    a, b = end * q["from"], end * q["to"]
    inner = [k for k in t if a < k < b]
    length = quad(speed, a, b, points=inner or None, limit=400, epsabs=1e-12)[0]
    p = np.array(q["near"])
    xs = np.linspace(0, end, 20001)
    i = int(np.argmin(np.hypot(*(s(xs) - p).T)))
    r = minimize_scalar(lambda x: float(np.sum((s(x) - p) ** 2)),
                        bounds=(xs[max(i - 1, 0)], xs[min(i + 1, 20000)]), method="bounded",
                        options={"xatol": 1e-12})
    # Total least squares of points spaced evenly along the curve.
    fine = np.linspace(a, b, 20001)
    mid = (fine[1:] + fine[:-1]) / 2
    w = np.hypot(*d(mid).T)
    pts = s(mid)
    mean = (pts * w[:, None]).sum(0) / w.sum()
    _, _, vt = np.linalg.svd((pts - mean) * np.sqrt(w)[:, None], full_matrices=False)
    return {
        "value": s(at).tolist(), "slope": d(at).tolist(), "cross": cross,
        "length": length, "distance": float(np.sqrt(min(r.fun, np.sum((s(xs[i]) - p) ** 2)))),
        "chord": vt[0].tolist(), "mean": mean.tolist(),
    }


json.dump([answer(q) for q in json.load(sys.stdin)], sys.stdout)
