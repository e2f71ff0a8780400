"""From a signed field to a surface of a wished density, with skin on it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from loopwright.demo.blend_fields import Triple
from loopwright.demo.make_noise import make_noise
from loopwright.demo.polygonise_field import FieldFunction, polygonise_field
from loopwright.types import FloatArray, IntArray


def polygonise_to_count(
    field: FieldFunction, lower: Triple, upper: Triple, triangle_count: int, first_step: float
) -> tuple[FloatArray, IntArray]:
    """Return the surface on the coarsest grid that gives at least the wished number of triangles.

    Parameters
    ----------
    field, lower, upper : as of :func:`polygonise_field`.
    triangle_count : least number of triangles.
    first_step : grid spacing to begin with.
    """
    low, high = np.array(lower), np.array(upper)
    step = first_step
    positions, triangles = polygonise_field(field, low, high, step)
    for _ in range(6):
        step *= float(np.sqrt(len(triangles) / (1.004 * triangle_count)))
        positions, triangles = polygonise_field(field, low, high, step)
        if len(triangles) >= triangle_count:
            break
    return positions, triangles


def roughen_skin(
    smooth: FloatArray,
    normals: FloatArray,
    generator: np.random.Generator,
    *,
    skin: Sequence[tuple[float, float]],
    sway: tuple[float, float],
) -> FloatArray:
    """Return the surface with noise along the normals and a slight sway, neither of them mirrored.

    Parameters
    ----------
    smooth, normals : (n, 3) vertices and unit normals.
    skin : wavelength and height of each layer of noise.
    sway : wavelength and size of the shift that makes the two sides differ.
    """
    shift = sway[1] * make_noise(smooth, wavelength=sway[0], channels=3, generator=generator)
    height = np.zeros(len(smooth))
    for wavelength, amount in skin:
        height += amount * make_noise(smooth, wavelength=wavelength, channels=1, generator=generator)[:, 0]
    return smooth + shift + height[:, None] * normals
