"""Edit a mesh that was read from a file: its mirror and borders are found first, as the file does not tell them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from loopwright.edit.apply_edits import apply_edits
from loopwright.edit.border_curves import add_border_curves
from loopwright.edit.mirror_by_links import mirror_by_links
from loopwright.edit.mirror_halves import Halves, cut_in_half
from loopwright.edit.run_edits import run_edits
from loopwright.errors import InfeasibleError
from loopwright.fit.fit_limit import fit_limit
from loopwright.fit.reflect import reflect_half
from loopwright.progress import Progress, silent
from loopwright.surface.pair_vertices import pair_vertices
from loopwright.surface.project import SurfaceProjector
from loopwright.types import Finding, QuadMesh

_APART = 0.02  # of the diagonal: sides of their own that are further apart, in the median, may be no sides at all
_EXACT = 1e-6  # of the diagonal: a mesh is taken for mirrored if every vertex has its image so near; files round


def edit_file_mesh(
    mesh: QuadMesh,
    edits: Sequence[Mapping[str, object]],
    projector: SurfaceProjector | None = None,
    *,
    mirror: str = "auto",
    fit: bool = False,
    progress: Progress = silent,
) -> tuple[QuadMesh, list[Finding]]:
    """Return the edited mesh and what the edits did.

    Parameters
    ----------
    mesh : whole, without curves and mirror, as :func:`loopwright.surface.read_quads.read_quad_mesh` gives it.
    edits : plain data, in their order.
    projector : the sculpt that new and moved vertices are put on; None leaves them on the mesh's own quads.
    mirror : "auto" keeps the mirror of a mesh that has one, "none" does not; "x", "y" or "z" insists on it.
    fit : even the whole mesh out on the sculpt afterwards and lay its smooth limit surface on it, as a build does.

    Raises
    ------
    InfeasibleError, MarksError
        If an edit cannot be made, or an axis was insisted on across which the mesh is not mirrored.
    """
    return edit_ready_mesh(ready_file_mesh(mesh, mirror), edits, projector, fit=fit, progress=progress)


def edit_ready_mesh(
    ready: QuadMesh,
    edits: Sequence[Mapping[str, object]],
    projector: SurfaceProjector | None = None,
    *,
    fit: bool = False,
    progress: Progress = silent,
) -> tuple[QuadMesh, list[Finding]]:
    """Do as :func:`edit_file_mesh` does with a mesh as :func:`ready_file_mesh` gives it.

    Raises
    ------
    InfeasibleError, MarksError
        If an edit cannot be made.
    """
    if not edits and not fit:
        return ready, []
    halves = cut_in_half(ready) if ready.mirror is not None else None
    is_own = halves is not None and halves.has_own_sides
    told = [_tell_own_sides(halves)] if halves and is_own and edits else []
    if not fit or projector is None:
        edited, findings = apply_edits(ready, edits, projector)
        return edited, told + findings
    part = halves.half if halves and not is_own else ready
    edited, findings = run_edits(part, edits, projector, progress=progress)
    fitted, _ = fit_limit(edited, projector, progress=progress)
    if not is_own:
        return (reflect_half(fitted) if fitted.mirror is not None else fitted), findings
    bare = replace(fitted, mirror=None, on_mirror=np.zeros(len(fitted.positions), bool))
    return mirror_by_links(bare, [_axis(ready)]) or bare, told + findings


def _axis(mesh: QuadMesh) -> int:
    return 0 if mesh.mirror is None else int(np.abs(mesh.mirror.normal).argmax())


def _tell_own_sides(halves: Halves) -> Finding:
    text = (
        f"The two sides of the mesh are linked alike, but have shapes of their own, up to {halves.apart:.3g} apart: "
        "edits are made on both, and each side keeps its shape; --mirror none edits one side alone."
    )
    return Finding("own_sides", text)


def ready_file_mesh(mesh: QuadMesh, mirror: str = "auto") -> QuadMesh:
    """Return a mesh read from a file with the curves of its borders, and with its mirror plane as wished.

    Where the positions are not mirrored the links may be: then each side has a shape of its own, and keeps it.

    Raises
    ------
    InfeasibleError
        If an axis was insisted on across which the mesh is not mirrored.
    """
    return _find_mirror(add_border_curves(mesh), mirror)


def _find_mirror(mesh: QuadMesh, wish: str) -> QuadMesh:
    for axis in () if wish == "none" else range(3) if wish == "auto" else ("xyz".index(wish),):
        found = pair_vertices(mesh.positions, mesh.quads, axis, same=_EXACT)
        if found is not None:
            return replace(mesh, on_mirror=found[0] == np.arange(len(found[0])), mirror=found[1])
    if wish == "none":
        return mesh
    if wish == "auto":
        return mirror_by_links(mesh, range(3), most_apart=_APART) or mesh
    linked = mirror_by_links(mesh, ["xyz".index(wish)])
    if linked is not None:
        return linked
    raise InfeasibleError(
        f"The mesh is not mirrored across {wish}, nor are its quads arranged alike on both sides of it; leave "
        f"--mirror {wish} out, or give --mirror auto.",
        places=[wish],
    )
