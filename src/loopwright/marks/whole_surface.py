"""Both halves of a surface that is kept as one half, to draw on as the artist did."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.marks.surface_cutter import SurfaceCutter
from loopwright.surface.half_edges import surface_edges, surface_twins
from loopwright.types import BoolArray, IntArray, RegionSurface


def whole_surface(surface: RegionSurface) -> RegionSurface:
    """Return a surface with its mirror image, joined in the plane; as it is where it has no mirror plane.

    Lines and guides are left out.
    """
    plane = surface.mirror
    if plane is None:
        return surface
    none = np.zeros((0, 2), np.int32)
    surface = _without_chords(replace(surface, flow_edges=none, guide_edges=none))
    shared, count = _in_plane(surface), len(surface.positions)
    image = np.arange(count, dtype=np.int32)
    image[~shared] = count + np.arange(int((~shared).sum()), dtype=np.int32)
    return replace(
        surface,
        positions=np.concatenate([surface.positions, plane.reflect(surface.positions[~shared])]),
        triangles=np.concatenate([surface.triangles, image[surface.triangles][:, ::-1]]),
        triangle_region=np.tile(surface.triangle_region, 2),
        mirror=None,
        on_mirror=np.zeros(count + int((~shared).sum()), bool),
    )


def _in_plane(surface: RegionSurface) -> BoolArray:
    """Return (n,) vertices at the ends of boundary edges in the plane."""
    edges = surface_edges(surface)
    rim = edges[surface_twins(surface) < 0]
    rim = rim[surface.on_mirror[rim].all(axis=1)]
    out = np.zeros(len(surface.positions), bool)
    out[rim.reshape(-1)] = True
    return out


def _without_chords(surface: RegionSurface) -> RegionSurface:
    """Split inner edges from one vertex in the plane to another: their images would coincide with them."""
    shared = _in_plane(surface)
    edges = surface_edges(surface)
    twin = surface_twins(surface)
    chords: IntArray = edges[(np.arange(len(twin)) < twin) & shared[edges].all(axis=1)]
    if len(chords) == 0:
        return surface
    cutter = SurfaceCutter(surface)
    for a, b in chords.tolist():
        cutter.split_edge(a, b, 0.5)
    return cutter.finish()
