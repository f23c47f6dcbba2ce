"""Cases on each quantity: leads and contacts, positions, bent shafts, random marks, budgets."""
import math

import numpy as np
from scipy.optimize import brentq

import reading
from camera import Camera
from case import (ANGLE, FRONTAL, LENGTH, SAME, Case, draw_frontal, draw_lateral, expect_frontal, expect_lateral,
                  film_marks, frontal_reading, lateral_reading)
from sacrum import Lead, Needle, Sacrum

CONTACT, PITCH = 2.5, 6.0   # an invented lead: contact length and distance from centre to centre, mm


def sagittal_lead(bone, depth_of_first, curvature):
    """A lead in the midline plane whose contact 0 lies depth_of_first mm of arc beyond the
    margin, curving caudal or cranial, and its contacts' arc lengths from its skin end."""
    n = Needle(bone, 0.5, 0.0, angle=70, depth=0.0, shaft=60)
    straight = 60 - 6.0   # it bends before the margin
    bend = np.array([0.0, n.direction[2], -n.direction[1]])
    def crossing(lead):
        s = np.linspace(30, lead.total, 8001)
        p = lead.at(s)
        v = bone.ventral(np.linspace(0.2, 0.9, 4001))
        beyond = (p - v[np.argmin(((p[:, None, 1:] - v[None, ::20, 1:]) ** 2).sum(-1), axis=1) * 20]) @ bone.dorsal
        i = int(np.argmax(beyond < 0))
        lo, hi = s[i - 1], s[i]
        for _ in range(60):
            m = (lo + hi) / 2
            q = lead.at(m)[0]
            w = brentq(lambda w: float((bone.ventral(w) - q) @ bone.caudal), 0, 1, xtol=1e-14)
            if (q - bone.ventral(w)) @ bone.dorsal > 0:
                lo = m
            else:
                hi = m
        return (lo + hi) / 2
    lead = Lead(n.hub, n.direction, bend, total=100, straight=straight, curvature=curvature)
    at = crossing(lead)
    first = at + depth_of_first
    lead.total = first + CONTACT / 2 + 1.0
    return lead, at, [first - PITCH * i for i in range(4)]


def draw_lead(film, bone, lead, centres, points=11):
    """points: how many on the part that bends."""
    draw_lateral(film, bone, {}, skin=False, fusion=False)
    path = lead.at(np.concatenate([np.linspace(0, 42, 5), np.linspace(48, lead.total, points)]))
    film.mark('lead', path, object='L1')
    for k, at in enumerate(centres):
        film.mark('contact', lead.at(at), object='L1', index=k, detail='%g' % CONTACT)


def contact_depths(film, get):
    path, margin = get('lead', object='L1'), get('ventral-margin')
    return reading.contacts(path, [get('contact', object='L1', index=k)[0] for k in range(4)], margin)


def leads():
    out = []
    for i, (depth, curvature, side) in enumerate([(20.2, 0.03, 90), (13.0, -0.02, -90), (7.0, 0.0, 90), (1.0, 0.01, -90)]):
        bone = Sacrum(tilt=20, shift=(0, 6, 0))
        lc = Camera(primary=side)
        lead, margin, centres = sagittal_lead(bone, depth, curvature)
        for scatter in (0, 1):
            c = Case('lead-%d%s' % (i, '-scattered' * scatter),
                     'a lead of four contacts, the deepest %.1f mm of arc beyond the margin' % depth)
            l = c.film('lateral.dcm', lc)
            draw_lead(l, bone, lead, centres)
            if scatter:
                jitter(l, np.random.default_rng(500 + i), 1.0, 0.3)
            second = contact_depths(l, film_marks(l, lc.plane()))
            beyond = 0
            for k, at in enumerate(centres):
                check = c.expect('L1', 'contact-depth', second[k], SAME, plane='lateral', unit='mm', contact=k, covers=[at - margin])
                kind = reading.against_margin(second[k], CONTACT)
                beyond += kind != 'short'
                check['class'] = kind
                if not scatter:
                    check['truth'], check['truthWithin'] = at - margin, LENGTH
            c.expect('L1', 'contacts-beyond-margin', beyond, 0, plane='lateral', unit='1')
            c.absent = [{'object': 'L1', 'quantity': 'tip-depth-along-needle'}]
            out.append(c)
    return out


