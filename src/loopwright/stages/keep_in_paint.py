"""The stage that grows quads for their paint, and the index that finds the paint at any point of the sculpt."""

from __future__ import annotations

from loopwright.fit.keep_paint import Kept, keep_paint
from loopwright.fit.paint_index import PaintIndex
from loopwright.fit.paint_sampler import PaintSampler
from loopwright.progress import Progress
from loopwright.stages.read_ground import Ground
from loopwright.types import Paint, QuadMesh


def paint_index(ground: Ground, paint: Paint) -> PaintIndex:
    """Return the index of this paint on the ground's sculpt."""
    sculpt = ground.projector
    return ground.shelf.keep(
        "paint index", (paint,), lambda: PaintIndex(sculpt.positions, paint, sculpt.triangles), depth=1
    )


def keep_in_paint(ground: Ground, mesh: QuadMesh, paint: Paint, progress: Progress) -> Kept:
    """Return the mesh with the quads grown that another paint than their own outweighs."""
    index = paint_index(ground, paint)

    def make() -> Kept:
        sampler = PaintSampler(mesh, paint, index)
        return keep_paint(mesh, ground.projector, paint, sampler=sampler, progress=progress)

    return ground.shelf.keep("keep paint", (mesh, paint), make)
