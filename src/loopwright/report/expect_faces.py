"""What a plan leads to, region by region: faces and edge lengths before any face is made."""

from __future__ import annotations

import numpy as np

from loopwright.report.parts import LayoutLike
from loopwright.types import FloatArray, IntArray, RegionSurface


def expect_faces(layout: LayoutLike, surface: RegionSurface) -> tuple[IntArray, FloatArray]:
    """Return (regions,) the number of quads of the whole mesh and the edge of a square that many of which cover it."""
    halves = 1 if surface.mirror is None else 2
    faces = np.zeros(len(surface.regions))
    for patch in layout.patches:
        faces[patch.region] += halves * patch.faces
    corners = surface.positions[surface.triangles]
    doubled = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = halves * np.bincount(
        surface.triangle_region, 0.5 * np.linalg.norm(doubled, axis=1), minlength=len(surface.regions)
    )
    return np.rint(faces).astype(np.int32), np.sqrt(areas / np.maximum(faces, 1.0))
