"""The demo creature's whole body as one signed field."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from loopwright.demo import shape_ears, shape_eyes, shape_mouth, shape_nose
from loopwright.demo.blend_fields import Field, Points, Triple
from loopwright.demo.shape_head import shape_head

LOWER: Triple = (-17.5, -18.2, -13.5)
UPPER: Triple = (17.5, 15.5, 12.5)


def mirrored(p: Points) -> Points:
    """Return the points with x replaced by a softened |x|: both sides in one, no kink in the middle."""
    return Points(np.sqrt(p.x * p.x + 0.03), p.y, p.z)


def shape_creature(p: Points) -> Field:
    """Return the near-distance to the creature's surface, negative inside."""
    return _near(shape_uncut(p), p, shape_mouth.CENTER, shape_mouth.REACH, shape_mouth.cut_slit)


def shape_uncut(p: Points) -> Field:
    """Return the same before the mouth slit is cut: how deep in the slit a point lies."""
    m = mirrored(p)
    body = shape_head(p, m)
    body = _near(body, p, shape_mouth.CENTER, shape_mouth.REACH, shape_mouth.shape_muzzle)
    body = _near(body, p, shape_nose.CENTER, shape_nose.REACH, lambda f, q: shape_nose.shape_nose(f, q, mirrored(q)))
    body = _near(body, m, shape_eyes.CENTER, shape_eyes.REACH, shape_eyes.shape_eyes)
    body = _near(body, p, shape_mouth.CENTER, shape_mouth.REACH, lambda f, q: shape_mouth.shape_lips(f, q, mirrored(q)))
    return _near(body, m, shape_ears.ROOT, shape_ears.REACH, shape_ears.shape_ears)


def _near(body: Field, p: Points, center: Triple, reach: float, change: Callable[[Field, Points], Field]) -> Field:
    """Return the body with ``change`` made within ``reach`` of a centre: outside it would change nothing."""
    away = (p.x - center[0]) ** 2 + (p.y - center[1]) ** 2 + (p.z - center[2]) ** 2
    chosen = np.flatnonzero(away < reach * reach)
    if len(chosen) == 0:
        return body
    out = body.copy()
    out[chosen] = change(body[chosen], Points(p.x[chosen], p.y[chosen], p.z[chosen]))
    return out
