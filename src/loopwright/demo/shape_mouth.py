"""Mouth of the demo creature: lips with a bow, and a slit that goes in between them.

Places are given in mouth coordinates (u, v): arc length sideways round an
upright axis inside the head, and height.
"""

from __future__ import annotations

import numpy as np

from loopwright.demo.blend_fields import Field, Points, crease, ellipsoid, ramp, soft_cut, soft_union

AXIS_Z = 2.6
AXIS_RADIUS = 5.0
CENTER = (0.0, -5.7, 7.2)
REACH = 5.2
HALF_WIDTH = 2.75
SLIT_HALF_WIDTH = 2.15


def mouth_coordinates(p: Points) -> tuple[Field, Field, Field]:
    """Return (u, v, rho): sideways arc length, height, distance from the upright axis."""
    z = p.z - AXIS_Z
    return AXIS_RADIUS * np.arctan2(p.x, z), p.y, np.sqrt(p.x * p.x + z * z)


def part_line(u: Field) -> Field:
    """Return the height at which the lips meet."""
    t = u / HALF_WIDTH
    height: Field = -5.75 + 0.12 * np.cos(5.0 * t) * np.exp(-3.0 * t * t) + 0.36 * t * t
    return height


def upper_edge(u: Field) -> Field:
    """Return the height of the upper lip's outline above the part line, with a bow in the middle."""
    t = u / HALF_WIDTH
    height: Field = 1.1 * _round(1.0 - t * t) - 0.28 * np.exp(-((u / 0.38) ** 2))
    return height


def lower_edge(u: Field) -> Field:
    """Return the depth of the lower lip's outline below the part line."""
    t = u / HALF_WIDTH
    return 1.2 * _round(1.0 - t * t)


def _round(value: Field) -> Field:
    root: Field = np.sqrt(np.maximum(value, 0.0) + 0.01)
    return root


def lip_side(u: Field, v: Field) -> Field:
    """Return a near-distance to the lips' outline, negative on the lips."""
    above = v - part_line(u)
    half = np.where(above > 0.0, upper_edge(u), lower_edge(u))
    beyond = np.maximum(np.abs(u) - HALF_WIDTH, 0.0)
    reach = np.sqrt(above * above + beyond * beyond)
    side: Field = reach - half * ramp(HALF_WIDTH + 0.4 - np.abs(u), -0.2, 0.5)
    return side


def slit_side(u: Field, v: Field) -> Field:
    """Return the distance in the (u, v) map to the slit, negative in it."""
    beyond = np.maximum(np.abs(u) - SLIT_HALF_WIDTH, 0.0)
    reach: Field = np.sqrt(beyond * beyond + (v - part_line(u)) ** 2)
    side: Field = reach - 0.15 + 0.03 * ramp(np.abs(u), 0.8, SLIT_HALF_WIDTH)
    return side


def shape_lips(body: Field, p: Points, m: Points) -> Field:
    """Return the body with lips, but no slit yet."""
    u, v, _ = mouth_coordinates(p)
    above = v - part_line(u)
    end = np.clip(1.0 - (u / (HALF_WIDTH + 0.15)) ** 2, 0.0, 1.0)
    up = above / (upper_edge(u) + 0.12)
    down = -above / (lower_edge(u) + 0.12)
    swell = 0.46 * _pillow(up) * end**1.3 * (1.0 + 0.25 * np.exp(-((u / 0.45) ** 2)))
    swell = np.where(above > 0.0, swell, 0.5 * _pillow(down) * end**1.3)
    body = body - swell
    body = body + 0.2 * crease(p, [(0.0, -7.4, 7.5), (1.0, -7.3, 7.2)], 0.5)
    return body + 0.2 * crease(m, [(2.9, -5.45, 7.0), (3.3, -5.5, 6.6)], 0.45)


def _pillow(t: Field) -> Field:
    """Return a lip's profile from the part line (0) to its outline (1)."""
    height: Field = (0.1 + 1.05 * ramp(t, -0.25, 0.6)) * ramp(t, 1.45, 0.3)
    return height


def cut_slit(body: Field, p: Points) -> Field:
    """Return the body with the mouth slit cut in."""
    u, v, rho = mouth_coordinates(p)
    depth = 4.2 - rho
    tool = soft_union(-slit_side(u, v), -depth, 0.2)
    return soft_cut(body, -tool, 0.25)


def shape_muzzle(body: Field, p: Points) -> Field:
    """Return the body with the flesh that carries the lips."""
    body = soft_union(body, ellipsoid(p, (0.0, -4.6, 5.6), (2.3, 1.9, 2.0)), 1.4)
    return soft_union(body, ellipsoid(p, (0.0, -5.7, 5.2), (2.9, 2.2, 2.3)), 1.6)
