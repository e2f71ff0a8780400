"""Paint the demo creature in regions, the way a modeller marks a head before it gets its loops."""

from __future__ import annotations

import numpy as np

from loopwright.demo import shape_ears, shape_eyes, shape_mouth
from loopwright.demo.blend_fields import Field, Points, ramp
from loopwright.demo.drop_specks import drop_specks
from loopwright.demo.make_noise import make_noise
from loopwright.demo.polygonise_field import evaluate_field
from loopwright.demo.shape_creature import mirrored, shape_uncut
from loopwright.types import BoolArray, FloatArray, IntArray, Region

DEMO_OPEN_COLOR = (26, 22, 38)

# region, number of pieces, colour
_PALETTE = (
    ("open", 4, DEMO_OPEN_COLOR),
    ("eyelid", 2, (196, 62, 44)),
    ("orbit", 2, (244, 160, 60)),
    ("lips", 1, (150, 36, 128)),
    ("mouth_surround", 1, (120, 200, 92)),
    ("nose", 1, (64, 128, 206)),
    ("ear", 2, (40, 170, 160)),
    ("neck", 1, (214, 206, 224)),
    ("forehead", 1, (104, 76, 176)),
    ("cheek_and_jaw", 1, (242, 226, 132)),
    ("cranium", 1, (128, 98, 70)),
)
OPEN_DEPTH = 0.2  # how far in the lids' and the lips' edges turn before the open area begins


def demo_regions() -> tuple[Region, ...]:
    """Return the painted regions of the demo sculpt, the open one first."""
    return tuple(Region(name, color) for name, _, color in _PALETTE)


def demo_region_pieces() -> dict[str, int]:
    """Return for each region of the demo sculpt of how many pieces it consists."""
    return {name: pieces for name, pieces, _ in _PALETTE}


def paint_creature(positions: FloatArray, triangles: IntArray, generator: np.random.Generator) -> IntArray:
    """Return (n,) indices into :func:`demo_regions` for the vertices of the creature.

    Parameters
    ----------
    positions, triangles : the creature before any noise.
    generator : source of the brush's unevenness, which is nearly mirrored, as of a brush
        that paints both sides at once.
    """
    sides = np.abs(positions) * [1.0, 0.0, 0.0] + positions * [0.0, 1.0, 1.0]
    wander = 0.05 * make_noise(sides, wavelength=1.6, channels=3, generator=generator)
    wander += 0.02 * make_noise(sides, wavelength=0.4, channels=3, generator=generator)
    wander[:, 0] *= np.sign(positions[:, 0])
    wander += 0.015 * make_noise(positions, wavelength=1.6, channels=3, generator=generator)
    depth = -evaluate_field(shape_uncut, positions) + 0.1 * wander[:, 0]
    labels = _labels(Points(*np.ascontiguousarray((positions + wander).T)), Points(*positions.T.copy()), depth)
    for _ in range(3):
        labels = drop_specks(labels, triangles, [pieces for _, pieces, _ in _PALETTE])
    return labels


def _labels(brush: Points, place: Points, depth: Field) -> IntArray:
    """Return the region of each point: the first in the palette whose outline holds it."""
    held = {"open": _open(brush, place, depth)} | _eye_rings(brush) | _mouth_rings(brush)
    held |= {"nose": _nose(brush), "ear": _ear(brush), "neck": _neck(brush)}
    held |= {"forehead": _forehead(brush), "cheek_and_jaw": (brush.z > -1.6) & (brush.y < 3.1)}
    labels = np.full(len(depth), len(_PALETTE) - 1, np.int32)
    for index in range(len(_PALETTE) - 2, -1, -1):
        labels[held[_PALETTE[index][0]]] = index
    return labels


def _open(brush: Points, place: Points, depth: Field) -> BoolArray:
    """Return what is to stay without faces: the balls, the inside of the mouth, below the trim."""
    u, v, r = shape_eyes.lid_coordinates(mirrored(place))
    in_eye = (shape_eyes.opening(u, v) < 0.35) & (r + 0.3 * (brush.x - place.x) < shape_eyes.RADIUS + OPEN_DEPTH)
    u, v, _ = shape_mouth.mouth_coordinates(place)
    in_mouth = (shape_mouth.slit_side(u, v) < 0.5) & (place.z > 3.0) & (depth > OPEN_DEPTH)
    return in_eye | in_mouth | (brush.y + 0.1 * brush.z < -14.4)


def _eye_rings(brush: Points) -> dict[str, BoolArray]:
    u, _, r = shape_eyes.lid_coordinates(mirrored(brush))
    away = shape_eyes.lid_distance(mirrored(brush))
    is_near = r < shape_eyes.REACH
    width = 1.25 + 0.55 * ramp(u, -2.0, -0.4)
    return {"eyelid": is_near & (away < 0.62), "orbit": is_near & (away < width)}


def _mouth_rings(brush: Points) -> dict[str, BoolArray]:
    u, v, rho = shape_mouth.mouth_coordinates(brush)
    away = shape_mouth.lip_side(u, v)
    is_front = (brush.z > 2.0) & (rho > 2.0)
    return {"lips": is_front & (away < 0.0), "mouth_surround": is_front & (away < 1.05)}


def _nose(brush: Points) -> BoolArray:
    half = 0.95 + 1.5 * ramp(brush.y, 1.0, -2.2) - 1.0 * ramp(brush.y, -2.7, -4.0)
    return (np.abs(brush.x) < half) & (brush.y < 2.6) & (brush.y > -4.1) & (brush.z > 5.0)


def _ear(brush: Points) -> BoolArray:
    return shape_ears.ear_body(mirrored(brush)) < 0.75


def _neck(brush: Points) -> BoolArray:
    return brush.y < -4.2 - 6.0 * ramp(brush.z, -3.0, 3.8)


def _forehead(brush: Points) -> BoolArray:
    lower = 2.6 + 0.5 * ramp(np.abs(brush.x), 1.0, 4.0)
    return (brush.y > lower) & (0.8 * brush.z - 0.42 * (brush.y - 2.0) > 1.5)
