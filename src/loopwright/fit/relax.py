"""Even a mesh out on the sculpt: near-rectangular quads, smooth grading, nothing folded."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.fit.relax_options import RelaxOptions
from loopwright.fit.relax_state import RelaxState
from loopwright.fit.unfold import count_folded, loosen, restore, snapshot, unfold
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import QuadMesh

_UNFOLDINGS = 4  # one after the other, at most
_EXACT = 6  # last rounds whose vertices land on the sculpt itself

__all__ = ["RelaxOptions", "relax"]


def relax(
    mesh: QuadMesh,
    projector: SurfaceProjector,
    *,
    options: RelaxOptions | None = None,
    progress: Progress = silent,
) -> QuadMesh:
    """Return the mesh evened out on the sculpt.

    Inner vertices slide on the surface, curve vertices along their curve with
    their order kept, mirror vertices in the plane; fixed vertices, and rim
    vertices without a curve, stay. Local and global steps take turns: each
    quad finds the rectangle nearest to it, then all vertices together come as
    near to their rectangles as they can.

    References
    ----------
    S. Bouaziz, M. Deuss, Y. Schwartzburg, T. Weise, M. Pauly, "Shape-Up: Shaping Discrete Geometry with
    Projections", CGF 31(5), 2012, doi:10.1111/j.1467-8659.2012.03171.x: the scheme of local and global steps.
    """
    options = options or RelaxOptions()
    if len(mesh.quads) == 0:
        return mesh
    best: RelaxState | None = None
    for tried in (options, *_other_ways(options)):
        state = RelaxState(mesh, projector, tried)
        _even_out(state, progress)
        if count_folded(state)[0]:
            loosen(state)
        if best is None or count_folded(state) < count_folded(best):
            best = state
        if count_folded(best)[0] == 0:
            break
    assert best is not None
    state = best
    progress("relax", 1.0)
    off = state.let_off
    return replace(
        mesh,
        positions=state.positions,
        vertex_curve=np.where(off, -1, mesh.vertex_curve).astype(np.int32),
        is_fixed=mesh.is_fixed | off,
    )


def _other_ways(options: RelaxOptions) -> list[RelaxOptions]:
    """Return other ways to even out, for meshes that the first one leaves folded: shorter, and more or less square."""
    short = replace(options, rounds=max(1, options.rounds // 2), retries=0)
    return [
        replace(short, first_fairness=2.0 * options.fairness, evenness=0.0),
        replace(short, squareness=0.3, long_squareness=0.5),
    ]


def _even_out(state: RelaxState, progress: Progress) -> None:
    """Do all rounds, and do them again where quads are left folded or flat; the best of it is kept."""
    options = state.options
    unfold(state)
    best, lowest = snapshot(state), (len(state.mesh.quads) + 1, 0.0)
    for attempt in range(1 + options.retries):
        for step in range(options.rounds):
            progress("relax", (attempt + step / options.rounds) / (1 + options.retries))
            part = step / max(1, options.rounds - 1)
            weight = options.first_fairness * (options.fairness / options.first_fairness) ** part
            state.advance(weight, is_sketch=step < options.rounds - _EXACT)
        for _ in range(_UNFOLDINGS):
            if not unfold(state):
                break
        state.mend()
        score = count_folded(state)
        if score < lowest:
            best, lowest = snapshot(state), score
        if state.least_quality() > 0.1:
            break
    restore(state, best)
