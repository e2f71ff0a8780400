"""Tell of quads that are folded when a mesh is handed over: how many, where, and what would free them."""

from __future__ import annotations

import numpy as np

from loopwright.fit.measure_quality import QualityReport
from loopwright.options import LARGEST_BUDGET
from loopwright.types import Finding, QuadMesh

_SHOWN = 3  # regions that are named


def tell_folded(mesh: QuadMesh, quality: QualityReport, budget: int) -> list[Finding]:
    """Return a finding with the ids of all quads that are folded or have an edge without length; none if there is none.

    Parameters
    ----------
    quality : of this mesh.
    budget : faces that were wished for.
    """
    has_no_edge = ~np.isfinite(quality.aspect)
    bad = np.flatnonzero((quality.scaled_jacobian <= 0.0) | has_no_edge).astype(np.int32)
    if not len(bad):
        return []
    one = len(bad) == 1
    fault = f"{'is' if one else 'are'} folded" if not has_no_edge.any() else (
        f"{'is' if one else 'are'} folded or {'has' if one else 'have'} an edge without length"
    )  # fmt: skip
    regions, counts = np.unique(mesh.quad_region[bad], return_counts=True)
    order = np.argsort(-counts, kind="stable")
    places = [_tell_place(mesh, bad, int(regions[k]), int(counts[k])) for k in order[:_SHOWN]]
    more = ", ..." if len(order) > _SHOWN else ""
    ways = ["fewer or wider painted regions"]
    if budget < LARGEST_BUDGET:
        ways.insert(0, "a larger budget")
    text = (
        f"{len(bad):,} {'quad' if one else 'quads'} {fault}: {', '.join(places)}{more}. "
        f"{' or '.join(ways).capitalize()} would give {'it' if one else 'them'} room."
    )
    return [Finding("folded", text, len(bad), bad)]


def _tell_place(mesh: QuadMesh, bad: np.ndarray, region: int, count: int) -> str:
    first = int(bad[mesh.quad_region[bad] == region][0])
    middle = ", ".join(f"{value:.3g}" for value in mesh.positions[mesh.quads[first]].mean(axis=0))
    return f"{count:,} in {mesh.regions[region].name} near ({middle})"
