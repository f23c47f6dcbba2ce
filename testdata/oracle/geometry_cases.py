"""Cases on how films are taken, turned and scaled."""
import numpy as np

from camera import Camera
from case import NEEDS_LENGTH, Case, agree_with_construction, draw_frontal, draw_lateral, expect_frontal, expect_lateral, lateral_reading
from sacrum import Needle, Sacrum

POSITION = {0: 'HFS', 180: 'HFP', -180: 'HFP', 90: 'HFP', -90: 'HFP'}


def pair(case, bone, needles, front, side, contours=True, count=13, order=None, **kwargs):
    """The usual two films of one case, marked without error."""
    f = case.film('frontal.dcm', front, header={'PatientPosition': POSITION.get(round(front.primary / 90) * 90, 'HFP')})
    l = case.film('lateral.dcm', side, **kwargs)
    draw_frontal(f, bone, needles)
    draw_lateral(l, bone, needles, count=count, order=order)
    return f, l


def anatomy(n):
    """What is true of the needle itself, whatever a film shows."""
    return {'tip-depth-along-needle': n.depth, 'insertion-angle-dorsal': n.angle}


def films():
    """Every view, turn, flip and pixel shape, a needle in the midline plane and one off it."""
    out = []
    turns = [(r, f) for r in (0, 90, 180, 270) for f in (False, True)]
    shapes = [dict(row_spacing=0.5, column_spacing=0.5, rows=512, columns=512),
              dict(row_spacing=0.5, column_spacing=0.4, rows=512, columns=640),
              dict(row_spacing=0.4, column_spacing=0.5, rows=640, columns=512)]
    i = 0
    for front in (0, 180):
        for side in (90, -90):
            for rotation, flip in turns:
                shape = shapes[i % 3]
                f_turn = turns[(i * 3 + 1) % 8]
                bone = Sacrum(tilt=10 + 2 * (i % 8), shift=(0, 4 * (i % 3) - 4, 6 * (i % 2) - 3))
                aside = 18 + i % 5
                if i % 2:
                    aside = -aside
                needles = {
                    'N1': Needle(bone, 0.5, 0.0, angle=(66, 74, 112)[i % 3], depth=(-4.0, 3.0, 11.0, 0.6)[i % 4]),
                    'N2': Needle(bone, 0.47, aside, angle=70, splay=(4, -3, 0)[i % 3], depth=(5.0, -3.0)[i % 2]),
                }
                c = Case('films-%d-%d-%d-%s' % (front, side, rotation, 'flip' if flip else 'plain'),
                         'exact marks, frontal %d turned %s, lateral %d turned %s, pixels %g x %g mm' % (
                             front, f_turn, side, (rotation, flip), shape['row_spacing'], shape['column_spacing']))
                fc = Camera(primary=front, rotation=f_turn[0], flip=f_turn[1], detector=1050, patient=780, **shapes[(i + 1) % 3])
                lc = Camera(primary=side, rotation=rotation, flip=flip, detector=980, patient=700, **shape)
                order = None if i % 4 else np.random.default_rng(i).permutation(13)
                f, l = pair(c, bone, {'N2': needles['N2']}, fc, lc, order=order)
                l.mark('needle', needles['N1'].points(), object='N1')
                agree_with_construction(l, bone, needles['N1'], lc.plane())
                for name, n in needles.items():
                    if order is None:
                        expect_lateral(c, l, bone, name, n, lc.plane(), anatomy=anatomy(n))
                    else:
                        expect_shuffled(c, bone, name, n, lc)
                if order is None:
                    expect_frontal(c, f, l, bone, 'N2', needles['N2'], fc.plane(), lc.plane())
                for v in c.values:
                    if v['object'] == 'N2':
                        v['side'] = 'left' if aside > 0 else 'right'
                out.append(c)
                i += 1
    return out


def expect_shuffled(c, bone, name, n, camera):
    """The order of a curve's points does not matter: what the same points in order give."""
    ordered = Case('', '').film('x', camera)
    draw_lateral(ordered, bone, {name: n})
    expect_lateral(c, ordered, bone, name, n, camera.plane(), anatomy=anatomy(n))


