"""Cases on what a film is, which way is cranial, what must be missing, and levels."""
import numpy as np

import reading
from camera import Camera
from case import (FRONTAL, LENGTH, SAME, Case, draw_frontal, draw_lateral, expect_frontal, expect_lateral,
                  foramen_outline, lateral_reading)
from sacrum import Needle, Sacrum

ANGLES = ['insertion-angle-dorsal', 'insertion-angle-chord', 'insertion-angle-ventral']
DEPTH = 'tip-depth-along-needle'
NO_ANGLES = {'PositionerPrimaryAngle': None, 'PositionerSecondaryAngle': None, 'PatientOrientation': None, 'PatientPosition': None}


def one(name, purpose, camera=None, header=None, entry=0.5, angle=70, depth=5.0, kind='XA', **draw):
    c = Case(name, purpose)
    bone = Sacrum()
    n = Needle(bone, entry, 0.0, angle=angle, depth=depth)
    camera = camera or Camera(primary=90)
    l = c.film('lateral.dcm', camera, header=header, kind=kind)
    draw_lateral(l, bone, {'N1': n}, **draw)
    return c, l, bone, n


def oblique():
    out = []
    for primary, secondary in ((45, 0), (-69, 0), (112, 0), (90, 22), (158, 0)):
        c, l, bone, n = one('oblique-%d-%d' % (primary, secondary), 'more than 20 degrees off is neither view',
                            Camera(primary=primary, secondary=secondary), {'PatientOrientation': None})
        c.absent = [{'object': 'N1', 'quantity': q} for q in (DEPTH, 'tip-offset-midline', *ANGLES)]
        out.append(c)
    for primary, secondary in ((71, 0), (-109, 0), (90, 19)):
        c, l, bone, n = one('within-%d-%d' % (primary, secondary), 'within 20 degrees is a lateral view',
                            Camera(primary=primary, secondary=secondary), {'PatientOrientation': None})
        expect_lateral(c, l, bone, 'N1', n, l.camera.plane())
        c.cautions = ['Lateral view rotated: depth differs by side\\.']
        out.append(c)
    return out


def cranial():
    """Which way is cranial: from header, marks or observer; unknown or in conflict, angles are missing."""
    out = []
    scale = {'PixelSpacing': ['0.375', '0.375'], 'PixelSpacingCalibrationType': 'FIDUCIAL', 'ImagerPixelSpacing': None,
             'DistanceSourceToDetector': None, 'DistanceSourceToPatient': None}
    view = ['confirm', '@', '--frame', 'lateral.dcm', '--view', 'lateral']

    c, l, bone, n = one('cranial-unknown', 'nothing says which way is cranial', header={**NO_ANGLES, **scale}, kind='CR', fusion=False)
    c.steps = [view]
    c.expect('N1', DEPTH, n.depth, LENGTH, plane='lateral', unit='mm')
    c.absent = [{'object': 'N1', 'quantity': q} for q in ANGLES]
    out.append(c)

    c, l, bone, n = one('cranial-marks', 'promontory and coccyx tip say which way is cranial', header={**NO_ANGLES, **scale}, kind='CR')
    c.steps = [view]
    l.mark('promontory', bone.ventral(0.0))
    l.mark('coccyx-tip', bone.ventral(1.0))
    expect_lateral(c, l, bone, 'N1', n, l.camera.plane())
    out.append(c)

    for edge, rotation in (('top', 0), ('right', 90), ('bottom', 180), ('left', 270)):
        c, l, bone, n = one('cranial-stated-' + edge, 'the observer says which way is cranial', Camera(primary=90, rotation=rotation),
                            {**NO_ANGLES, **scale, 'FieldOfViewRotation': None, 'FieldOfViewHorizontalFlip': None}, kind='CR')
        c.steps = [view + ['--cranial', edge]]
        expect_lateral(c, l, bone, 'N1', n, l.camera.plane())
        out.append(c)

    c, l, bone, n = one('cranial-conflict', 'marks and header disagree on which way is cranial', header={'PatientOrientation': ['P', 'H']}, fusion=False)
    l.mark('promontory', bone.ventral(0.0))
    l.mark('coccyx-tip', bone.ventral(1.0))
    c.expect('N1', DEPTH, n.depth, LENGTH, plane='lateral', unit='mm')
    c.absent = [{'object': 'N1', 'quantity': q} for q in ANGLES]
    c.cautions = ['(?i)head|cranial']
    out.append(c)
    return out


