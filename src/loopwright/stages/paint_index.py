"""The index that finds the paint at any point of the sculpt, kept from wish to wish."""

from __future__ import annotations

from loopwright.fit.paint_index import PaintIndex
from loopwright.stages.read_ground import Ground
from loopwright.types import Paint


def paint_index(ground: Ground, paint: Paint) -> PaintIndex:
    """Return the index of this paint on the ground's sculpt."""
    return ground.shelf.keep("paint index", (paint,), lambda: PaintIndex(ground.projector.positions, paint), depth=1)
