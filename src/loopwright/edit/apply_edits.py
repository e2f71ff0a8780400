"""Replay a list of edits on a mesh, on both sides of its mirror plane alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from loopwright.edit.change import Change, no_change
from loopwright.edit.make_change import make_change, pick_poles
from loopwright.edit.mirror_halves import Halves, cut_in_half, is_whole_mirrored, join_halves, other_side
from loopwright.edit.pick_place import check_near, onto_half, reflect_place, tell_poles_taken
from loopwright.edit.place_vertices import place_vertices, vertex_normals
from loopwright.edit.quad_links import link_quads
from loopwright.edit.tell_poorer import tell_poorer
from loopwright.edit_wishes import Operation, Place, read_operation
from loopwright.errors import InfeasibleError, MarksError
from loopwright.fit.measure_quality import measure_quality
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, QuadMesh

__all__ = ["apply_edits"]

_MEND = "a fit to the sculpt (--sculpt FILE --fit) may even it out, or another place or direction"


def apply_edits(
    mesh: QuadMesh, operations: Sequence[Mapping[str, object]], projector: SurfaceProjector | None = None
) -> tuple[QuadMesh, list[Finding]]:
    """Return the mesh after all operations, in their order, and what each of them did.

    ``docs/editing.md`` lists the operations. Places are found by position, so
    that a list outlives small changes of the mesh. A whole mesh with a mirror
    plane is edited on both sides alike, whichever side a place is on; the
    outcome has the half on the positive side first, then the images.

    Parameters
    ----------
    mesh : whole, or a half that ends at its mirror plane.
    operations : plain data, such as ``{"op": "insert_loop", "near": [x, y, z], "along": [0, 1, 0]}``.
    projector : the sculpt, on which vertices that are new or have moved are put; None leaves them between the old.

    Raises
    ------
    MarksError
        If an operation is not understood, or the two sides of the mesh are not linked alike.
    InfeasibleError
        If an operation cannot be done; the message says which, where and why.

    Examples
    --------
    >>> from loopwright.edit.apply_edits import apply_edits
    >>> loop = {"op": "insert_loop", "near": [0.0, 1.2, 0.3], "along": [1, 0, 0]}
    >>> finer, findings = apply_edits(result.mesh, [loop])  # doctest: +SKIP
    """
    checked = [read_operation(data, f"edit {k}") for k, data in enumerate(operations, 1)]
    if not checked:
        return mesh, []
    halves = cut_in_half(mesh) if is_whole_mirrored(mesh) else None
    change = no_change(halves.half if halves else mesh)
    findings = []
    for k, operation in enumerate(checked, 1):
        before = len(change.mesh.quads)
        base, asked = change.mesh, operation
        if halves and halves.has_own_sides and operation.place is not None:
            base, place = _side_of(operation.place, change, halves)
            operation = replace(operation, place=place)
        try:
            check_near(base, operation.place)
            taken = _poles_taken(base, operation)
            step = make_change(base, operation)
        except (InfeasibleError, MarksError) as error:
            text, about = f"edit {k} ({operation.op}): {error}", f"edits/{k - 1}"
            raise type(error)(text, places=error.places, in_marks=True, about=about) from error
        if base is not change.mesh:  # what was chosen by the shape of the far side
            step = replace(step, mesh=replace(step.mesh, positions=step.blend @ change.mesh.positions))
        change = change.then(step)
        more = (len(change.mesh.quads) - before) * (1 if change.mesh.mirror is None else 2)
        text = f"Edit {k} ({operation.op}){_where(asked)}: {_count_text(more)}{taken}."
        findings.append(Finding("edited", text, abs(more)))
    half = place_vertices(change.mesh, change.is_new, projector)
    if halves is None:
        edited = half
    elif halves.is_exact:
        edited = join_halves(halves, half, None)
    else:
        there = other_side(halves, change.mesh, change.blend @ halves.image_positions)
        if not halves.is_flat:
            half = _off_plane(half, change, halves, projector)
        edited = join_halves(halves, half, place_vertices(there, change.is_new, projector).positions)
    poorer = tell_poorer(mesh, edited, checked, _MEND)
    return edited, findings + (_find_folds(mesh, edited) or poorer)


def _side_of(place: Place, change: Change, halves: Halves) -> tuple[QuadMesh, Place]:
    """Return the half in the shape of the side that a place is on, and the place on it.

    On sides with shapes of their own, what lies at the image of a place may be another row. So the far side's shape is
    reflected, and the place with it.
    """
    mesh, plane = change.mesh, change.mesh.mirror
    if plane is None:
        return mesh, place
    here, there = change.blend @ halves.half.positions, change.blend @ halves.image_positions
    own, other = (float(np.linalg.norm(points - place.near, axis=1).min()) for points in (here, there))
    settled = replace(place, is_settled=True)
    if own <= other:
        return mesh, settled
    return replace(mesh, positions=np.ascontiguousarray(plane.reflect(there))), reflect_place(settled, plane)


def _off_plane(half: QuadMesh, change: Change, halves: Halves, projector: SurfaceProjector | None) -> QuadMesh:
    """Return an edited half whose vertices between the halves are where those of the whole were, or between them."""
    positions = half.positions.copy()
    positions[half.on_mirror] = (change.blend @ halves.half.positions)[half.on_mirror]
    fresh = np.flatnonzero(half.on_mirror & change.is_new)
    if projector is not None and len(fresh):
        positions[fresh] = projector.project(positions[fresh], vertex_normals(half)[fresh]).points
    return replace(half, positions=positions)


def _where(operation: Operation) -> str:
    if operation.place is None:
        return f" of {' and '.join(operation.regions)}" if operation.regions else ""
    return " near ({:g}, {:g}, {:g})".format(*operation.place.near)


def _poles_taken(mesh: QuadMesh, operation: Operation) -> str:
    if operation.place is None or operation.op not in ("move_pole", "turn"):
        return ""
    place, links = onto_half(operation.place, mesh), link_quads(mesh.quads, len(mesh.positions))
    poles = pick_poles(mesh, links, place, operation)
    return f"; {tell_poles_taken(mesh, place, poles)}" if poles else ""


def _count_text(more: int) -> str:
    if more == 0:
        return "as many faces as before"
    return f"{plural(abs(more), 'face')} {'more' if more > 0 else 'fewer'}"


def _find_folds(before: QuadMesh, after: QuadMesh) -> list[Finding]:
    """Tell of quads that the edits have folded; evening the mesh out lays them flat."""
    old = int((measure_quality(before.positions, before.quads).scaled_jacobian <= 0.0).sum())
    folded = np.flatnonzero(measure_quality(after.positions, after.quads).scaled_jacobian <= 0.0)
    if len(folded) <= old:
        return []
    at = "({:.4g}, {:.4g}, {:.4g})".format(*after.positions[after.quads[folded[0]]].mean(axis=0))
    text = (
        f"{plural(len(folded), 'quad is', 'quads are')} folded after the edits, one near {at}; a fit to the sculpt "
        f"(--sculpt FILE --fit) may mend {'it' if len(folded) == 1 else 'them'}."
    )
    return [Finding("folded", text, len(folded), folded.astype(np.int32))]