def missing():
    """What cannot be had is missing, and says what to mark."""
    out = []
    c, l, bone, n = one('few-points', 'four points make no curve', count=4)
    c.missing = [{'object': 'N1', 'quantity': DEPTH, 'because': '5'}, {'object': 'N1', 'quantity': ANGLES[0], 'because': '5'}]
    out.append(c)

    c, l, bone, n = one('short-margin', 'the marked margin ends before the axis meets it', contours=False)
    l.mark('ventral-margin', bone.ventral(np.linspace(0, 0.4, 9)))
    l.mark('dorsal-margin', bone.back(np.linspace(0.1, 0.9, 9)))
    c.missing = [{'object': 'N1', 'quantity': DEPTH, 'because': '(?i)extend.*ventral|ventral.*extend'}]
    c.absent = [{'object': 'N1', 'quantity': DEPTH}]
    out.append(c)

    c, l, bone, n = one('no-dorsal', 'no dorsal surface marked: beyond is the side away from the hub', contours=False, depth=-4.0)
    l.mark('ventral-margin', bone.ventral(np.linspace(0, 1, 13)))
    c.expect('N1', DEPTH, -4.0, LENGTH, plane='lateral', unit='mm')
    c.missing = [{'object': 'N1', 'quantity': ANGLES[0], 'because': '(?i)dorsal'}]
    out.append(c)

    c, l, bone, n = one('steep', 'a steep axis meets the hollow margin twice: the first after entry is the exit', entry=0.4, angle=30, depth=4.0)
    expect_lateral(c, l, bone, 'N1', n, l.camera.plane(), anatomy={DEPTH: 4.0}, skip=('tip-depth-perpendicular', 'insertion-angle-skin'))
    out.append(c)

    c, l, bone, n = one('other-hand', 'a needle that points cranial from hub to tip', angle=108, depth=6.0)
    expect_lateral(c, l, bone, 'N1', n, l.camera.plane(), anatomy={DEPTH: 6.0})
    out.append(c)

    c = Case('wire', 'a temporary wire is measured as a needle is')
    bone = Sacrum()
    n = Needle(bone, 0.5, 0.0, depth=8.0)
    l = c.film('lateral.dcm', Camera(primary=-90))
    draw_lateral(l, bone, {})
    l.mark('wire', n.points(), object='W1')
    c.expect('W1', DEPTH, 8.0, LENGTH, plane='lateral', unit='mm', covers=[8.0])
    c.expect('W1', 'insertion-angle-dorsal', n.angle, 0.2, plane='lateral', unit='deg')
    out.append(c)
    return out


def same_height():
    """Two films without geometry: the entry is taken at the same height."""
    out = []
    for i, aside in enumerate((19.0, -21.0)):
        header = {**NO_ANGLES, 'PixelSpacing': ['0.375', '0.375'], 'PixelSpacingCalibrationType': 'FIDUCIAL',
                  'ImagerPixelSpacing': None, 'DistanceSourceToDetector': None, 'DistanceSourceToPatient': None}
        bone = Sacrum()
        n = Needle(bone, 0.5, aside, angle=69, splay=4, depth=6.0)
        c = Case('same-height-%d' % i, 'films without geometry: the entry is at the same height on both')
        fc, lc = Camera(primary=180), Camera(primary=90)
        f = c.film('frontal.dcm', fc, header=header, kind='CR')
        l = c.film('lateral.dcm', lc, header=header, kind='CR')
        draw_frontal(f, bone, {'N1': n})
        draw_lateral(l, bone, {'N1': n})
        c.steps = [['confirm', '@', '--frame', 'frontal.dcm', '--view', 'frontal', '--cranial', 'top'],
                   ['confirm', '@', '--frame', 'lateral.dcm', '--view', 'lateral', '--cranial', 'top']]
        sp = fc.plane()
        entry = lateral_reading(l, 'N1', sp)['entry']
        at = reading.frontal_entry(f.points('needle', object='N1') * sp, (entry, np.array([1.0, 0.0])))
        value = reading.offset(f.points('midline') * sp, at, fc.towards('L' if aside > 0 else 'R') * sp)
        c.expect('N1', 'entry-offset-midline', value, SAME, plane='frontal', unit='mm', side='', covers=[abs(aside)])
        out.append(c)
    return out


def across():
    """A needle whose tip has crossed the midline is on its entry's side; its tip is medial: negative."""
    out = []
    for front, aside in ((180, 15.0), (0, -15.0)):
        bone = Sacrum()
        n = Needle(bone, 0.5, aside, angle=70, splay=-33.0 if aside > 0 else 33.0, depth=5.0)
        c = Case('across-%d' % front, 'entry %g mm from the midline, tip %.1f' % (aside, n.tip[0]))
        fc, lc = Camera(primary=front), Camera(primary=90)
        f = c.film('frontal.dcm', fc, header={'PatientPosition': 'HFP' if front else 'HFS'})
        l = c.film('lateral.dcm', lc)
        draw_frontal(f, bone, {'N1': n})
        draw_lateral(l, bone, {'N1': n})
        expect_frontal(c, f, l, bone, 'N1', n, fc.plane(), lc.plane(), side='left' if aside > 0 else 'right',
                       skip=[q for q in FRONTAL if 'fora' in q or 'fraction' in q])
        out.append(c)
    return out


