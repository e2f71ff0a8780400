"""The clay: simple bodies as signed fields (negative inside) and soft ways to join and cut them.

A field is evaluated on a point set that is held as three coordinate arrays,
so that each body touches memory as little as possible.  Lengths in
centimetres.  The fields only have to be near a distance around their zero
set; the polygoniser and the projection need no more.

The soft minimum is the quadratic one: it differs from the plain minimum only
where the two fields are nearer to each other than ``blend``, by at most
``blend / 4``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

Field: TypeAlias = NDArray[np.floating[Any]]
Triple: TypeAlias = tuple[float, float, float]


class Points(NamedTuple):
    """Coordinates of a point set, three arrays of one shape (n,)."""

    x: Field
    y: Field
    z: Field


def soft_union(first: Field, second: Field, blend: float) -> Field:
    """Return the union of two bodies with a fillet of about ``blend``."""
    overlap = np.maximum(blend - np.abs(first - second), 0.0)
    return np.minimum(first, second) - overlap * overlap * (0.25 / blend)


def soft_cut(body: Field, tool: Field, blend: float) -> Field:
    """Return ``body`` without ``tool``, the rim rounded by about ``blend``."""
    return -soft_union(-body, tool, blend)


def soft_common(first: Field, second: Field, blend: float) -> Field:
    """Return what two bodies share, the edge rounded by about ``blend``."""
    return -soft_union(-first, -second, blend)


def ellipsoid(p: Points, center: Triple, radii: Triple) -> Field:
    """Return a near-distance to an ellipsoid: |q| (|q| - 1) / |q / r| with q = p / r."""
    qx, qy, qz = ((c - m) / r for c, m, r in zip(p, center, radii, strict=True))
    reach = np.sqrt(qx * qx + qy * qy + qz * qz)
    qx, qy, qz = qx / radii[0], qy / radii[1], qz / radii[2]
    slope: Field = np.sqrt(qx * qx + qy * qy + qz * qz) + 1e-6
    distance: Field = reach * (reach - 1.0) / slope
    return distance


def segment(p: Points, start: Triple, end: Triple) -> tuple[Field, Field]:
    """Return the distance to a straight segment and the place (0 to 1) of the nearest point on it."""
    dx, dy, dz = (e - s for s, e in zip(start, end, strict=True))
    length2 = dx * dx + dy * dy + dz * dz
    rx, ry, rz = p.x - start[0], p.y - start[1], p.z - start[2]
    place = np.clip((rx * dx + ry * dy + rz * dz) / length2, 0.0, 1.0)
    rx, ry, rz = rx - place * dx, ry - place * dy, rz - place * dz
    return np.sqrt(rx * rx + ry * ry + rz * rz), place


def limb(p: Points, start: Triple, end: Triple, start_radius: float, end_radius: float) -> Field:
    """Return a near-distance to a round rod that tapers from one radius to the other."""
    distance, place = segment(p, start, end)
    return distance - (start_radius + (end_radius - start_radius) * place)


def strand(p: Points, knots: Sequence[tuple[Triple, float]], blend: float) -> Field:
    """Return a rod that bends through several (centre, radius) knots."""
    rods = [limb(p, a, b, ra, rb) for (a, ra), (b, rb) in zip(knots, knots[1:], strict=False)]
    body = rods[0]
    for rod in rods[1:]:
        body = soft_union(body, rod, blend)
    return body


def crease(p: Points, knots: Sequence[Triple], width: float) -> Field:
    """Return a bell of height one along a polyline, ``width`` wide: for grooves and ridges."""
    distance = segment(p, knots[0], knots[1])[0]
    for a, b in zip(knots[1:], knots[2:], strict=False):
        distance = np.minimum(distance, segment(p, a, b)[0])
    bell: Field = np.exp(-((distance / width) ** 2))
    return bell


def lens(u: Field, v: Field, half_width: float, rise: float, drop: float, blend: float) -> Field:
    """Return a near-distance in a plane to an almond: the overlap of two discs.

    The upper arc passes through (-half_width, 0), (0, rise), (half_width, 0),
    the lower one through (0, -drop).
    """
    upper_radius = (half_width**2 + rise**2) / (2.0 * rise)
    lower_radius = (half_width**2 + drop**2) / (2.0 * drop)
    u2 = u * u
    upper = np.sqrt(u2 + (v - (rise - upper_radius)) ** 2) - upper_radius
    lower = np.sqrt(u2 + (v + (drop - lower_radius)) ** 2) - lower_radius
    return soft_common(upper, lower, blend)


def ramp(value: Field, start: float, end: float) -> Field:
    """Return the smooth step that is 0 at ``start`` and 1 at ``end``."""
    t = np.clip((value - start) / (end - start), 0.0, 1.0)
    step: Field = t * t * (3.0 - 2.0 * t)
    return step
