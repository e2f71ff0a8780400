"""Even a mesh out on the sculpt: near-rectangular quads, smooth grading, nothing folded."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from loopwright.fit.link_edges import on_rim, vertices_around
from loopwright.fit.relax_options import RelaxOptions
from loopwright.fit.relax_state import RelaxState
from loopwright.fit.unfold import Places, count_folded, is_folded, lack, loosen, put_back, restore, snapshot, unfold
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.types import QuadMesh

_UNFOLDINGS = 4  # one after the other, at most
_BACK_ROWS = (1, 2, 4, 8)  # rows round folded quads that are put back where they were, in turns
_FREED_ROWS = (0, 1, 3)  # rows round quads that nothing else unfolds whose vertices leave their curves, and ...
_FREED_ROUNDS = 4  # ... rounds of evening out then
_EXACT = 10  # last rounds whose vertices land on the sculpt itself
_POOR = 0.2  # quality below which quads are better where they were before all rounds, if that is so

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
    state = RelaxState(mesh, projector, options)
    _even_out(state, progress)
    if options.mends and count_folded(state)[0]:
        state = _unfolded(mesh, state, progress)
    progress("relax", 1.0)
    off = state.let_off
    return replace(
        mesh,
        positions=state.positions,
        vertex_curve=np.where(off, -1, mesh.vertex_curve).astype(np.int32),
        is_fixed=mesh.is_fixed | off,
    )


def _unfolded(mesh: QuadMesh, first: RelaxState, progress: Progress) -> RelaxState:
    """Try for a mesh without folded quads by other means than those that ended in ``first``; return the best."""
    projector, options = first.projector, first.options
    best = RelaxState(mesh, projector, options)
    if _even_out_guarded(best, progress):
        return best
    loosen(first)
    best = first
    for other in _other_ways(options):
        if count_folded(best)[0] == 0:
            break
        state = RelaxState(mesh, projector, other)
        _even_out(state, progress)
        if count_folded(state) < count_folded(best):
            best = state
    for rows in _FREED_ROWS:
        if count_folded(best)[0] == 0:
            break
        best = min(best, _freed(best, rows, progress), key=count_folded)
    return best


def _freed(folded: RelaxState, rows: int, progress: Progress) -> RelaxState:
    """Let the vertices round folded quads off their curves, as loosening does, and even out anew from there."""
    mesh, options = folded.mesh, replace(folded.options, rounds=_FREED_ROUNDS, retries=0)
    near = vertices_around(mesh.quads, is_folded(folded), rows, count=len(mesh.positions))
    state = RelaxState(replace(mesh, positions=folded.positions), folded.projector, options)
    state.let_off, state.home = folded.let_off, folded.home
    state.free_from_curves(near & ~on_rim(mesh.quads, len(mesh.positions)))
    _even_out(state, progress)
    return state


def _even_out_guarded(state: RelaxState, progress: Progress) -> bool:
    """Unfold the quads and do such rounds as fold none again; say whether there was a way to unfold them.

    What a round folds is put back where it was before, with more and more rows round it, and the last round ends it
    when that does not do either.
    """
    options = state.options
    for _ in range(_UNFOLDINGS):
        if not unfold(state):
            break
    if count_folded(state)[0]:
        return False
    for step in range(options.rounds):
        progress("relax", step / options.rounds)
        before = snapshot(state)
        state.advance(options.fairness)
        if not _put_back_folded(state, before):
            restore(state, before)
            break
    state.mend()
    return count_folded(state)[0] == 0


def _put_back_folded(state: RelaxState, before: Places) -> bool:
    """Put vertices round folded quads back where they were; say whether no quad is folded then."""
    for rows in _BACK_ROWS:
        if count_folded(state)[0] == 0:
            return True
        put_back(state, before, vertices_around(state.mesh.quads, is_folded(state), rows))
    return count_folded(state)[0] == 0


def _other_ways(options: RelaxOptions) -> list[RelaxOptions]:
    """Return other ways to even out, for meshes that the first one leaves folded: shorter, and more or less square."""
    short = replace(options, rounds=max(1, options.rounds // 2), retries=0)
    return [
        replace(short, first_fairness=2.0 * options.fairness, evenness=0.0),
        replace(short, squareness=0.3, long_squareness=0.5),
    ]


def _even_out(state: RelaxState, progress: Progress) -> None:
    """Do all rounds, and do them again where quads are left folded or flat; the best of it is kept.

    Where nothing is to be mended, do them once.
    """
    options = state.options
    if not options.mends:
        _do_rounds(state, progress, 0)
        return
    unfold(state)
    start = best = snapshot(state)
    lowest = (len(state.mesh.quads) + 1, 0.0)
    for attempt in range(1 + options.retries):
        _do_rounds(state, progress, attempt)
        state.mend()  # a quad by itself is mended in a hundredth of the time that unfolding its surroundings takes
        if count_folded(state)[0]:
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
    take_back_poor(state, start)


def _do_rounds(state: RelaxState, progress: Progress, attempt: int) -> None:
    """Do all rounds once; it is the ``attempt``-th time, from 0."""
    options = state.options
    for step in range(options.rounds):
        progress("relax", (attempt + step / options.rounds) / (1 + options.retries))
        part = step / max(1, options.rounds - 1)
        weight = options.first_fairness * (options.fairness / options.first_fairness) ** part
        state.advance(weight, is_sketch=step < options.rounds - _EXACT)


def take_back_poor(state: RelaxState, start: Places) -> None:
    """Put vertices round poor quads back where they were at the start, mended, if all in all quads are better then.

    In narrow places the rounds fold again what was unfolded before them, and the second unfolding, from folds of
    many rows, may come to less than the first.
    """
    poor = is_folded(state, _POOR)
    if not poor.any() or count_folded(state)[0]:
        return
    best = ended = snapshot(state)
    lowest = lack(state, state.options.least_quality)
    restore(state, start)
    state.mend()
    mended = snapshot(state)
    for rows in _BACK_ROWS:
        restore(state, ended)
        put_back(state, mended, vertices_around(state.mesh.quads, poor, rows))
        state.mend()
        score = lack(state, state.options.least_quality)
        if score < lowest and not count_folded(state)[0]:
            best, lowest = snapshot(state), score
    restore(state, best)