def crossing():
    """Where the pictures of two needles cross on the lateral film, read back from the first one's tip."""
    bone = Sacrum()
    n, m = Needle(bone, 0.5, 20.0, angle=70, depth=5.0), Needle(bone, 0.47, -20.0, angle=60, depth=7.0)
    c = Case('crossing', 'two needles that cross on the lateral film and not on the frontal one')
    f, l = c.film('frontal.dcm', Camera(primary=180)), c.film('lateral.dcm', Camera(primary=90))
    draw_frontal(f, bone, {'N1': n, 'N2': m})
    draw_lateral(l, bone, {'N1': n, 'N2': m})
    spacing = l.camera.plane()
    (a, b), (p, q) = [l.camera.project([x.hub, x.tip]) * spacing for x in (n, m)]
    s = np.linalg.solve(np.array([b - a, p - q]).T, p - a)[0]
    c.expect('N1', 'crossing', np.hypot(*(b - a)) * (1 - s), LENGTH, plane='lateral', unit='mm')
    c.cautions = ['Needle identity on the lateral film is not proven\\.']
    return [c]


def two_frontals():
    """Two films from the front that put the patient's left on different sides of one needle."""
    c = Case('two-frontals', 'of two frontal films one is mirrored and does not say so')
    bone = Sacrum()
    n = Needle(bone, 0.5, 20.0, depth=5.0)
    for name, header, flip in (('frontal.dcm', {}, False), ('mirrored.dcm', {'PatientOrientation': None, 'PatientPosition': None,
                               'FieldOfViewHorizontalFlip': None, 'FieldOfViewRotation': None}, True)):
        f = c.film(name, Camera(primary=180, flip=flip), header=header)
        draw_frontal(f, bone, {'N1': n})
    for_all = [{'object': 'N1', 'quantity': 'tip-offset-midline', 'plane': 'frontal', 'side': '', 'several': True}]
    c.values += for_all
    c.cautions = ['(?i)side']
    c.refusals = [['note', '@']]
    return [c]


def levels():
    """A level by the dorsal opening the axis meets, and what it rests on."""
    out = []

    def case(name, purpose, steps, level, says, foramen='S3', column=None):
        bone = Sacrum()
        n = Needle(bone, 0.5, 20.0, angle=70, depth=5.0)
        c = Case('level-' + name, purpose)
        f, l = c.film('frontal.dcm', Camera(primary=180)), c.film('lateral.dcm', Camera(primary=90))
        draw_frontal(f, bone, {})
        for lv, up in (('S2', 1), ('S3', 0), ('S4', -1)):
            shifted = foramen_outline(n) + [0, 0, 17.0 * up]
            if foramen:
                f.mark('foramen', shifted, level=lv, side='left', detail='dorsal')
        extra = {'level': column} if column else {}
        f.mark('needle', n.points(), object='N1', **extra)
        draw_lateral(l, bone, {})
        l.mark('needle', n.points(), object='N1', **extra)
        c.steps = steps
        c.expect('N1', 'entry-offset-midline', plane='frontal', level=level, levelSays=says)
        out.append(c)

    def counted(basis, *more):
        return ['confirm', '@', '--basis', basis, *more]

    def device(level, basis):
        return ['confirm', '@', '--object', 'N1', '--level', level, '--basis', basis]

    case('foramen', 'the entry lies in the third opening; nobody said how it was counted', [], 'S3', 'level not confirmed')
    case('above', 'counted from above', [counted('counted-from-above')], 'S3', '(?i)from above')
    case('below', 'counted from below', [counted('counted-from-below')], 'S3', '(?i)from below')
    case('si-line', 'sacroiliac line alone', [counted('sacroiliac-line')], 'S3', 'level not confirmed')
    case('stated', 'stated by the observer alone', [device('S3', 'stated')], 'S3', 'level not confirmed', foramen=None)
    case('none', 'nothing about level', [], '', '', foramen=None)
    case('device', 'lateral landmarks for the device', [device('S4', 'lateral-landmarks')], 'S4', '(?i)lateral landmarks', foramen=None)
    case('conflict', 'marks say S4, the entry lies in S3', [], '', '', column='S4')
    return out


def all_cases():
    return oblique() + cranial() + missing() + same_height() + across() + crossing() + two_frontals() + levels()
