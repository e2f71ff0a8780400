"""Paint the demo body in regions, the way a modeller marks a figure before it gets its loops."""

from __future__ import annotations

import numpy as np

from loopwright.demo.blend_fields import Field, Points, ramp
from loopwright.demo.drop_specks import drop_specks
from loopwright.demo.make_noise import make_noise
from loopwright.demo.shape_body import mirrored
from loopwright.demo.shape_body_arm import arm_place
from loopwright.demo.shape_body_hand import FINGER_NAMES, finger_body, finger_place, hand_coordinates
from loopwright.demo.shape_body_leg import foot_coordinates
from loopwright.types import BoolArray, FloatArray, IntArray, Region

BODY_OPEN_COLOR = (18, 34, 30)

# region, number of pieces, colour
_PALETTE = (
    ("open", 1, BODY_OPEN_COLOR),
    ("neck", 1, (232, 214, 190)),
    ("chest", 1, (196, 84, 66)),
    ("back", 1, (92, 58, 128)),
    ("belly", 1, (236, 174, 84)),
    ("pelvis", 1, (60, 120, 180)),
    ("shoulder", 2, (120, 190, 100)),
    ("upper_arm", 2, (255, 240, 90)),
    ("elbow", 2, (170, 40, 120)),
    ("forearm", 2, (90, 190, 200)),
    ("wrist", 2, (210, 110, 180)),
    ("palm", 2, (250, 160, 150)),
    ("hand_back", 2, (60, 130, 90)),
    ("thumb", 2, (150, 20, 30)),
    ("index_finger", 2, (30, 60, 150)),
    ("middle_finger", 2, (240, 240, 245)),
    ("ring_finger", 2, (150, 110, 40)),
    ("little_finger", 2, (170, 150, 240)),
    ("thigh", 2, (100, 150, 140)),
    ("knee", 2, (230, 60, 20)),
    ("shin", 2, (180, 220, 40)),
    ("ankle", 2, (90, 30, 0)),
    ("foot", 2, (170, 170, 170)),
    ("toes", 2, (40, 180, 130)),
)
_NAMES = [name for name, _, _ in _PALETTE]


def body_regions() -> tuple[Region, ...]:
    """Return the painted regions of the demo body, the open one first."""
    return tuple(Region(name, color) for name, _, color in _PALETTE)


def body_region_pieces() -> dict[str, int]:
    """Return for each region of the demo body of how many pieces it consists."""
    return {name: pieces for name, pieces, _ in _PALETTE}


def paint_body(positions: FloatArray, triangles: IntArray, generator: np.random.Generator) -> IntArray:
    """Return (n,) indices into :func:`body_regions` for the vertices of the body.

    Parameters
    ----------
    positions, triangles : the body before any noise.
    generator : source of the brush's unevenness, which is nearly mirrored, as of a brush
        that paints both sides at once, and less on the hands.
    """
    sides = np.stack(mirrored(Points(*positions.T)), axis=1).astype(np.float64)
    wander = 0.24 * make_noise(sides, wavelength=6.0, channels=3, generator=generator)
    wander += 0.1 * make_noise(sides, wavelength=1.5, channels=3, generator=generator)
    wander += 0.04 * make_noise(positions, wavelength=2.5, channels=3, generator=generator)
    wander *= np.where(arm_place(Points(*sides.T)) > 41.0, 0.3, 1.0)[:, None]
    wander[:, 0] *= np.sign(positions[:, 0])
    labels = _labels(mirrored(Points(*np.ascontiguousarray((positions + wander).T))))
    for _ in range(3):
        labels = drop_specks(labels, triangles, [pieces for _, pieces, _ in _PALETTE])
    return _part_fingers(labels, triangles)