def tilted():
    """Angles a few degrees off, as films are in life; both secondary angles used."""
    out = []
    for i, (a, b, p, s) in enumerate([(172, 5, 84, 0), (-175, -8, -96, 3), (6, 10, 95, -4), (-9, -3, -83, 6)]):
        bone = Sacrum(tilt=16, shift=(0, 3, -4))
        aside = 19.0 if i % 2 else -19.0
        n = Needle(bone, 0.49, aside, angle=68, splay=3, depth=6.0)
        c = Case('tilted-%d' % i, 'frontal %d/%d, lateral %d/%d: epipolar line and scaled plane of tilted beams' % (a, b, p, s))
        fc, lc = Camera(primary=a, secondary=b), Camera(primary=p, secondary=s)
        f, l = pair(c, bone, {'N1': n}, fc, lc)
        expect_lateral(c, l, bone, 'N1', n, lc.plane())
        expect_frontal(c, f, l, bone, 'N1', n, fc.plane(), lc.plane(), anatomy=False)
        for v in c.values:
            v['side'] = 'left' if aside > 0 else 'right'
        out.append(c)
    return out


def cover():
    """True depths of needles that lie off the plane a film is scaled in."""
    out = []
    i = 0
    for aside in (20.0, -20.0):
        for shift in ((0, 0, 0), (12.0, -30.0, 20.0), (-12.0, 25.0, -20.0)):
            for roll in (0.0, 5.0, -5.0):
                if roll and shift[0]:
                    continue
                bone = Sacrum(shift=shift)
                n = Needle(bone, 0.5, aside, angle=70, splay=6 if aside > 0 else -6, depth=(4.0, 9.0)[i % 2])
                c = Case('cover-%d' % i, 'needle %g mm off the midline, sacrum shifted by %s, body rolled by %g degrees'
                         % (aside, shift, roll))
                # A body rolled on the table: the header still says what the arm shows.
                true = Camera(primary=90 + roll)
                l = c.film('lateral.dcm', true, header={'PositionerPrimaryAngle': '90'})
                draw_lateral(l, bone, {'N1': n})
                expect_lateral(c, l, bone, 'N1', n, true.plane(), truth=False, anatomy={'tip-depth-along-needle': n.depth})
                out.append(c)
                i += 1
    return out


def turned_films():
    """Lateral films that their headers know to be turned: the depth of a needle off the midline
    differs by side, which must be said and lie within the interval."""
    out = []
    for primary, aside in ((80, 20.0), (80, -20.0), (-102, 18.6), (-102, -18.6), (73, 20.0), (73, -20.0)):
        bone = Sacrum()
        n = Needle(bone, 0.5, aside, angle=70, depth=5.0)
        c = Case('turned-film-%d-%s' % (primary, 'left' if aside > 0 else 'right'),
                 'lateral film at %d degrees, needle %g mm off the midline' % (primary, aside))
        l = c.film('lateral.dcm', Camera(primary=primary), header={'PatientOrientation': ['P' if primary > 0 else 'A', 'F']})
        draw_lateral(l, bone, {'N1': n})
        expect_lateral(c, l, bone, 'N1', n, l.camera.plane(), anatomy={'tip-depth-along-needle': n.depth})
        c.cautions = ['Lateral view rotated: depth differs by side\\.']
        out.append(c)
    return out


def scaled(name, purpose, header, spacing, says, kind='XA', primary=90, camera=None, known=None, steps=None, unit='mm',
           anatomical=True, cautions=()):
    """One lateral film whose header says something about scale, and what comes of it.

    spacing: column and row millimetres a reader must use; None: pixels only."""
    base = {'ImagerPixelSpacing': None, 'DistanceSourceToDetector': None, 'DistanceSourceToPatient': None}
    if kind not in ('XA', 'RF'):
        base.update(PositionerPrimaryAngle=None, PositionerSecondaryAngle=None)
    base.update(header)
    lc = camera or Camera(primary=primary)
    c = Case('scale-' + name, purpose)
    bone = Sacrum(shift=(0, 2, 5))
    n = Needle(bone, 0.5, 0.0, angle=71, depth=7.0)
    l = c.film('lateral.dcm', lc, kind=kind, header=base)
    draw_lateral(l, bone, {'N1': n})
    if known is not None:
        l.mark('known-length', known(bone), detail='40')
        spacing = by_known_length(l, 40)
    c.steps = steps if steps is not None else ([] if kind == 'XA' else [
        ['confirm', '@', '--frame', 'lateral.dcm', '--view', 'lateral', '--cranial', 'top']])
    c.cautions = list(cautions)
    if spacing is None:
        c.no_millimetre = True
        shape = lc.plane() / lc.plane()[1]
        square = shape[0] == 1
        expect_lateral(c, l, bone, 'N1', n, shape, truth=False, unit='px',
                       skip=NEEDS_LENGTH + (() if square else ('tip-depth-along-needle',)))
        c.absent = [{'object': 'N1', 'quantity': q} for q in NEEDS_LENGTH]
    else:
        expect_lateral(c, l, bone, 'N1', n, np.asarray(spacing), unit=unit,
                       anatomy=anatomy(n) if anatomical else None)
        for v in c.values:
            v['side'] = ''
            if v['unit'] == 'mm':
                v['scaleSays'] = says
    return c


