"""A simulated case: films, marks, and what a careful reader must find in them."""
import json
import os

import numpy as np

import reading
from film import Film, write_marks

LENGTH, ANGLE = 0.05, 0.2    # how near the truth in the scaled plane a value must come, mm and degrees
SAME = 1e-6                  # how near two programs must come that follow the same definition

LATERAL = {
    'tip-depth-along-needle': 'mm', 'tip-depth-perpendicular': 'mm', 'insertion-angle-dorsal': 'deg',
    'insertion-angle-chord': 'deg', 'insertion-angle-ventral': 'deg', 'insertion-angle-skin': 'deg',
    'insertion-angle-fusion': 'deg',
}
NEEDS_LENGTH = ('tip-depth-perpendicular', 'insertion-angle-chord')   # defined by 15 or 20 mm


class Case:
    def __init__(self, name, purpose):
        self.name, self.purpose = name, purpose
        self.films, self.steps, self.args = [], [], []
        self.values, self.absent, self.missing, self.cautions, self.refusals = [], [], [], [], []
        self.no_millimetre = False

    def film(self, *args, **kwargs):
        f = Film(*args, minute=len(self.films), **kwargs)
        self.films.append(f)
        return f

    def expect(self, object, quantity, value=None, within=None, **more):
        """A result that must be there. covers: numbers its interval must hold; marking: the
        marking part of its budget by Monte Carlo, to 10 %."""
        check = {'object': object, 'quantity': quantity, **more}
        if value is not None:
            check['value'], check['within'] = float(value), float(within)
        self.values.append(check)
        return check

    def save(self, root):
        folder = os.path.join(root, self.name)
        images = os.path.join(folder, 'images')
        os.makedirs(images)
        for f in self.films:
            f.save(images, self.name)
        write_marks(os.path.join(folder, 'marks.csv'), self.films)
        truth = {'name': self.name, 'purpose': self.purpose, 'steps': self.steps, 'args': self.args,
                 'values': self.values, 'absent': self.absent, 'missing': self.missing, 'cautions': self.cautions,
                 'refusals': self.refusals, 'noMillimetre': self.no_millimetre}
        with open(os.path.join(folder, 'truth.json'), 'w') as out:
            json.dump(truth, out, indent=1)


def dense(contour, lo, hi, n=401):
    return contour(np.linspace(lo, hi, n))


def draw_lateral(film, bone, needles, count=13, skin=True, fusion=True, order=None, contours=True):
    """Mark the contours with count exact points each, and the needles {object: Needle}."""
    if contours:
        for structure, contour, lo, hi in (('ventral-margin', bone.ventral, 0.0, 1.0),
                                           ('dorsal-margin', bone.back, 0.04, 0.93)):
            p = dense(contour, lo, hi, count)
            film.mark(structure, p if order is None else p[order])
        if skin:
            film.mark('skin-line', dense(bone.skin, 0.2, 0.85, 7))
        if fusion:
            film.mark('fusion-line', fusion_line(bone), detail='S3/S4')
    for name, n in needles.items():
        film.mark('needle', n.points(), object=name)


def fusion_line(bone):
    """The line between the third and fourth segments, ventral end first."""
    a, b = bone.ventral(0.56), bone.back(0.56)
    return np.array([a + 0.05 * (b - a), a + 0.9 * (b - a)])


def film_marks(film, spacing):
    """Marks of a lateral film in millimetres, as reading.needle takes them."""
    def get(structure, **fields):
        p = film.points(structure, **fields)
        return None if p is None else p * spacing
    return get


def lateral_truth(film, bone, n, spacing):
    """A needle's quantities on the film from finely sampled exact contours."""
    c = film.camera
    def on_film(p):
        return c.project(p) * spacing
    f = fusion_line(bone)
    return reading.needle(
        on_film(n.points()), c.towards('H') * spacing, on_film(dense(bone.back, 0.04, 0.93)),
        on_film(dense(bone.ventral, 0.0, 1.0)), on_film(dense(bone.skin, 0.2, 0.85)), on_film(f),
        np.subtract(*on_film(f[::-1])))


def agree_with_construction(film, bone, n, spacing):
    """Two ways to the same truth: a needle in the midline plane, as it was built and as a film
    of that plane shows it."""
    shown = lateral_truth(film, bone, n, spacing)
    for quantity, built in (('tip-depth-along-needle', n.depth), ('insertion-angle-dorsal', n.angle),
                            ('insertion-angle-ventral', n.ventral_angle())):
        if abs(shown[quantity] - built) > 1e-5:
            raise ValueError('the simulator contradicts itself: %s is %r, shown as %r' % (quantity, built, shown[quantity]))


def lateral_reading(film, name, spacing, chord_samples=1001, marks=None):
    """A needle's quantities by the second reader, from the film's own marks."""
    get = marks or film_marks(film, spacing)
    c, fusion, ventral, back = film.camera, get('fusion-line'), get('ventral-margin'), get('dorsal-margin')
    return reading.needle(get('needle', object=name), c.towards('H') * spacing, back, ventral, get('skin-line'), fusion,
                          None if back is None else back.mean(0) - ventral.mean(0), chord_samples)