def deflected():
    """A lead on the frontal film: straight for its last 15 mm at a known angle to the midline."""
    out = []
    # Gahzi et al., Int Neurourol J 2017;21(4):289-294, doi 10.5213/inj.1734942.471 (abstract).
    classes = [(15, '0.*30'), (45, '30.*60'), (75, '60.*90'), (110, '(?i)over 90'), (-25, '(?i)medial')]
    for i, (angle, kind) in enumerate(classes):
        front = (0, 180)[i % 2]
        left = i % 3 != 0
        fc = Camera(primary=front, flip=i % 2 == 1)
        for scatter in (0, 1):
            c = Case('deflection-%d%s' % (i, '-scattered' * scatter), 'a lead whose last 18 mm run %d degrees lateral of caudal' % angle)
            f = c.film('frontal.dcm', fc, header={'PatientPosition': ('HFS', 'HFP')[i % 2]})
            draw_deflected(f, angle, 1 if left else -1)
            if scatter:
                jitter(f, np.random.default_rng(900 + i), 1.0, 0.3)
            chord, line = deflections(f, film_marks(f, fc.plane()), left)
            check = c.expect('L1', 'frontal-deflection', plane='frontal', unit='deg', side='left' if left else 'right')
            if scatter:
                check['oneOf'] = [chord, line]
            else:
                check.update(truth=float(angle), truthWithin=ANGLE, covers=[float(angle)])
                check['class'] = kind
            out.append(c)
    return out


def draw_deflected(film, angle, s):
    a = math.radians(angle)
    end = np.array([s * math.sin(a), 0.0, -math.cos(a)])
    entry = np.array([s * 20.0, 0.0, 0.0])
    bend = entry + [s * 1.0, 0, -14]
    tail = np.array([bend + end * k for k in (0.0, 3.0, 6.0, 9.0, 12.0, 15.0, 18.0)])
    head = np.array([entry + [0, 0, z] for z in (30, 20, 10, 0)])
    film.mark('lead', np.vstack([head, tail]), object='L1')
    film.mark('midline', [(0, 0, 40), (0, 0, -40)])


def deflections(film, get, left):
    c, spacing = film.camera, film.camera.plane()
    return reading.deflection(get('lead', object='L1'), get('midline'), c.towards('H') * spacing,
                              c.towards('L' if left else 'R') * spacing)


def positions():
    """A needle pushed on: two positions on one film, and on two."""
    out = []
    for i in range(2):
        bone = Sacrum()
        lc = Camera(primary=(90, -90)[i])
        first, second = Needle(bone, 0.5, 0, angle=70, depth=-2.5), Needle(bone, 0.5, 0, angle=70, depth=6.0)
        c = Case('positions-%d' % i, 'N1 pushed on by 8.5 mm; both positions on %s' % ('one film', 'two films')[i])
        l = c.film('lateral.dcm', lc)
        draw_lateral(l, bone, {'N1': first})
        later = l
        if i:
            later = c.film('lateral-later.dcm', lc)
            draw_lateral(later, bone, {})
        later.mark('needle', second.points(), object='N1.2')
        sp = lc.plane()
        a = lateral_reading(l, 'N1', sp)['tip-depth-along-needle']
        b = lateral_reading(later, 'N1.2', sp)['tip-depth-along-needle']
        c.expect('N1.2', 'depth-change', b - a, SAME, plane='lateral', unit='mm', truth=8.5, truthWithin=LENGTH, covers=[8.5])
        out.append(c)
    return out


