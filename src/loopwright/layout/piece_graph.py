"""The graph of ways that cuts may take through a piece, from its crosses."""

from __future__ import annotations

from loopwright.layout.cross_field import polar_frames
from loopwright.layout.follow_bending import guided_crosses
from loopwright.layout.piece import Piece
from loopwright.layout.trace_cuts import CutGraph, build_graph, collect_steps
from loopwright.surface.measure_bending import Bending
from loopwright.types import FloatArray


def piece_graph(
    piece: Piece, points: FloatArray, bending: Bending | None, size: float, *, drift_limit: float
) -> CutGraph:
    """Return the graph in which the cuts of a piece are traced.

    Parameters
    ----------
    points : (n, 3) places of the piece's vertices.
    bending : of the whole surface, or None.
    size : the wished edge length.
    drift_limit : how far, in radians, a cut may leave the crosses.
    """
    frames = polar_frames(points, piece.triangles, piece.quadrants)
    crosses = guided_crosses(points, piece.triangles, piece.quadrants, frames, bending, piece.origin, size)
    steps = collect_steps(points, piece.triangles, piece.quadrants, frames)
    return build_graph(steps, crosses, piece.quadrants, drift_limit=drift_limit)