def _part_fingers(labels: IntArray, triangles: IntArray) -> IntArray:
    """Give the palm what lies between two fingers that touch in a web."""
    fingers = np.array([_NAMES.index(name) for name in FINGER_NAMES])
    ends = triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    a, b = labels[ends[:, 0]], labels[ends[:, 1]]
    touching = ends[(a != b) & np.isin(a, fingers) & np.isin(b, fingers)]
    parted = labels.copy()
    parted[touching] = _NAMES.index("palm")
    return parted


def _labels(m: Points) -> IntArray:
    """Return the region of each point of the mirrored brush."""
    labels = np.full(len(m.x), -1, np.int32)
    for held in (_torso(m), _legs(m), _arms(m)):
        for name, chosen in held:
            labels[chosen] = _NAMES.index(name)
    return labels


def _torso(m: Points) -> list[tuple[str, BoolArray]]:
    """Return the torso's regions; later ones lie over earlier ones."""
    is_front = m.z > -1.6 + 1.2 * ramp(m.y, 104.0, 112.0) * ramp(m.x, 12.0, 6.0)
    belly_top = 89.0 + 1.6 * ramp(m.x, 7.0, 0.0) * ramp(m.z, 0.0, 4.0)
    return [
        ("back", m.y > 0.0),
        ("chest", is_front),
        ("belly", m.y < belly_top),
        ("pelvis", m.y < 77.5 - 0.1 * m.z),
        ("neck", m.y + 0.42 * m.z > 112.6),
        ("open", m.y + 0.12 * m.z > 118.4),
    ]


def _legs(m: Points) -> list[tuple[str, BoolArray]]:
    is_leg = m.x < 25.0
    groin = 60.6 + (0.28 + 0.3 * ramp(m.z, -4.0, 3.0)) * m.x
    f = foot_coordinates(m)
    return [
        ("thigh", is_leg & (m.y < groin)),
        ("knee", is_leg & (m.y < 43.5 - 0.2 * m.z)),
        ("shin", is_leg & (m.y < 33.0 - 0.2 * m.z)),
        ("ankle", is_leg & (m.y < 13.6 + 0.1 * m.z)),
        ("foot", is_leg & (m.y < 8.0 + 0.45 * (f.z + 0.5))),
        ("toes", is_leg & (f.z > 10.2 - 0.3 * np.abs(f.x - 0.4)) & (m.y < 8.0)),
    ]


def _arms(m: Points) -> list[tuple[str, BoolArray]]:
    place = arm_place(m)
    is_arm = (m.x > 14.0 + 0.12 * (104.0 - m.y) + 0.45 * np.maximum(90.0 - m.y, 0.0)) & (m.y > 40.0)
    h = hand_coordinates(m)
    edge = 0.2 * ramp(h.x, 8.5, 10.5) - 1.6 * ramp(h.y - 0.35 * (h.x - 5.0), 3.6, 5.6) - 0.05
    held = [
        ("shoulder", is_arm),
        ("upper_arm", is_arm & (place > 12.6)),
        ("elbow", is_arm & (place > 19.6)),
        ("forearm", is_arm & (place > 25.6)),
        ("wrist", is_arm & (place > 38.6)),
        ("palm", is_arm & (h.x > 1.6)),
        ("hand_back", is_arm & (h.x > 1.6) & (h.z > edge)),
    ]
    return held + _fingers(h)


def _fingers(h: Points) -> list[tuple[str, BoolArray]]:
    near = np.stack([_at_hand(h, name) for name in FINGER_NAMES])
    nearest = near.argmin(axis=0)
    held = []
    for index, name in enumerate(FINGER_NAMES):
        start = 6.0 if name == "thumb" else 2.4
        is_own = (nearest == index) & (near[index] < 0.7) & (finger_place(h, name) > start)
        held.append((name, is_own))
    return held


def _at_hand(h: Points, name: str) -> Field:
    """Return the near-distance to a finger, worked out at the hand only."""
    out = np.full(len(h.x), 99.0)
    ids = np.flatnonzero(h.x > 0.0)
    out[ids] = finger_body(Points(h.x[ids], h.y[ids], h.z[ids]), name)
    return out
