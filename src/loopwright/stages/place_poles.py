"""Tell of poles that fills add where they lie in the finished mesh."""

from __future__ import annotations

import numpy as np

from loopwright.counts.added_poles import Places, tell_added_poles
from loopwright.counts.counted_layout import CountedLayout
from loopwright.counts.fill_poles import fill_poles
from loopwright.counts.read_pins import border_pins
from loopwright.edit.move_pole import find_poles
from loopwright.edit.quad_links import link_quads
from loopwright.fit.link_edges import mean_edges
from loopwright.numerics.norms import norms
from loopwright.options import BuildOptions
from loopwright.types import Finding, FloatArray, QuadMesh

_SAME = 1.0  # edges that a pole may move while the mesh is fitted, or by an edit, and still be the same


def place_added_poles(
    findings: tuple[Finding, ...], made: CountedLayout, wishes: BuildOptions, even: QuadMesh, mesh: QuadMesh
) -> tuple[Finding, ...]:
    """Return the findings of a plan with that on added poles naming the places of poles of the finished mesh.

    Parameters
    ----------
    even : as built of the layout and evened out, its vertices in that order.
    mesh : whole, finished; edits may have changed it.
    """
    if not any(finding.kind == "poles_added" for finding in findings):
        return findings
    layout, counts = made.layout, made.counts
    told = tell_added_poles(layout, counts, border_pins(layout, wishes.pins), places=_places(made, even, mesh))
    return tuple(told[0] if finding.kind == "poles_added" else finding for finding in findings)


def _places(made: CountedLayout, even: QuadMesh, mesh: QuadMesh) -> Places:
    """Return the poles of the finished mesh that are nearest to those that fills made, of the same valence."""
    poles = find_poles(mesh)
    valence = link_quads(mesh.quads, len(mesh.positions)).valence[poles]
    spots, edges = mesh.positions[poles], mean_edges(mesh.positions, mesh.quads)[poles]
    out: dict[int, list[tuple[FloatArray, int]]] = {}
    is_free = np.ones(len(poles), np.bool_)
    for patch, inside in fill_poles(made.layout, made.counts).items():
        for vertex, quads in inside:
            alike = np.flatnonzero((valence == quads) & is_free)
            gap = norms(spots[alike] - even.positions[vertex])
            if len(gap) and gap.min() <= _SAME * edges[alike[int(gap.argmin())]]:
                nearest = int(alike[int(gap.argmin())])
                is_free[nearest] = False
                out.setdefault(patch, []).append((spots[nearest], quads))
    return out
