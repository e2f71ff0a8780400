"""Let borders follow the paint where quads beside them lack their own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from loopwright.fit.border_sides import find_border_sides
from loopwright.fit.draw_to_paint import Colors, draw_to_paint
from loopwright.fit.hold_bends import hold_bends
from loopwright.fit.link_edges import vertices_around
from loopwright.fit.slide_curves import lay_curves
from loopwright.surface.project import SurfaceProjector
from loopwright.types import BoolArray, QuadMesh

_ROWS = 1  # round lacking quads, to which borders are drawn


def follow_paint(
    mesh: QuadMesh,
    lacking: BoolArray,
    own: NDArray[np.int64],
    beyond: NDArray[np.int64],
    colors: Colors,
    projector: SurfaceProjector,
) -> QuadMesh:
    """Return the mesh with borders near lacking quads drawn to the paint, and a vertex fixed in each of their bends.

    Only curves change, and the vertices that are now fixed: the others have yet to be put on the curves.

    Parameters
    ----------
    lacking : (m,) which quads lack their own paint.
    own : (m,) the quads' colours. beyond : as :func:`loopwright.fit.border_sides.colors_beyond` gives it.
    colors : looks up the paint.
    """
    curves = lay_curves(mesh.curves)
    sides = find_border_sides(mesh, vertices_around(mesh.quads, lacking, _ROWS), own, beyond, curves)
    if len(sides.curve) == 0:
        return mesh
    drawn = replace(mesh, curves=draw_to_paint(mesh, sides, curves, colors, projector))
    curves = lay_curves(drawn.curves)
    sides = find_border_sides(drawn, vertices_around(mesh.quads, lacking, 0), own, beyond, curves)
    positions, held = hold_bends(drawn, sides, curves)
    return replace(drawn, positions=positions, is_fixed=mesh.is_fixed | held)
