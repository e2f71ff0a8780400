"""The demo body as one signed field."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from loopwright.demo.blend_fields import Field, Points, Triple, soft_union
from loopwright.demo.shape_body_arm import shape_arm
from loopwright.demo.shape_body_hand import shape_hand
from loopwright.demo.shape_body_leg import shape_foot, shape_leg
from loopwright.demo.shape_body_torso import shape_torso
from loopwright.types import BoolArray

LOWER: Triple = (-60.5, -1.5, -12.5)
UPPER: Triple = (60.5, 124.5, 17.5)
_FAR = 40.0  # value of a part where it is not worked out: more than any blend reaches


def mirrored(p: Points) -> Points:
    """Return the points with x replaced by a softened |x|: both sides in one, no kink in the middle."""
    return Points(np.sqrt(p.x * p.x + 0.05), p.y, p.z)


def shape_body(p: Points) -> Field:
    """Return the near-distance to the body's surface, negative inside."""
    m = mirrored(p)
    body = _part((m.x < 26.0) & (p.y > 52.0), p, lambda q: shape_torso(q, mirrored(q)))
    arm = _part((m.x > 5.0) & (p.y > 58.0), m, shape_arm)
    body = soft_union(body, arm, 2.6)
    leg = _part((m.x < 28.0) & (p.y < 90.0), m, shape_leg)
    body = soft_union(body, leg, 3.0)
    body = _changed(m.x + m.y * 0.0 > 36.0, body, m, shape_hand)
    return _changed(p.y < 22.0, body, m, shape_foot)


def _part(chosen: BoolArray, p: Points, shape: Callable[[Points], Field]) -> Field:
    """Return a part's field where ``chosen``, and far outside elsewhere."""
    out = np.full(len(p.x), _FAR, p.x.dtype)
    ids = np.flatnonzero(chosen)
    if len(ids):
        out[ids] = shape(Points(p.x[ids], p.y[ids], p.z[ids]))
    return out


def _changed(chosen: BoolArray, body: Field, p: Points, change: Callable[[Field, Points], Field]) -> Field:
    """Return the body with ``change`` made where ``chosen``: elsewhere it would change nothing."""
    ids = np.flatnonzero(chosen)
    if len(ids) == 0:
        return body
    out = body.copy()
    out[ids] = change(body[ids], Points(p.x[ids], p.y[ids], p.z[ids]))
    return out
