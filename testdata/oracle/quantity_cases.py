"""Cases on each quantity: leads and contacts, positions, bent shafts, random marks, budgets."""
import math

import numpy as np

import reading
from camera import Camera
from case import (ANGLE, FRONTAL, LENGTH, SAME, Case, NEEDS_LENGTH, draw_frontal, draw_lateral, expect_frontal, expect_lateral,
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
            w = bone.meet(bone.ventral, q, bone.dorsal, 0.53)
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


def leads():
    out = []
    for i, (depth, curvature, side) in enumerate([(20.2, 0.03, 90), (13.0, -0.02, -90), (7.0, 0.0, 90), (-4.0, 0.01, -90)]):
        bone = Sacrum(tilt=20, shift=(0, 6, 0))
        lc = Camera(primary=side)
        lead, margin, centres = sagittal_lead(bone, depth, curvature)
        c = Case('lead-%d' % i, 'a lead of four contacts, the deepest %.1f mm of arc beyond the margin' % depth)
        l = c.film('lateral.dcm', lc)
        draw_lateral(l, bone, {}, skin=False, fusion=False)
        s = np.concatenate([np.linspace(0, 42, 5), np.linspace(48, lead.total, 11)])
        path = l.mark('lead', lead.at(s), object='L1')
        marked = []
        for k, at in enumerate(centres):
            marked.append(l.mark('contact', lead.at(at), object='L1', index=k, detail='%g' % CONTACT)[0])
        spacing = lc.plane()
        beyond = 0
        reaches = lead.total > margin
        second = reading.contacts(path * spacing, np.array(marked) * spacing, l.points('ventral-margin') * spacing) if reaches else None
        for k, at in enumerate(centres):
            depth_k = at - margin
            kind = reading.against_margin(depth_k, CONTACT)
            beyond += kind != 'short'
            check = c.expect('L1', 'contact-depth', plane='lateral', unit='mm', contact=k, truth=depth_k,
                             truthWithin=LENGTH, covers=[depth_k])
            check['class'] = kind
            if second:
                check['value'], check['within'] = second[k], SAME
        c.expect('L1', 'contacts-beyond-margin', beyond, 0, plane='lateral', unit='1')
        c.absent = [{'object': 'L1', 'quantity': 'tip-depth-along-needle'}]
        out.append(c)
    return out


def deflected():
    """A lead on the frontal film: straight for its last 10 mm at a known angle to the midline."""
    out = []
    # Gahzi et al., Int Neurourol J 2017;21(4):289-294, doi 10.5213/inj.1734942.471 (abstract).
    classes = [(15, '0.*30'), (45, '30.*60'), (75, '60.*90'), (110, '(?i)over 90'), (-25, '(?i)medial')]
    for i, (angle, kind) in enumerate(classes):
        front = (0, 180)[i % 2]
        left = i % 3 != 0
        s = 1 if left else -1
        bone = Sacrum()
        fc, lc = Camera(primary=front, flip=i % 2 == 1), Camera(primary=90)
        c = Case('deflection-%d' % i, 'a lead whose last 12 mm run %d degrees lateral of caudal' % angle)
        f = c.film('frontal.dcm', fc, header={'PatientPosition': ('HFS', 'HFP')[i % 2]})
        a = math.radians(angle)
        end = np.array([s * math.sin(a), 0.0, -math.cos(a)])
        entry = np.array([s * 20.0, 0.0, 0.0])
        # A quarter of a clothoid would do; a cubic with straight ends is enough.
        bend = entry + [s * 1.0, 0, -14]
        tail = np.array([bend + end * k for k in (0.0, 3.0, 6.0, 9.0, 12.0, 15.0, 18.0)])
        head = np.array([entry + [0, 0, z] for z in (30, 20, 10, 0)])
        p = f.mark('lead', np.vstack([head, tail]), object='L1')
        f.mark('midline', [(0, 0, 40), (0, 0, -40)])
        spacing = fc.plane()
        chord, line = reading.deflection(p * spacing, f.points('midline') * spacing, fc.towards('H') * spacing,
                                         fc.towards('L' if left else 'R') * spacing)
        check = c.expect('L1', 'frontal-deflection', chord, max(SAME, 1.5 * abs(chord - line)), plane='frontal', unit='deg',
                         truth=float(angle), truthWithin=ANGLE)
        check['class'] = kind
        out.append(c)
    return out


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
        expect_lateral(c, l, bone, 'N1', n, lc.plane(), truth=False)
        expect_frontal(c, f, l, bone, 'N1', n, fc.plane(), lc.plane(), anatomy=False)
        for v in c.values:
            if v['plane'] == 'frontal':
                del v['truth'], v['truthWithin']
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
    draw_frontal(f, bone, {'N1': n})
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

    def moved(film, spacing):
        marks = [(s, (p + rng.normal(0, 1, p.shape)) * spacing, g) for s, p, g in film.marks]
        def get(structure, **fields):
            for s, p, g in marks:
                if s == structure and all(g.get(k) == w for k, w in fields.items()):
                    return p
            return None
        return get
    got = {}
    for _ in range(draws):
        for k, x in all_values(moved(f, sp), moved(l, sl)).items():
            got.setdefault(k, []).append(x)
    for (name, plane, quantity), x in got.items():
        if len(x) < draws:
            continue
        c.expect(name, quantity, plane=plane, marking=float(np.std(x, ddof=1)), symmetric=True)
    return c
