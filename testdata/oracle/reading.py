"""The quantities, computed a second time from marks with scipy.

A film is given as a Plane: its marks in millimetres (column, row), which way is
cranial, and which way is lateral where that matters. Every angle is in degrees.
"""
import math

import numpy as np
from scipy.interpolate import CubicSpline, PPoly
from scipy.optimize import brentq, minimize_scalar, root

GAUSS = np.polynomial.legendre.leggauss(6)


class Curve:
    """Not-a-knot cubic through points, parameter chord length (scipy CubicSpline)."""

    def __init__(self, points):
        p = np.asarray(points, float)
        t = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
        self.f, self.end = CubicSpline(t, p, bc_type='not-a-knot'), t[-1]
        self.slope, self.arcs = self.f.derivative(), None

    def crossings(self, point, direction):
        """Parameters at which a straight line meets the curve, ordered along the line."""
        n = np.array([-direction[1], direction[0]])
        off = PPoly(self.f.c @ n, self.f.x)
        off.c[-1] -= point @ n
        roots = [t for t in off.roots(extrapolate=False) if np.isfinite(t)]
        out = []
        for t in roots:
            a, b = max(0, t - 1e-4), min(self.end, t + 1e-4)
            if off(a) * off(b) < 0:
                t = brentq(off, a, b, xtol=1e-13)
            out.append(t)
        return sorted(out, key=lambda t: (self.f(t) - point) @ direction)

    def table(self):
        """Fine parameters and the arc length up to each, by Gauss-Legendre quadrature."""
        if self.arcs is None:
            t = np.unique(np.concatenate([np.linspace(a, b, 17) for a, b in zip(self.f.x, self.f.x[1:])]))
            x, w = GAUSS
            step = np.diff(t)
            mid = t[:-1, None] + step[:, None] * (x + 1) / 2
            v = np.hypot(*np.moveaxis(self.slope(mid), -1, 0)) @ w * step / 2
            self.arcs = t, np.concatenate([[0], np.cumsum(v)])
        return self.arcs

    def length(self, a, b):
        """Arc length from parameter a to b, signed."""
        t, s = self.table()
        x, w = GAUSS

        def upto(p):
            i = min(max(int(np.searchsorted(t, p)) - 1, 0), len(t) - 2)
            u = t[i] + (p - t[i]) * (x + 1) / 2
            return s[i] + float(np.hypot(*self.slope(u).T) @ w) * (p - t[i]) / 2
        return upto(b) - upto(a)

    def at_length(self, start, s):
        """The parameter s mm of arc from start; the curve's end where it is shorter."""
        stop = self.end if s > 0 else 0.0
        if abs(self.length(start, stop)) <= abs(s):
            return stop
        t, arcs = self.table()
        p = float(np.interp(self.length(0, start) + s, arcs, t))
        for _ in range(2):
            p += (s - self.length(start, p)) / float(np.hypot(*self.slope(p)))
        return p

    def nearest(self, point, lo=0.0, hi=None):
        hi = self.end if hi is None else hi
        grid = np.linspace(lo, hi, 121)
        d = np.hypot(*(self.f(grid) - point).T)
        i = int(np.argmin(d))
        a, b = grid[max(0, i - 1)], grid[min(len(grid) - 1, i + 1)]
        r = minimize_scalar(lambda t: float(((self.f(t) - point) ** 2).sum()), bounds=(a, b), method='bounded',
                            options={'xatol': 1e-12})
        return min((r.x, a, b), key=lambda t: float(((self.f(t) - point) ** 2).sum()))


def principal(points):
    """The total least-squares line: centroid and unit direction.

    The direction is at half the angle of (sxx - syy, 2 sxy), the principal axis of the
    points' second moments.
    """
    p = np.asarray(points, float)
    c = p.mean(axis=0)
    x, y = (p - c).T
    half = math.atan2(2 * float(x @ y), float(x @ x - y @ y)) / 2
    return c, np.array([math.cos(half), math.sin(half)])


def axis(points):
    """A needle's axis from hub to tip; points run that way and are straight to 0.5 mm."""
    c, d = principal(points)
    return c, d if d @ (points[-1] - points[0]) > 0 else -d


