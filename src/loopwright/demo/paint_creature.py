"""Paint the demo creature in regions, the way a modeller marks a head before it gets its loops."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.demo import shape_ears, shape_eyes, shape_mouth
from loopwright.demo.blend_fields import Field, Points, ellipsoid, ramp
from loopwright.demo.make_noise import make_noise
from loopwright.demo.polygonise_field import evaluate_field
from loopwright.demo.relax_surface import edges_of
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
    generator : source of the brush's unevenness.
    """
    wander = 0.07 * make_noise(positions, wavelength=1.6, channels=3, generator=generator)
    wander += 0.035 * make_noise(positions, wavelength=0.4, channels=3, generator=generator)
    depth = -evaluate_field(shape_uncut, positions) + 0.1 * wander[:, 0]
    labels = _labels(Points(*np.ascontiguousarray((positions + wander).T)), Points(*positions.T.copy()), depth)
    return _drop_specks(labels, edges_of(triangles))


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
    return in_eye | in_mouth | (brush.y + 0.1 * brush.z < -15.4)


def _eye_rings(brush: Points) -> dict[str, BoolArray]:
    u, v, r = shape_eyes.lid_coordinates(mirrored(brush))
    away = shape_eyes.opening(u, v)
    is_near = r < shape_eyes.REACH
    width = 1.25 + 0.5 * ramp(u, -2.0, -0.4)
    return {"eyelid": is_near & (away < 0.62), "orbit": is_near & (away < width)}


def _mouth_rings(brush: Points) -> dict[str, BoolArray]:
    u, v, rho = shape_mouth.mouth_coordinates(brush)
    away = shape_mouth.lip_side(u, v)
    is_front = (brush.z > 2.0) & (rho > 2.0)
    return {"lips": is_front & (away < 0.0), "mouth_surround": is_front & (away < 1.05)}


def _nose(brush: Points) -> BoolArray:
    half = 0.85 + 1.75 * ramp(brush.y, 0.8, -2.6)
    return (np.abs(brush.x) < half) & (brush.y < 2.6) & (brush.y > -4.4) & (brush.z > 5.0)


def _ear(brush: Points) -> BoolArray:
    a, b, c = shape_ears.ear_coordinates(mirrored(brush))
    root = ellipsoid(Points(a, b, c), (0.2, -0.1, 0.0), (2.6, 2.9, 2.3)) < 0.0
    return root | ((a > 0.8) & (shape_ears.leaf(a, b) < 0.6) & (np.abs(c) < 1.8))


def _neck(brush: Points) -> BoolArray:
    return brush.y < -4.4 - 6.4 * ramp(brush.z, -3.0, 3.8)


def _forehead(brush: Points) -> BoolArray:
    lower = 2.6 + 0.5 * ramp(np.abs(brush.x), 1.0, 4.0)
    return (brush.y > lower) & (0.8 * brush.z - 0.42 * (brush.y - 2.0) > 1.5)


def _drop_specks(labels: IntArray, edges: IntArray) -> IntArray:
    """Return the labels with all but the due number of pieces of each region given to their neighbours."""
    labels = labels.copy()
    same = edges[labels[edges[:, 0]] == labels[edges[:, 1]]]
    count = len(labels)
    graph = csr_matrix((np.ones(len(same), np.int8), (same[:, 0], same[:, 1])), shape=(count, count))
    _, piece = connected_components(graph, directed=False)
    size = np.bincount(piece)
    for index, (_, pieces, _) in enumerate(_PALETTE):
        own = np.unique(piece[labels == index])
        kept = own[np.argsort(-size[own], kind="stable")[:pieces]]
        labels[(labels == index) & ~np.isin(piece, kept)] = -1
    both = np.concatenate([edges, edges[:, ::-1]])
    while (labels < 0).any():
        rim = both[(labels[both[:, 0]] < 0) & (labels[both[:, 1]] >= 0)]
        if len(rim) == 0:
            break
        labels[rim[:, 0]] = labels[rim[:, 1]]
    return labels
