"""The stage that spreads samples over what the mesh covers."""

from __future__ import annotations

from loopwright.handover.tell_missed_shape import Samples, sample_kept
from loopwright.marks.name_regions import choose_open
from loopwright.marks.options import MarksOptions
from loopwright.options import BuildOptions
from loopwright.stages.read_ground import Ground
from loopwright.types import Paint


def sample_on(ground: Ground, paint: Paint, wishes: BuildOptions) -> Samples:
    """Return samples of the ground's sculpt, but for what is left open."""
    is_open = choose_open(paint.palette, MarksOptions(open_colors=wishes.leave_open))
    reads = (paint, is_open)
    return ground.shelf.keep("samples", reads, lambda: sample_kept(ground.projector, paint, is_open), depth=1)