def angle(a, b):
    return math.degrees(math.atan2(abs(a[0] * b[1] - a[1] * b[0]), a @ b))


def pointing(direction, way):
    return direction if direction @ way > 0 else -direction


def chord(curve, start, reach=15.0, samples=1001):
    """Direction of the least-squares line of the curve within reach mm of start."""
    lo, hi = curve.at_length(start, -reach), curve.at_length(start, reach)
    t, arcs = curve.table()
    even = np.interp(np.linspace(curve.length(0, lo), curve.length(0, hi), samples), arcs, t)
    return principal(curve.f(even))[1]


def needle(shaft, cranial, dorsal=None, ventral=None, skin=None, fusion=None, dorsalward=None, chord_samples=1001):
    """The lateral film's quantities of one needle; what is not marked is left out."""
    out = {}
    point, way = axis(shaft)
    back = -way
    start = point + ((shaft[0] - point) @ way) * way
    entry = None
    if dorsal is not None:
        c = Curve(dorsal)
        hits = [t for t in c.crossings(point, way)]
        if not hits:
            return out
        entry = c.f(hits[0])
        out['entry'] = entry
        out['insertion-angle-dorsal'] = angle(back, pointing(c.slope(hits[0]), cranial))
        out['insertion-angle-chord'] = angle(back, pointing(chord(c, hits[0], samples=chord_samples), cranial))
    if ventral is not None:
        c = Curve(ventral)
        after = ((entry if entry is not None else start) - point) @ way
        hits = [t for t in c.crossings(point, way) if (c.f(t) - point) @ way > after]
        if hits:
            t = hits[0]
            exit_ = c.f(t)
            tip = shaft[-1]
            depth = float((tip - exit_) @ way)
            out['exit'] = exit_
            out['tip-depth-along-needle'] = depth
            out['insertion-angle-ventral'] = angle(back, pointing(c.slope(t), cranial))
            near = c.nearest(tip, c.at_length(t, -20.0), c.at_length(t, 20.0))
            out['tip-depth-perpendicular'] = math.copysign(float(np.hypot(*(tip - c.f(near)))), depth)
    if skin is not None:
        c = Curve(skin)
        hits = c.crossings(point, way)
        if hits:
            out['insertion-angle-skin'] = angle(back, pointing(c.slope(hits[0]), cranial))
    if fusion is not None:
        _, d = principal(fusion)
        out['insertion-angle-fusion'] = angle(back, pointing(d, dorsalward))
    return out


def meeting(lead, margin):
    """Parameters on lead of its crossings with another curve, from hub to tip."""
    t, u = np.linspace(0, lead.end, 101), np.linspace(0, margin.end, 101)
    p, q = lead.f(t), margin.f(u)
    out = []
    dp, dq = np.diff(p, axis=0), np.diff(q, axis=0)
    cross = dp[:, None, 0] * dq[None, :, 1] - dp[:, None, 1] * dq[None, :, 0]
    gap = q[None, :-1] - p[:-1, None]
    with np.errstate(divide='ignore', invalid='ignore'):
        a = (gap[..., 0] * dq[None, :, 1] - gap[..., 1] * dq[None, :, 0]) / cross
        b = (gap[..., 0] * dp[:, None, 1] - gap[..., 1] * dp[:, None, 0]) / cross
    for i, j in np.argwhere((a >= 0) & (a < 1) & (b >= 0) & (b < 1)):
        r = root(lambda v: lead.f(v[0]) - margin.f(v[1]), [t[i], u[j]], tol=1e-13)
        out.append(float(r.x[0]))
    return sorted(out)


def contacts(path, centres, ventral):
    """Arc length from the margin to each contact's centre along the lead, positive beyond."""
    lead = Curve(path)
    crossing = meeting(lead, Curve(ventral))[0]
    return [lead.length(crossing, lead.nearest(c)) for c in centres]


def against_margin(depth, length):
    """A contact's class by its two ends."""
    if depth + length / 2 < 0:
        return 'short'
    return 'beyond' if depth - length / 2 > 0 else 'astride'


