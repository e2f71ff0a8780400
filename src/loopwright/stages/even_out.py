"""The stage that evens the mesh out on the sculpt."""

from __future__ import annotations

from loopwright.fit.reach_tips import reach_tips
from loopwright.fit.relax import relax
from loopwright.stages.clock import Clock
from loopwright.stages.read_ground import Ground
from loopwright.types import FloatArray, QuadMesh


def even_out(ground: Ground, mesh: QuadMesh, tips: FloatArray, clock: Clock) -> QuadMesh:
    """Return the mesh evened out, as far as it may move, with the tips of the shape reached.

    Parameters
    ----------
    tips : (n, 3) points of the surface that was planned on.
    """
    projector, progress = ground.projector, clock.progress

    def make() -> QuadMesh:
        return reach_tips(relax(mesh, projector, progress=progress), tips, projector, progress=progress)

    return ground.shelf.keep("relax", (mesh, tips), make)
