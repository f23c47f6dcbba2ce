"""An invented sacrum whose every measure is known from how it is built.

The midline contours lie in the plane x = side (patient coordinates, see camera.py)
and are smooth functions of w: 0 at the promontory, 1 at the coccyx tip. The ventral
margin is concave forwards. Lengths in mm.
"""
import math

import numpy as np
from scipy.optimize import brentq


class Sacrum:
    def __init__(self, length=105.0, hollow=26.0, tilt=18.0, shift=(0.0, 0.0, 0.0)):
        """tilt: degrees by which the chord's lower end leans to posterior."""
        self.length, self.hollow = length, hollow
        t = math.radians(tilt)
        self.caudal = np.array([0.0, math.sin(t), -math.cos(t)])
        self.dorsal = np.array([0.0, math.cos(t), math.sin(t)])
        self.shift = np.asarray(shift, float)

    def place(self, c, d):
        c, d = np.asarray(c, float), np.asarray(d, float)
        return (np.multiply.outer(c - self.length / 2, self.caudal)
                + np.multiply.outer(d - 25.0, self.dorsal) + self.shift)

    def ventral(self, w):
        w = np.asarray(w, float)
        return self.place(self.length * w, 4 * self.hollow * w * (1 - w) * (1 + 0.3 * (w - 0.5)))

    def back(self, w):
        """The dorsal surface in the midline."""
        w = np.asarray(w, float)
        d = 4 * self.hollow * w * (1 - w) * (1 + 0.3 * (w - 0.5)) + 40 - 36 * w + 1.5 * np.sin(7 * w)
        return self.place(self.length * w + 3, d)

    def skin(self, w):
        w = np.asarray(w, float)
        return self.place(self.length * (1.2 * w - 0.1), 78 - 9 * (w - 0.35) ** 2 * 4)

    def tangent(self, contour, w):
        """Unit tangent that points cranial."""
        h = 1e-5
        v = contour(w - h) - contour(w + h)
        return v / np.linalg.norm(v)

    def meet(self, contour, point, direction):
        """w where a straight line from point first meets a contour extended along x; all of
        them, in order along the line, as a list."""
        flat = np.array([0.0, direction[2], -direction[1]])
        def off(w):
            return float((contour(w) - point) @ flat)
        grid = np.linspace(0, 1, 401)
        values = [off(w) for w in grid]
        roots = [brentq(off, a, b, xtol=1e-14) for a, b, f, g in
                 zip(grid, grid[1:], values, values[1:]) if f * g <= 0]
        ahead = [w for w in roots if (contour(w) - point) @ direction > 0]
        if not ahead:
            raise ValueError('the line does not meet the contour')
        return sorted(ahead, key=lambda w: (contour(w) - point) @ direction)


class Needle:
    """A straight needle through the dorsal surface at w = entry, side mm from x = 0."""

    def __init__(self, bone, entry=0.5, aside=0.0, angle=68.0, splay=0.0, depth=3.0, shaft=72.0):
        """angle: to the dorsal tangent in the sagittal plane; splay: degrees by which the
        tip leans to the patient's left; depth: mm from the margin along the needle,
        positive beyond."""
        self.bone, self.entry_w, self.angle, self.depth = bone, entry, angle, depth
        self.entry = bone.back(entry) + [aside, 0, 0]
        up = bone.tangent(bone.back, entry)
        out = np.array([0.0, up[2], -up[1]])   # tangent turned by 90 degrees in the sagittal plane
        if out @ bone.dorsal < 0:
            out = -out
        a, s = math.radians(angle), math.radians(splay)
        sagittal = -(math.cos(a) * up + math.sin(a) * out)
        self.direction = math.cos(s) * sagittal + np.array([math.sin(s), 0, 0])
        self.exits = bone.meet(bone.ventral, self.entry, sagittal)
        self.exit_w = self.exits[0]
        v = bone.ventral(self.exit_w)
        along = float((v - self.entry) @ sagittal) / math.cos(s)
        self.exit = self.entry + along * self.direction
        self.tip = self.exit + depth * self.direction
        self.hub = self.tip - shaft * self.direction

    def points(self, fractions=(0.0, 0.3, 0.55, 0.8, 1.0)):
        f = np.asarray(fractions)[:, None]
        return self.hub * (1 - f) + self.tip * f

    def ventral_angle(self):
        """Angle to the ventral margin at exit, degrees, for a needle without splay."""
        t = self.bone.tangent(self.bone.ventral, self.exit_w)
        return math.degrees(math.acos(float(np.clip(-self.direction @ t, -1, 1))))


class Lead:
    """A lead that runs straight and then bends; known by its arc length from the skin end.

    Curvature grows from 0 as a smooth step of arc length, so that arc length stays exact.
    """

    def __init__(self, start, direction, bend, total=70.0, straight=35.0, curvature=0.02):
        """bend: unit vector, at right angles to direction, to which the lead curves."""
        self.total, self.start = total, np.asarray(start, float)
        self.d = np.asarray(direction, float) / np.linalg.norm(direction)
        b = np.asarray(bend, float) - (np.asarray(bend, float) @ self.d) * self.d
        self.b = b / np.linalg.norm(b)
        n = 20001
        self.s = np.linspace(0, total, n)
        u = np.clip((self.s - straight) / 12.0, 0, 1)
        k = curvature * u * u * (3 - 2 * u)
        turn = np.concatenate([[0], np.cumsum((k[1:] + k[:-1]) / 2 * np.diff(self.s))])
        self.turn = turn
        c, sn = np.cos(turn), np.sin(turn)
        self.x = np.concatenate([[0], np.cumsum((c[1:] + c[:-1]) / 2 * np.diff(self.s))])
        self.y = np.concatenate([[0], np.cumsum((sn[1:] + sn[:-1]) / 2 * np.diff(self.s))])

    def at(self, s):
        s = np.atleast_1d(np.asarray(s, float))
        return (self.start + np.multiply.outer(np.interp(s, self.s, self.x), self.d)
                + np.multiply.outer(np.interp(s, self.s, self.y), self.b))