def by_known_length(film, length):
    """Column and row millimetres from the two marked ends, rounded as they are stored."""
    shape = film.camera.plane()
    return shape * length / np.hypot(*((film.points('known-length')[1] - film.points('known-length')[0]) * shape))


def ds(values):
    return ['%.10g' % v for v in values]


def scales():
    """The scale ladder: PS3.3 10.7.1.1 and 10.7.1.2."""
    c = Camera(primary=90)
    oblong = Camera(primary=90, row_spacing=0.5, column_spacing=0.4, columns=640)
    tall = Camera(primary=90, row_spacing=0.4, column_spacing=0.5, rows=640)
    imager = ds([c.row_spacing, c.column_spacing])
    true = c.plane()
    spacing = ds([true[1], true[0]])
    distances = {'DistanceSourceToDetector': '1000', 'DistanceSourceToPatient': '750'}
    detector = np.array([c.column_spacing, c.row_spacing])
    wide = ds([oblong.plane()[1], oblong.plane()[0]])
    up = [['confirm', '@', '--frame', 'lateral.dcm', '--view', 'lateral', '--cranial', 'top']]

    def rod(bone):   # 40 mm in the scaled plane
        p = bone.place(10, 60) * [0, 1, 1]
        return np.array([p, p + [0, 24.0, 32.0]])

    def short_rod(bone):  # drawn as 40 mm but 32 mm long: a scale a fifth off
        p = bone.place(10, 60) * [0, 1, 1]
        return np.array([p, p + [0, 19.2, 25.6]])

    return [
        scaled('distances', 'imager spacing with both distances', {'ImagerPixelSpacing': imager, **distances}, true, 'distance'),
        scaled('distances-rf', 'the same in an RF film', {'ImagerPixelSpacing': imager, **distances,
               'PositionerPrimaryAngle': None, 'PositionerSecondaryAngle': None}, true, 'distance', kind='RF'),
        scaled('factor', 'imager spacing with the magnification factor', {
            'ImagerPixelSpacing': imager, 'EstimatedRadiographicMagnificationFactor': '%.10g' % c.magnification}, true, 'magnification'),
        scaled('factor-agrees', 'factor and distances that agree', {
            'ImagerPixelSpacing': imager, **distances, 'EstimatedRadiographicMagnificationFactor': '1.333333333'}, true, 'magnification|distance'),
        scaled('uncorrected', 'Pixel Spacing equal to the imager spacing is not corrected', {
            'ImagerPixelSpacing': imager, 'PixelSpacing': imager, **distances}, true, 'distance'),
        scaled('fiducial', 'Pixel Spacing by a fiducial', {'PixelSpacing': spacing, 'ImagerPixelSpacing': imager,
               'PixelSpacingCalibrationType': 'FIDUCIAL'}, true, '(?i)fiducial|object of known size'),
        scaled('fiducial-cr', 'the same in a CR film', {'PixelSpacing': spacing, 'ImagerPixelSpacing': imager,
               'PixelSpacingCalibrationType': 'FIDUCIAL'}, true, '(?i)fiducial|object of known size', kind='CR'),
        scaled('geometry', 'Pixel Spacing by assumed geometry', {'PixelSpacing': spacing, 'ImagerPixelSpacing': imager,
               'PixelSpacingCalibrationType': 'GEOMETRY'}, true, '(?i)geometry'),
        scaled('differs', 'Pixel Spacing that differs from the imager spacing, no type', {
            'PixelSpacing': spacing, 'ImagerPixelSpacing': imager}, true, '(?i)differ|calibrated|corrected'),
        scaled('fiducial-oblong', 'Pixel Spacing by a fiducial, oblong pixels', {
            'PixelSpacing': wide, 'ImagerPixelSpacing': ds([0.5, 0.4]), 'PixelSpacingCalibrationType': 'FIDUCIAL'},
            oblong.plane(), '(?i)fiducial|object of known size', camera=oblong),
        scaled('detector-xa', 'imager spacing alone', {'ImagerPixelSpacing': imager}, detector, '(?i)detector', anatomical=False),
        scaled('detector-cr', 'imager spacing alone, CR', {'ImagerPixelSpacing': imager}, detector, '(?i)detector',
               kind='CR', anatomical=False),
        scaled('detector-dx', 'imager spacing alone, DX', {'ImagerPixelSpacing': imager}, detector, '(?i)detector',
               kind='DX', anatomical=False),
        scaled('dx-distances', 'a DX film\'s distance is to another plane and is not used (table C.8-72)', {
            'ImagerPixelSpacing': imager, **distances}, detector, '(?i)detector', kind='DX', anatomical=False),
        scaled('spacing-alone', 'Pixel Spacing alone: its plane cannot be known', {'PixelSpacing': spacing}, true,
               '(?i)not known|unknown|cannot be known', kind='CR', anatomical=False),
        scaled('spacing-alone-xa', 'Pixel Spacing alone in an XA film', {'PixelSpacing': spacing}, true,
               '(?i)not known|unknown|cannot be known', anatomical=False),
        scaled('known-length', 'a marked known length, nothing in the header', {}, true, '(?i)known length|known-length', known=rod),
        scaled('known-length-sc', 'the same in a secondary capture', {}, true, '(?i)known length|known-length', kind='OT', known=rod, steps=up),
        scaled('known-length-first', 'a marked known length stands above the header', {
            'ImagerPixelSpacing': imager, **distances}, true, '(?i)known length|known-length', known=rod),
        scaled('known-length-oblong', 'a marked known length, pixel shape by Pixel Aspect Ratio', {'PixelAspectRatio': [5, 4]},
               oblong.plane(), '(?i)known length|known-length', camera=oblong, known=rod),
        scaled('none', 'nothing about scale', {}, None, ''),
        scaled('none-sc', 'nothing about scale, secondary capture', {}, None, '', kind='OT', steps=up),
        scaled('aspect', 'Pixel Aspect Ratio only, wide', {'PixelAspectRatio': [5, 4]}, None, '', camera=oblong),
        scaled('aspect-tall', 'Pixel Aspect Ratio only, tall', {'PixelAspectRatio': [4, 5]}, None, '', camera=tall),
    ] + [
        conflicting('factor', 'magnification factor and distances disagree', {
            'ImagerPixelSpacing': imager, **distances, 'EstimatedRadiographicMagnificationFactor': '1.6'},
            [true, detector / 1.6]),
        conflicting('fiducial', 'fiducial spacing against imager spacing and distances', {
            'ImagerPixelSpacing': imager, **distances, 'PixelSpacing': ds([true[1] * 0.8, true[0] * 0.8]),
            'PixelSpacingCalibrationType': 'FIDUCIAL'}, [true * 0.8]),
        conflicting('known-length', 'a known length against the header', {
            'ImagerPixelSpacing': imager, **distances}, [true * 1.25], known=short_rod),
    ]