def frontal_entry(shaft, line=None):
    """Where the shaft's axis meets a line (point, direction)."""
    point, way = axis(shaft)
    a = np.array([way, -line[1]]).T
    s, _ = np.linalg.solve(a, line[0] - point)
    return point + s * way


def offset(midline, position, lateral):
    """Signed distance from the midline, positive towards lateral."""
    c, d = principal(midline)
    n = np.array([-d[1], d[0]])
    return float((position - c) @ pointing(n, lateral))


def height(midline, position, cranial):
    """Position along the midline, positive caudal."""
    c, d = principal(midline)
    return float((position - c) @ -pointing(d, cranial))


def outline(points, kind):
    """A closed outline by one reading of it: a polygon (finely sampled), a periodic cubic or a
    not-a-knot cubic closed at its first point, both by chord length."""
    p = np.vstack([points, points[:1]])
    t = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
    if kind == 'polygon':
        fine = np.unique(np.concatenate([np.linspace(a, b, 33) for a, b in zip(t, t[1:])]))
        return np.stack([np.interp(fine, t, p[:, 0]), np.interp(fine, t, p[:, 1])], axis=1)
    return CubicSpline(t, p, bc_type=kind)


def extremes(f, way):
    """Least and greatest of way . f over a closed piecewise cubic, at roots of its slope."""
    g = PPoly(f.c @ way, f.x)
    at = [t for t in g.derivative().roots(extrapolate=False) if np.isfinite(t)] + [f.x[0]]
    v = [float(g(t)) for t in at]
    return min(v), max(v)


def foramen(points, midline, position, cranial, lateral, kind='periodic'):
    """Distances from the medial and cranial edge, and fractions of width and height.

    Width is of the opening at the entry's height; 'greatest breadth' is the other reading.
    """
    c, d = principal(midline)
    across = pointing(np.array([-d[1], d[0]]), lateral)
    down = -pointing(d, cranial)
    px, py = (position - c) @ across, (position - c) @ down
    f = outline(points, kind)
    if kind == 'polygon':
        x, y = (f - c) @ across, (f - c) @ down
        cut = [x[i] + (x[i + 1] - x[i]) * (py - y[i]) / (y[i + 1] - y[i]) for i in range(len(f) - 1)
               if (y[i] - py) * (y[i + 1] - py) <= 0 and y[i] != y[i + 1]]
        (left, right), (top, bottom) = (x.min(), x.max()), (y.min(), y.max())
    else:
        level = PPoly(f.c @ down, f.x)
        level.c[-1] -= position @ down
        cut = [float((f(t) - c) @ across) for t in level.roots(extrapolate=False) if np.isfinite(t)]
        left, right = np.array(extremes(f, across)) - c @ across
        top, bottom = np.array(extremes(f, down)) - c @ down
    out = {'entry-from-foramen-superior': py - top, 'entry-fraction-superior': (py - top) / (bottom - top)}
    if len(cut) >= 2:
        out['entry-from-foramen-medial'] = px - min(cut)
        out['entry-fraction-medial'] = (px - min(cut)) / (max(cut) - min(cut))
        out['entry-fraction-medial, greatest breadth'] = (px - min(cut)) / (right - left)
    return out


def caudal_to_line(midline, line, position, cranial):
    """From a two-point line to position, measured parallel to the midline, caudal positive."""
    _, d = principal(midline)
    down = -pointing(d, cranial)
    a = np.array([line[1] - line[0], -down]).T
    s, _ = np.linalg.solve(a, position - line[0])
    foot = line[0] + s * (line[1] - line[0])
    return float((position - foot) @ down)


def deflection(path, midline, cranial, lateral, last=10.0):
    """Angle from the caudal midline to the lead's last 10 mm, lateral positive: by its
    chord, and by its least-squares line."""
    c = Curve(path)
    start = c.at_length(c.end, -last)
    _, d = principal(midline)
    down = -pointing(d, cranial)
    across = pointing(np.array([-d[1], d[0]]), lateral)
    chord_way = c.f(c.end) - c.f(start)
    t = np.linspace(start, c.end, 501)
    line_way = pointing(principal(c.f(t))[1], chord_way)
    return tuple(math.degrees(math.atan2(v @ across, v @ down)) for v in (chord_way, line_way))
