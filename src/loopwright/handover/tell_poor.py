"""Tell of regions in which many quads come out poor: which, where, and what may help."""

from __future__ import annotations

import numpy as np

from loopwright.fit.measure_quality import QualityReport
from loopwright.types import Finding, FloatArray, QuadMesh

_POOR = 0.65  # scaled Jacobian below which a quad is poor
_MANY = 0.1, 6  # share of a region's quads, and quads, from which they are told
_SHOWN = 3  # regions that are named
_COMPARED = 500  # quads of which the place is found


def tell_poor(mesh: QuadMesh, quality: QualityReport) -> list[Finding]:
    """Return a finding with the ids of the poor quads of all regions that have many; none if there are none.

    Parameters
    ----------
    quality : of this mesh.
    """
    is_poor = quality.scaled_jacobian < _POOR
    count = len(mesh.regions)
    poor = np.bincount(mesh.quad_region[is_poor], minlength=count)
    every = np.bincount(mesh.quad_region, minlength=count)
    many = np.flatnonzero((poor >= _MANY[1]) & (poor > _MANY[0] * every))
    if not len(many):
        return []
    many = many[np.argsort(-poor[many], kind="stable")]
    places = []
    for region in many[:_SHOWN].tolist():
        mine = np.flatnonzero(is_poor & (mesh.quad_region == region))
        where = ", ".join(f"{value:.4g}" for value in _densest(mesh.positions[mesh.quads[mine]].mean(axis=1)))
        places.append(f"{poor[region]:,} of the {every[region]:,} in {mesh.regions[region].name}, most near ({where})")
    more = f" and {len(many) - _SHOWN} more regions" if len(many) > _SHOWN else ""
    text = (
        f"Quads are far from rectangles (scaled Jacobian below {_POOR}): {'; '.join(places)}{more}. "
        "A flow line along which loops shall run there, another border, or a larger budget may help."
    )
    found = np.flatnonzero(is_poor & np.isin(mesh.quad_region, many)).astype(np.int32)
    names = tuple(mesh.regions[region].name for region in many.tolist())
    return [Finding("poor_quads", text, len(found), found, names)]


def _densest(points: FloatArray) -> FloatArray:
    """Return the one of (k, 3) points that has the least mean distance to the nearer half of the others."""
    points = points[:: 1 + len(points) // _COMPARED]
    apart = np.sort(np.linalg.norm(points[:, None] - points[None], axis=2), axis=1)[:, : 1 + len(points) // 2]
    chosen: FloatArray = points[apart.mean(axis=1).argmin()]
    return chosen
