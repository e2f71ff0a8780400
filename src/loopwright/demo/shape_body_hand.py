"""Hand of the demo body: a palm, four fingers and a thumb, spread and slightly bent.

Places are given in hand coordinates (a, b, c): from the wrist towards the
fingertips, towards the thumb's side, and out of the back of the hand.
"""

from __future__ import annotations

import numpy as np

from loopwright.demo.blend_fields import Field, Points, Triple, ellipsoid, limb, segment, soft_union
from loopwright.demo.shape_body_arm import WRIST
from loopwright.demo.sweep_rod import sweep_rod
from loopwright.types import FloatArray

_ALONG = (0.66, -0.74, 0.12)
_THUMBWARD = (0.10, 0.10, 1.0)

# finger: knuckle (a, b, c), angle to the hand's axis in degrees, length, radius
_FINGERS = {
    "index_finger": ((9.2, 3.85, 0.1), 10.0, 7.6, 1.1),
    "middle_finger": ((9.7, 1.3, 0.3), 2.5, 8.4, 1.12),
    "ring_finger": ((9.2, -1.25, 0.2), -5.0, 7.7, 1.08),
    "little_finger": ((8.2, -3.65, -0.1), -13.0, 6.2, 0.98),
}
FINGER_NAMES = ("thumb", *_FINGERS)
_BENDS = (8.0, 19.0, 30.0)  # of the three bones towards the palm, degrees
_SHARES = (0.0, 0.44, 0.75, 1.0)  # of the length at which the joints lie
_TAPER = (1.02, 1.0, 0.95, 0.8)  # of the radius at the joints
_THUMB = (((2.4, 1.8, -0.7), 2.0), ((5.2, 4.9, -1.5), 1.6), ((8.0, 6.9, -1.9), 1.35), ((10.7, 8.1, -2.2), 1.0))


def _frame() -> FloatArray:
    along = np.array(_ALONG) / np.linalg.norm(_ALONG)
    thumbward = np.array(_THUMBWARD) - along * (along @ np.array(_THUMBWARD))
    thumbward /= np.linalg.norm(thumbward)
    return np.stack([along, thumbward, np.cross(thumbward, along)])


_FRAME = _frame()


def hand_coordinates(m: Points) -> Points:
    """Return the points in hand coordinates."""
    x, y, z = m.x - WRIST[0], m.y - WRIST[1], m.z - WRIST[2]
    a, b, c = (float(f[0]) * x + float(f[1]) * y + float(f[2]) * z for f in _FRAME)
    return Points(a, b, c)


def finger_knots(name: str) -> list[tuple[Triple, float]]:
    """Return (centre, radius) of a finger's joints from root to tip, in hand coordinates."""
    if name == "thumb":
        return list(_THUMB)
    place, angle, length, radius = _FINGERS[name]
    knots = [(place, radius)]
    for bone, bend in enumerate(_BENDS):
        span = length * (_SHARES[bone + 1] - _SHARES[bone])
        flat, aside = np.cos(np.radians(bend)) * span, np.radians(angle)
        a, b, c = knots[-1][0]
        end = (
            a + float(np.cos(aside) * flat),
            b + float(np.sin(aside) * flat),
            c - float(np.sin(np.radians(bend)) * span),
        )
        knots.append((end, radius * _TAPER[bone + 1]))
    return knots


def finger_body(h: Points, name: str) -> Field:
    """Return the near-distance to one finger by itself."""
    return sweep_rod(h, finger_knots(name))


def finger_place(h: Points, name: str) -> Field:
    """Return the length along a finger's first bone from its root, going on straight beyond it."""
    (start, _), (end, _) = finger_knots(name)[:2]
    way = np.array(end) - np.array(start)
    way /= np.linalg.norm(way)
    place: Field = (
        (h.x - start[0]) * float(way[0]) + (h.y - start[1]) * float(way[1]) + (h.z - start[2]) * float(way[2])
    )
    return place


def shape_hand(body: Field, m: Points) -> Field:
    """Return the body with a hand set on the wrist."""
    h = hand_coordinates(m)
    return soft_union(body, _hand(h), 1.6)


def _hand(h: Points) -> Field:
    fingers = finger_body(h, "index_finger")
    for name in FINGER_NAMES[2:]:
        fingers = soft_union(fingers, finger_body(h, name), 0.2)
    hand = soft_union(_palm(h), fingers, 0.9)
    return soft_union(hand, finger_body(h, "thumb"), 1.3)


def _palm(h: Points) -> Field:
    flat = Points(h.x, h.y * 0.8, h.z)
    body = limb(flat, (-2.0, 0.0, 0.0), (2.0, 0.0, 0.0), 1.9, 1.75)
    for (a, b, c), _, _, radius in _FINGERS.values():
        bone = limb(h, (1.6, 0.32 * b, 0.0), (a, b, c), 1.5, radius + 0.12)
        body = soft_union(body, bone, 1.5)
    heel = ellipsoid(h, (3.6, -2.2, -0.7), (3.4, 1.7, 1.3))
    body = soft_union(body, heel, 1.2)
    palm: Field = body + 0.15 * np.exp(-((segment(h, (3.5, 0.2, -2.0), (7.5, 0.2, -2.0))[0] / 1.4) ** 2))
    return palm
