"""Grow a painted sculpt from a field: the steps that all demo sculpts share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from loopwright.demo.polygonise_field import FieldFunction
from loopwright.demo.relax_surface import relax_surface
from loopwright.demo.sculpt_field import polygonise_to_count, roughen_skin
from loopwright.errors import InputError
from loopwright.progress import Progress
from loopwright.types import FloatArray, IntArray, Region, Sculpt

Paint = Callable[[FloatArray, IntArray, np.random.Generator], IntArray]


@dataclass(frozen=True)
class Recipe:
    """What makes one demo sculpt differ from another.

    Attributes
    ----------
    name : of the sculpt.
    shape, lower, upper, first_step : the signed field, the box that holds its surface, and the first grid step, cm.
    paint, regions : gives each vertex its region, and the regions.
    skin : (wavelength, height) of each layer of noise on the skin, cm.
    sway : wavelength and size of what makes the two sides differ, cm.
    least, most : bounds of the number of triangles.
    """

    name: str
    shape: FieldFunction
    lower: tuple[float, float, float]
    upper: tuple[float, float, float]
    first_step: float
    paint: Paint
    regions: tuple[Region, ...]
    skin: tuple[tuple[float, float], ...]
    sway: tuple[float, float]
    least: int
    most: int


def grow_sculpt(recipe: Recipe, triangle_count: int, seed: int, progress: Progress) -> Sculpt:
    """Polygonise the field, even the triangles out, paint, and roughen the skin.

    Raises
    ------
    InputError
        where ``triangle_count`` is out of the recipe's range.
    """
    if not recipe.least <= triangle_count <= recipe.most:
        raise InputError(f"triangle_count is {triangle_count}; choose {recipe.least} to {recipe.most}")
    generator = np.random.default_rng(seed)
    progress("demo sculpt", 0.0)
    rough, triangles = polygonise_to_count(recipe.shape, recipe.lower, recipe.upper, triangle_count, recipe.first_step)
    progress("demo sculpt", 0.3)
    smooth, normals = relax_surface(recipe.shape, rough, triangles)
    progress("demo sculpt", 0.7)
    labels = recipe.paint(smooth, triangles, generator)
    progress("demo sculpt", 0.85)
    skin = roughen_skin(smooth, normals, generator, skin=recipe.skin, sway=recipe.sway)
    positions = skin.astype(np.float32).astype(np.float64)
    palette = np.array([region.color for region in recipe.regions], np.uint8)
    progress("demo sculpt", 1.0)
    return Sculpt(positions, triangles, np.ascontiguousarray(palette[labels]), recipe.name)