def bent():
    """A shaft that bends 25 mm from its tip: the axis is its last 20 mm, which are straight."""
    bone = Sacrum()
    n = Needle(bone, 0.5, 0.0, angle=70, depth=14.0)
    lc = Camera(primary=90)
    c = Case('bent', 'a shaft bent outside the bone; only its last 20 mm give the axis')
    l = c.film('lateral.dcm', lc)
    draw_lateral(l, bone, {})
    up = np.array([0.0, n.direction[2], -n.direction[1]])
    shaft = [n.tip - k * n.direction for k in (19.9, 15, 10, 5, 0)]
    bend = n.tip - 26 * n.direction
    far = bend - 50 * (n.direction + 0.25 * up)
    l.mark('needle', [far, (far + bend) / 2, bend] + shaft, object='N1')
    straight = Case('', '').film('x', lc)
    draw_lateral(straight, bone, {'N1': n})
    sp = lc.plane()
    exact = lateral_reading(straight, 'N1', sp)
    for q, within in (('tip-depth-along-needle', LENGTH), ('insertion-angle-dorsal', ANGLE), ('insertion-angle-ventral', ANGLE)):
        c.expect('N1', q, exact[q], within, plane='lateral')
    return [c]


def jitter(film, rng, sd, needle_sd):
    """Move every mark by hand scatter, then round to single precision as before."""
    for i, (structure, p, f) in enumerate(film.marks):
        s = needle_sd if structure in ('needle', 'lead', 'wire') else sd
        q = (p + rng.normal(0, s, p.shape)).astype(np.float32).astype(float)
        film.marks[i] = (structure, q, f)


