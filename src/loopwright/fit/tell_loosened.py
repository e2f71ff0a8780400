"""Tell of vertices that were let off their border or line, since every place on it would have left quads folded."""

from __future__ import annotations

import numpy as np

from loopwright.numerics.norms import norms
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, QuadMesh

_SHOWN = 3  # places that are named


def tell_loosened(asked: QuadMesh, made: QuadMesh) -> list[Finding]:
    """Return a finding with the vertices of ``asked`` that have a curve there and none in ``made``; none if all have.

    Parameters
    ----------
    made : the same mesh evened out; vertices that were added stand behind those of ``asked``.
    """
    count = len(asked.positions)
    off = np.flatnonzero((asked.vertex_curve >= 0) & (made.vertex_curve[:count] < 0)).astype(np.int32)
    if not len(off):
        return []
    spots = made.positions[off]
    # every further place is the one farthest from those named before
    picked = [0]
    while len(picked) < min(_SHOWN, len(off)):
        gaps = norms(spots[:, None] - spots[picked]).min(axis=1)
        picked.append(int(gaps.argmax()))
    places = "; ".join("(" + ", ".join(f"{x:.3g}" for x in spots[k]) + ")" for k in picked)
    text = (
        f"{plural(len(off), 'vertex was', 'vertices were')} let off {'its' if len(off) == 1 else 'their'} border, "
        f"since every place on it would have left quads folded: near {places}. "
        "A smoother border, wider regions or a larger budget there keeps to the paint."
    )
    return [Finding("loosened", text, len(off), off)]