def expect_lateral(case, film, bone, name, n, spacing, truth=True, anatomy=None, unit='mm', skip=(), **more):
    """Expect a needle's lateral quantities: within LENGTH and ANGLE of the truth in the scaled
    plane, and equal to the second reader's."""
    exact = lateral_truth(film, bone, n, spacing) if truth else {}
    second = lateral_reading(film, name, spacing)
    coarse = lateral_reading(film, name, spacing, chord_samples=31)
    for quantity, u in LATERAL.items():
        if quantity not in second or quantity in skip:
            continue
        same = SAME
        if quantity == 'insertion-angle-chord':   # the number of even samples is free
            same = max(SAME, 1.5 * abs(coarse[quantity] - second[quantity]))
        check = case.expect(name, quantity, second[quantity], same, plane='lateral',
                            unit=unit if u == 'mm' else u, **more)
        if truth:
            check['truth'] = exact[quantity]
            check['truthWithin'] = LENGTH if u == 'mm' else ANGLE
        if anatomy and quantity in anatomy:
            check['covers'] = [anatomy[quantity]]


def draw_frontal(film, bone, needles, side_line=12.0, outline=28):
    """Midline, sacroiliac line, dorsal foramina and needles."""
    z = bone.back(0.5)[2]
    film.mark('midline', [bone.back(0.12), bone.back(0.88)])
    x, y = bone.shift[0], bone.back(0.5)[1] - 6
    film.mark('si-line', [(x - 46, y, z + side_line), (x + 46, y, z + side_line - 1)])
    done = set()
    for name, n in needles.items():
        left = n.entry[0] > bone.shift[0]
        if left not in done:
            done.add(left)
            film.mark('foramen', foramen_outline(n, outline), level='S3', side='left' if left else 'right', detail='dorsal')
        film.mark('needle', n.points(), object=name)


def foramen_outline(n, count=28):
    """An upright ellipse parallel to the film about the needle's entry."""
    s = 1 if n.entry[0] > n.bone.shift[0] else -1
    x, y, z = n.entry
    a = np.arange(count) * 2 * np.pi / count
    return np.stack([x + s * 1.5 + 5.0 * np.cos(a), np.full(count, y), z - 1.0 + 6.5 * np.sin(a)], axis=1)


def frontal_reading(front, side, name, spacing, side_spacing, lateral, marks=None, side_marks=None,
                    kind='periodic', outline=None):
    """A needle's frontal quantities by the second reader, the entry by the epipolar line."""
    get = marks or film_marks(front, spacing)
    c = front.camera
    entry = lateral_reading(side, name, side_spacing, marks=side_marks)['entry'] / side_spacing
    point, way = side.camera.epipolar(entry, c)
    shaft, midline = get('needle', object=name), get('midline')
    at = reading.frontal_entry(shaft, (point * spacing, way * spacing))
    cranial, across = c.towards('H') * spacing, c.towards(lateral) * spacing
    out = {
        'entry-offset-midline': reading.offset(midline, at, across),
        'tip-offset-midline': reading.offset(midline, shaft[-1], across),
        'tip-caudal-to-si-line': reading.caudal_to_line(midline, get('si-line'), shaft[-1], cranial),
    }
    hole = outline if outline is not None else get('foramen', side={'L': 'left', 'R': 'right'}[lateral])
    out.update(reading.foramen(hole, midline, at, cranial, across, kind))
    return out


# How a closed outline of marks may be read: the definition leaves it open.
OUTLINES = ('periodic', 'polygon', 'not-a-knot')

FRONTAL = {
    'entry-offset-midline': 'mm', 'tip-offset-midline': 'mm', 'tip-caudal-to-si-line': 'mm',
    'entry-from-foramen-medial': 'mm', 'entry-from-foramen-superior': 'mm',
    'entry-fraction-medial': '1', 'entry-fraction-superior': '1',
}


def expect_frontal(case, front, lateral_film, bone, name, n, spacing, side_spacing, anatomy=True, skip=(), **more):
    lateral = 'L' if n.entry[0] > bone.shift[0] else 'R'
    readings = [frontal_reading(front, lateral_film, name, spacing, side_spacing, lateral, kind=k) for k in OUTLINES]
    # The same from finely sampled contours.
    fine = Film(lateral_film.name, lateral_film.camera)
    draw_lateral(fine, bone, {name: n}, count=401)
    exact = frontal_reading(front, fine, name, spacing, side_spacing, lateral,
                            outline=front.camera.project(foramen_outline(n, 720)) * spacing)
    for quantity, unit in FRONTAL.items():
        if quantity in skip:
            continue
        check = case.expect(name, quantity, plane='frontal', unit=unit, **more)
        if 'fora' in quantity or 'fraction' in quantity:
            check['oneOf'] = [r[k] for r in readings for k in (quantity, quantity + ', greatest breadth') if k in r]
        else:
            check['value'], check['within'] = readings[0][quantity], SAME
        check['truth'], check['truthWithin'] = exact[quantity], LENGTH if unit == 'mm' else 0.01
        if anatomy and quantity == 'entry-offset-midline':
            check['covers'] = [abs(n.entry[0] - bone.shift[0])]
        if anatomy and quantity == 'tip-offset-midline':
            check['covers'] = [(n.tip[0] - bone.shift[0]) * (1 if lateral == 'L' else -1)]
