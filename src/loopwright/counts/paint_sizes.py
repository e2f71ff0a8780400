"""Sizes that somebody painted, at the vertices of the region surface."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from loopwright.errors import MarksError
from loopwright.numerics.norms import norms
from loopwright.surface.repair_work import plural
from loopwright.types import BoolArray, FloatArray, RegionSurface, Sculpt
from loopwright.wishes import SizeDab


def paint_sizes(
    surface: RegionSurface, dabs: Sequence[SizeDab], sculpt: Sculpt, vertex_sizes: FloatArray | None
) -> FloatArray | None:
    """Return (n,) painted edge lengths, 0 where nothing is painted; None if nothing is painted at all.

    Parameters
    ----------
    dabs : lengths within a radius of a place; later ones win.  With a mirror plane they count on both sides.
    sculpt : as it came from its file.
    vertex_sizes : a length per vertex of that sculpt, 0 for none; dabs win over it.

    Raises
    ------
    MarksError : the number of lengths is not that of the sculpt's vertices, or a dab touches nothing.
    """
    out = np.zeros(len(surface.positions))
    if vertex_sizes is not None:
        if len(vertex_sizes) != len(sculpt.positions):
            sizes = plural(len(vertex_sizes), "painted size")
            vertices = plural(len(sculpt.positions), "vertex", "vertices")
            raise MarksError(
                f"The list given has {sizes}, but {sculpt.name} has {vertices}: paint the sizes on this very file.",
                in_marks=True,
                about="vertex_sizes",
            )
        tree = cKDTree(sculpt.positions, balanced_tree=False)
        out = vertex_sizes[tree.query(surface.positions)[1]].astype(np.float64)
    for dab in dabs:
        inside = vertices_under(surface, dab)
        if not inside.any():
            at = "({:g}, {:g}, {:g})".format(*dab.at)
            raise MarksError(
                f"The size painted at {at} with radius {dab.radius:g} touches no part of the surface that gets faces: "
                "move it there or widen it.",
                places=[dab.at],
                in_marks=True,
            )
        out[inside] = dab.length
    return out if (out > 0).any() else None


def vertices_under(surface: RegionSurface, dab: SizeDab) -> BoolArray:
    """Return (n,) whether a dab covers each vertex; one behind the mirror plane covers what its image does."""
    centre = np.array(dab.at)
    if surface.mirror is not None and float(surface.mirror.signed_distance(centre[None])[0]) < 0:
        centre = surface.mirror.reflect(centre[None])[0]
    inside: BoolArray = norms(surface.positions - centre) <= dab.radius
    return inside