def scattered(count):
    """Marks scattered at random: the two programs must agree to the last digit that counts."""
    out = []
    for i in range(count):
        rng = np.random.default_rng(1000 + i)
        bone = Sacrum(tilt=rng.uniform(8, 26), hollow=rng.uniform(20, 30), shift=(0, rng.uniform(-5, 5), rng.uniform(-5, 5)))
        aside = rng.choice([-1, 1]) * rng.uniform(17, 24)
        n = Needle(bone, rng.uniform(0.46, 0.53), aside, angle=rng.uniform(62, 76), splay=rng.uniform(-5, 5), depth=rng.uniform(-6, 12))
        shape = [dict(), dict(column_spacing=0.4, columns=640), dict(row_spacing=0.4, rows=640)][i % 3]
        fc = Camera(primary=(0, 180)[i % 2] + rng.uniform(-6, 6) * (i % 2 == 0), secondary=rng.uniform(-4, 4), rotation=90 * (i % 4), flip=i % 5 == 0, **shape)
        lc = Camera(primary=(90, -90)[i // 2 % 2] + rng.uniform(-5, 5), secondary=rng.uniform(-4, 4), rotation=90 * (i // 3 % 4),
                    flip=i % 3 == 0, detector=1020, patient=735, **shape)
        c = Case('scattered-%d' % i, 'marks scattered by hand: both programs against each other')
        f = c.film('frontal.dcm', fc, header={'PatientPosition': ('HFS', 'HFP')[i % 2]})
        l = c.film('lateral.dcm', lc)
        draw_frontal(f, bone, {'N1': n})
        draw_lateral(l, bone, {'N1': n})
        jitter(f, rng, 1.0, 0.3)
        jitter(l, rng, 1.0, 0.3)
        expect_lateral(c, l, bone, 'N1', n, lc.plane(), truth=False, anatomy={'tip-depth-along-needle': n.depth, 'insertion-angle-dorsal': n.angle})
        expect_frontal(c, f, l, bone, 'N1', n, fc.plane(), lc.plane())
        for v in c.values:
            v.pop('truth', None)
            v['loosely'] = True   # of 95 % intervals some miss: they are counted over all cases
        out.append(c)
    return out


def budget(i, draws):
    """The marking part of the budget against Monte Carlo (JCGM 101) with one pixel of scatter."""
    rng = np.random.default_rng(77 + i)
    bone = Sacrum(tilt=14 + 3 * i)
    aside = (20.0, -19.0, 22.0)[i % 3]
    n = Needle(bone, 0.49, aside, angle=(68, 73, 64)[i % 3], splay=(3, -4, 0)[i % 3], depth=(7.0, -3.0, 11.0)[i % 3])
    m = Needle(bone, 0.49, aside, angle=(68, 73, 64)[i % 3], splay=(3, -4, 0)[i % 3], depth=n.depth + 4)
    fc, lc = Camera(primary=180), Camera(primary=(90, -90)[i % 2])
    c = Case('budget-%d' % i, 'marking part of the budget by Monte Carlo, one pixel on every coordinate')
    c.args = ['--marking-sd', '1']
    f = c.film('frontal.dcm', fc)
    l = c.film('lateral.dcm', lc)
    # Nine points round a foramen, as a hand sets them: of many close points the outermost
    # is no longer a linear function (JCGM 101, 5.10.1).
    draw_frontal(f, bone, {'N1': n}, outline=9)
    draw_lateral(l, bone, {'N1': n})
    l.mark('needle', m.points(), object='N1.2')
    sp, sl, lateral = fc.plane(), lc.plane(), 'L' if aside > 0 else 'R'

    def all_values(fm, lm):
        v = {('N1', 'lateral', k): x for k, x in lateral_reading(l, 'N1', sl, 61, lm).items() if k.count('-')}
        other = lateral_reading(l, 'N1.2', sl, 61, lm)
        v['N1.2', 'lateral', 'depth-change'] = other['tip-depth-along-needle'] - v['N1', 'lateral', 'tip-depth-along-needle']
        front = frontal_reading(f, l, 'N1', sp, sl, lateral, fm, lm)
        v.update({('N1', 'frontal', k): front[k] for k in FRONTAL if k in front})
        return v

    got = {}
    for _ in range(draws):
        for k, x in all_values(scattering(f, sp, rng), scattering(l, sl, rng)).items():
            got.setdefault(k, []).append(x)
    for (name, plane, quantity), x in got.items():
        if len(x) == draws:
            c.expect(name, quantity, plane=plane, marking=float(np.std(x, ddof=1)), lacks='edge')
    return c


def scattering(film, spacing, rng):
    """The film's marks, each moved by one pixel at random, in millimetres."""
    marks = [(s, (p + rng.normal(0, 1, p.shape)) * spacing, g) for s, p, g in film.marks]

    def get(structure, **fields):
        for s, p, g in marks:
            if s == structure and all(g.get(k) == w for k, w in fields.items()):
                return p
        return None
    return get


def lead_budget(i, draws):
    """The marking part for contacts and for deflection, by Monte Carlo."""
    rng = np.random.default_rng(177 + i)
    bone = Sacrum(tilt=20, shift=(0, 6, 0))
    lc, fc = Camera(primary=(90, -90)[i % 2]), Camera(primary=180)
    lead, _, centres = sagittal_lead(bone, (19.0, 12.0)[i % 2], 0.02)
    c = Case('budget-lead-%d' % i, 'marking part of the budget of a lead by Monte Carlo, one pixel on every coordinate')
    c.args = ['--marking-sd', '1']
    l = c.film('lateral.dcm', lc)
    f = c.film('frontal.dcm', fc)
    # Points some 8 mm apart: on closer ones scatter makes the path longer to the second
    # order, which a budget of first order (JCGM 100, 5.1.2) does not hold.
    draw_lead(l, bone, lead, centres, points=6)
    draw_deflected(f, (40, 70)[i % 2], 1)
    depths = np.array([contact_depths(l, scattering(l, lc.plane(), rng)) for _ in range(draws)])
    for k in range(4):
        c.expect('L1', 'contact-depth', plane='lateral', contact=k, marking=float(np.std(depths[:, k], ddof=1)), lacks='edge')
    turns = np.array([deflections(f, scattering(f, fc.plane(), rng), True) for _ in range(2 * draws)])
    c.expect('L1', 'frontal-deflection', plane='frontal', markings=[float(v) for v in np.std(turns, axis=0, ddof=1)], lacks='edge')
    return c
