"""Cases on side: what is claimed, from which sources, and when nothing may be.

The device lies at a known side of a body; the film is taken from the front or from
behind, turned and mirrored. The header then tells all, part or something false of it.
"""
import numpy as np

from camera import Camera, OPPOSITE
from case import Case
from sacrum import Needle, Sacrum

ANGLES = ('PositionerPrimaryAngle', 'PositionerSecondaryAngle')

# Which sources the header keeps, which of them lies, and whether a side may be named.
SOURCES = [
    ('orientation', {'orientation'}, None, True),
    ('angles', {'angles'}, None, True),
    ('position', {'position'}, None, True),
    ('two', {'orientation', 'angles'}, None, True),
    ('all', {'orientation', 'angles', 'position'}, None, True),
    ('orientation-lies', {'orientation', 'angles'}, 'orientation', False),
    ('position-lies', {'orientation', 'angles', 'position'}, 'position', False),
    ('position-lies-alone', {'orientation', 'position'}, 'position', False),
    ('nothing', set(), None, None),
]

WORDS = {'orientation': 'Patient Orientation', 'angles': '(?i)positioner angle', 'position': 'Patient Position'}


def film(case, front, rotation, flip, keep, lie, left, feet_first=False):
    c = Camera(primary=front, rotation=rotation, flip=flip, rows=128, columns=128, row_spacing=2, column_spacing=2)
    header = {}
    o = c.orientation()
    if lie == 'orientation':   # left and right exchanged
        o = tuple(OPPOSITE[x] if x in 'LR' else x for x in o)
    header['PatientOrientation'] = list(o) if 'orientation' in keep else None
    # With the tube under the table a film from the front is of a supine body: common practice, no source.
    supine = (front == 0) != (lie == 'position')
    header['PatientPosition'] = ('FF' if feet_first else 'HF') + ('S' if supine else 'P') if 'position' in keep else None
    if 'angles' not in keep:
        header.update({k: None for k in ANGLES})
    f = case.film('frontal.dcm', c, header=header)
    bone = Sacrum()
    n = Needle(bone, 0.5, 20.0 if left else -20.0, angle=70, depth=5)
    f.mark('midline', [bone.back(0.1), bone.back(0.9)])
    f.mark('needle', n.points(), object='N1')
    up = c.towards('H')
    edge = {(0, -1): 'top', (0, 1): 'bottom', (-1, 0): 'left', (1, 0): 'right'}[tuple(int(v) for v in np.sign(np.round(up, 6)))]
    right = {(0, -1): 'top', (0, 1): 'bottom', (-1, 0): 'left', (1, 0): 'right'}[
        tuple(int(v) for v in np.sign(np.round(c.towards('L'), 6)))]
    return edge, right


def table():
    out = []
    i = 0
    for front in (0, 180):
        for rotation in (0, 90, 180, 270):
            for flip in (False, True):
                for name, keep, lie, named in SOURCES:
                    left = (i * 7 // 3) % 2 == 0
                    c = Case('side-%d-%d-%s-%s' % (front, rotation, 'flip' if flip else 'plain', name),
                             'header keeps %s, %s lies; the device is at the %s' % (
                                 sorted(keep) or 'nothing', lie or 'none', 'left' if left else 'right'))
                    cranial, _ = film(c, front, rotation, flip, keep, lie, left, feet_first=i % 4 == 0)
                    # Without a view or cranial edge in the header the observer says both.
                    if 'angles' not in keep:
                        c.steps = [['confirm', '@', '--frame', 'frontal.dcm', '--view', 'frontal', '--cranial', cranial]]
                    check = c.expect('N1', 'tip-offset-midline', plane='frontal')
                    if named:
                        check.update(side='left' if left else 'right', sideConfirmed=False, sideSays='not confirmed',
                                     sideNames=[WORDS[k] for k in sorted(keep)])
                    else:
                        check.update(side='')
                    if lie:
                        c.cautions = ['(?i)side|left']
                        if rotation == 0:
                            c.refusals = [['note', '@'], ['report', '@', '--out', '@out/report.dcm'], ['frames', '@', '--out', '@out/frames']]
                    out.append(c)
                    i += 1
    return out


def stated():
    """What the observer says, alone, beside the header and with a basis."""
    out = []
    everything = {'orientation', 'angles', 'position'}

    def case(name, purpose, keep, lie, left, steps, side, confirmed, says, front=180, csv=None):
        c = Case('stated-' + name, purpose)
        cranial, edge = film(c, front, 0, False, keep, lie, left)
        if csv:
            c.films[0].marks = [(s, p, dict(f, side=csv) if s == 'needle' else f) for s, p, f in c.films[0].marks]
        c.steps = [[x.replace('$edge', edge) for x in step] for step in steps]
        if 'angles' not in keep:
            c.steps.insert(0, ['confirm', '@', '--frame', 'frontal.dcm', '--view', 'frontal', '--cranial', cranial])
        check = c.expect('N1', 'tip-offset-midline', plane='frontal', side=side)
        if side:
            check.update(sideConfirmed=confirmed, sideSays=says)
        else:
            c.refusals = [['note', '@']]
        out.append(c)

    def object_is(side, basis):
        return ['confirm', '@', '--object', 'N1', '--side', side, '--basis', basis]

    def frame_left(basis):
        return ['confirm', '@', '--frame', 'frontal.dcm', '--patient-left', '$edge', '--basis', basis]

    case('alone', 'stated by the observer, nothing in the header', set(), None, True, [object_is('left', 'stated')], 'left', False, 'not confirmed')
    case('csv-alone', 'stated in the marks, nothing in the header', set(), None, False, [], 'right', False, 'not confirmed', csv='right')
    case('csv-agrees', 'stated in the marks and in the header', everything, None, True, [], 'left', False, 'not confirmed', csv='left')
    case('csv-disagrees', 'marks against header', everything, None, True, [], '', False, '', csv='right')
    case('disagrees', 'observer without a basis against header', everything, None, True, [object_is('right', 'stated')], '', False, '')
    for basis in ('lead-marker', 'theatre-record', 'known-needle'):
        case('basis-' + basis, 'confirmed by ' + basis, everything, None, True, [object_is('left', basis)], 'left', True, '.')
        case('settles-' + basis, 'header in conflict, settled by ' + basis, everything, 'position', False, [object_is('right', basis)], 'right', True, '.')
        case('overrules-' + basis, basis + ' against a header of one mind', everything, None, True, [object_is('right', basis)], 'right', True, '.')
    case('edge', 'the edge of the patient\'s left confirmed by a lead marker', everything, 'orientation', True, [frame_left('lead-marker')], 'left', True, '.')
    case('edge-alone', 'the edge stated, nothing in the header', set(), None, True, [frame_left('stated')], 'left', False, 'not confirmed')
    case('edge-front', 'the edge confirmed on a film from the front', {'position'}, 'position', False, [frame_left('theatre-record')], 'right', True, '.', front=0)
    return out
