"""Demo sculpts of our own: generated, painted, free of anybody's rights."""

from __future__ import annotations

from loopwright.demo.make_body import make_body
from loopwright.demo.make_creature import make_creature
from loopwright.demo.mark_creature import creature_marks
from loopwright.demo.paint_body import BODY_OPEN_COLOR, body_region_pieces, body_regions
from loopwright.demo.paint_creature import DEMO_OPEN_COLOR, demo_region_pieces, demo_regions
from loopwright.demo.write_sculpt_ply import write_sculpt_ply

__all__ = [
    "BODY_OPEN_COLOR",
    "DEMO_OPEN_COLOR",
    "body_region_pieces",
    "body_regions",
    "creature_marks",
    "demo_region_pieces",
    "demo_regions",
    "make_body",
    "make_creature",
    "write_sculpt_ply",
]
