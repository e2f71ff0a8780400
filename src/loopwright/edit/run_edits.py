"""The stage of a build that replays the wished edits and evens the mesh out again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from loopwright.counts.find_region import find_region
from loopwright.edit.apply_edits import apply_edits
from loopwright.edit.tell_poorer import POORER, tell_poorer
from loopwright.edit_wishes import read_operation
from loopwright.errors import InfeasibleError, MarksError
from loopwright.fit.fold_mirror import is_half
from loopwright.fit.relax import relax
from loopwright.fit.tell_loosened import tell_loosened
from loopwright.progress import Progress, silent
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.repair_work import plural
from loopwright.types import Finding, FloatArray, QuadMesh, Region

_MOVED = 1e-9  # of the diagonal: what is nearer to a held place has not moved
_NO_COLOR = (-1, -1, -1)  # of a region that a split will make: no colour means it
_UNEVEN = ("folded", POORER)  # told by apply_edits of a mesh that is not evened out yet


def run_edits(
    mesh: QuadMesh,
    edits: Sequence[Mapping[str, object]],
    projector: SurfaceProjector,
    *,
    held: Sequence[int] = (),
    names: Sequence[str] = (),
    progress: Progress = silent,
) -> tuple[QuadMesh, list[Finding]]:
    """Return the mesh with the edits made and evened out on the sculpt, and what they did.

    Parameters
    ----------
    mesh : evened out; a half that ends at its mirror plane, or a whole mesh: one with a mirror comes back without it.
    edits : plain data, in their order; where there is none, the mesh comes back as it is.
    held : vertices at places that the artist wants kept; they stay there, whatever becomes of borders round them.
    names : what messages call those places; without them they are told by their coordinates alone.

    Raises
    ------
    InfeasibleError, MarksError
        If an edit cannot be made, or takes the vertex of a held place away; the message begins with its number.
    """
    if not edits:
        return mesh, []
    made, findings = apply_edits(mesh, edits, projector)
    made, lost = _hold(mesh.positions[list(held)], made)
    if lost is not None:
        raise _taken_away(mesh, edits, projector, mesh.positions[held[lost]], names[lost] if names else "")
    if made.mirror is not None and not is_half(made):  # what is mirrored by its links alone has no plane to keep to
        made = replace(made, mirror=None, on_mirror=np.zeros(len(made.positions), bool))
    edited = relax(made, projector, progress=lambda _, done: progress("edits", done))
    sides = 2 if is_half(mesh) else 1
    before, after = sides * len(mesh.quads), sides * len(edited.quads)
    if after != before:
        text = f"The edits took the mesh from {before:,} to {plural(after, 'face')}."
        findings.append(Finding("edited_faces", text, abs(after - before)))
    kept = [finding for finding in findings if finding.kind not in _UNEVEN]
    checked = [read_operation(data, f"edit {number}") for number, data in enumerate(edits, 1)]
    poorer = tell_poorer(mesh, edited, checked, "another place or direction, or a larger budget, may do better")
    return edited, kept + poorer + tell_loosened(made, edited)


def _hold(places: FloatArray, mesh: QuadMesh) -> tuple[QuadMesh, int | None]:
    """Return the mesh with the vertices at the places fixed, and the first place that has none."""
    fixed = mesh.is_fixed.copy()
    for index, place in enumerate(places):
        vertex = _vertex_at(place, mesh)
        if vertex is None:
            return mesh, index
        fixed[vertex] = True
    return replace(mesh, is_fixed=fixed), None


def _vertex_at(place: FloatArray, mesh: QuadMesh) -> int | None:
    gap = np.linalg.norm(mesh.positions - place, axis=1)
    diagonal = float(np.linalg.norm(np.ptp(mesh.positions, axis=0)))
    return int(gap.argmin()) if gap.min() <= _MOVED * diagonal else None


def _taken_away(
    mesh: QuadMesh, edits: Sequence[Mapping[str, object]], projector: SurfaceProjector, place: FloatArray, name: str
) -> InfeasibleError:
    """Return the error that names the first edit after which no vertex is at a held place, and the place."""
    number = len(edits)
    for count in range(1, len(edits)):
        if _vertex_at(place, apply_edits(mesh, edits[:count], projector)[0]) is None:
            number = count
            break
    spot = tuple(np.round(place, 6).tolist())
    text = (
        f"edit {number} ({edits[number - 1]['op']}) takes away the vertex of {name + ', ' if name else 'a place '}held "
        f"at {spot}: drop that place, or change the edit."
    )
    return InfeasibleError(text, places=[name, spot] if name else [spot], in_marks=True, about="points")


def check_region_names(regions: Sequence[Region], edits: Sequence[Mapping[str, object]]) -> None:
    """Refuse edits that name regions which will not be there, before the long work.

    Raises
    ------
    MarksError
        The message begins with the number of the edit.
    """
    known = list(regions)
    for number, data in enumerate(edits, 1):
        edit = read_operation(data, f"edit {number}")
        try:
            ids = [find_region(known, name) for name in edit.regions]
        except MarksError as error:
            text, places = f"edit {number} ({edit.op}): {error}", error.places
            raise MarksError(text, places=places, in_marks=True, about=f"edits/{number - 1}") from error
        color = known[ids[0]].color if ids else _NO_COLOR
        added = edit.name or (known[ids[0]].name if ids else "")
        known = [region for i, region in enumerate(known) if i not in ids]
        if added in [region.name for region in known]:
            message = f'edit {number} ({edit.op}): the name "{added}" is taken; give the region another.'
            raise MarksError(message, places=[added], in_marks=True, about=f"edits/{number - 1}")
        if added:
            known.append(Region(added, color))