def beside():
    """Scales taken in another plane than the sacrum's: the interval must hold the true depth."""
    out = []
    c = Camera(primary=90)

    def tilted_rod(aside, degrees):
        def rod(bone):
            p = bone.place(10, 60) * [0, 1, 1] + [aside, 0, 0]
            t = np.radians(degrees)
            return np.array([p, p + 40 * np.array([np.sin(t), 0.6 * np.cos(t), 0.8 * np.cos(t)])])
        return rod

    for i, (aside, degrees) in enumerate([(0, 15), (30, 0), (-30, 0), (25, -12), (-25, 12)]):
        s = scaled('rod-%d' % i, 'a known length %g mm off the plane, tilted by %g degrees to the film' % (aside, degrees), {},
                   [1, 1], '(?i)known length|known-length', known=tilted_rod(aside, degrees), anatomical=False)
        out.append(s)
    for aside in (40, -40):
        m = c.detector / (c.patient + aside)
        spacing = ds(np.array([c.row_spacing, c.column_spacing]) / m)
        for kind in ('FIDUCIAL', 'GEOMETRY'):
            out.append(scaled('%s-%s' % (kind.lower(), 'far' if aside > 0 else 'near'), '%s spacing %g mm from the sacrum\'s plane' % (kind, aside), {
                'PixelSpacing': spacing, 'ImagerPixelSpacing': ds([c.row_spacing, c.column_spacing]), 'PixelSpacingCalibrationType': kind},
                [float(spacing[1]), float(spacing[0])], '(?i)' + kind, anatomical=False))
    for case in out:   # depth as it is in the body, whatever the film's scale
        for v in case.values:
            if v['quantity'] == 'tip-depth-along-needle':
                v['covers'] = [7.0]
            v.pop('truth', None)
    return out


def conflicting(name, purpose, header, spacings, known=None):
    """Headers that disagree: reported, not averaged, so the depth is by one of them."""
    c = scaled('conflict-' + name, purpose, header, spacings[0], '', known=known, anatomical=False)
    film = c.films[0]
    if known:
        spacings = [by_known_length(film, 40)]
    c.values = []
    depth = 'tip-depth-along-needle'
    c.expect('N1', depth, plane='lateral', unit='mm', oneOf=[lateral_reading(film, 'N1', s)[depth] for s in spacings])
    c.cautions = ['(?i)disagree|1.6.*1.33']
    return c
