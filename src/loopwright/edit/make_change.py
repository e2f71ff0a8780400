"""Carry out one checked operation on a half, or on a mesh without a mirror plane."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from loopwright.edit.change import Change, no_change
from loopwright.edit.change_regions import merge_regions, split_region
from loopwright.edit.collapse_strip import collapse_strip
from loopwright.edit.count_poor import count_poor
from loopwright.edit.move_pole import find_poles, move_pole_pair, move_pole_rows
from loopwright.edit.pick_place import onto_half, pick_partner, pick_pole, pick_rail, pick_rung
from loopwright.edit.place_vertices import vertex_normals
from loopwright.edit.quad_links import QuadLinks, link_quads
from loopwright.edit.split_strips import split_strips
from loopwright.edit.turn_disc import turn_disc
from loopwright.edit_wishes import Operation, Place
from loopwright.errors import InfeasibleError, InternalError
from loopwright.types import QuadMesh


def make_change(mesh: QuadMesh, operation: Operation) -> Change:
    """Return the change that an operation makes.

    Raises
    ------
    InfeasibleError, MarksError
        If it cannot be done; the message says why.
    """
    if operation.op == "merge_regions":
        merged = merge_regions(mesh, operation.regions, name=operation.name)
        return Change(merged, no_change(mesh).blend)
    if operation.place is None:
        raise InternalError(f"The operation {operation.op} has no place.")
    place = onto_half(operation.place, mesh)
    links = link_quads(mesh.quads, len(mesh.positions))
    if operation.op == "insert_loop":
        return _split(mesh, links, place, 2)
    if operation.op == "remove_loop":
        return _remove_loop(mesh, links, pick_rail(mesh, links, place))
    if operation.op == "change_count":
        return _split(mesh, links, place, operation.by + 1) if operation.by > 0 else _lower(mesh, place, -operation.by)
    if operation.op == "move_pole":
        return _move_pole(mesh, place, operation.how)
    if operation.op == "turn":
        return _turn(mesh, links, place, operation)
    if operation.op == "split_region":
        edge = pick_rail(mesh, links, place)
        split = split_region(mesh, edge, name=operation.name, color=operation.color)
        return Change(split, no_change(mesh).blend)
    raise InternalError(f"The operation {operation.op} is not known here.")


def _split(mesh: QuadMesh, links: QuadLinks, place: Place, parts: int) -> Change:
    strip = links.strips.of_edge[pick_rung(mesh, links, place)]
    return split_strips(mesh, np.array([strip]), parts=parts)


def _remove_loop(mesh: QuadMesh, links: QuadLinks, rail: int) -> Change:
    """Merge the loop with the one beside it; of the two strips that could go, the one with fewer quads is tried first.

    The loop's own vertices give way, so that taking out a loop that was put
    in leaves the mesh as it was.
    """
    loop, _ = links.trace_loop(rail)
    rank = np.zeros(links.count, np.int64)
    rank[links.edges[loop].ravel()] = 1
    rank[find_poles(mesh)] = 0  # a pole at the loop's end is no part of it
    halves = links.edge_half_edges[rail]
    strips = {int(links.strips.of_edge[links.quad_edge[h // 4, (h + 1) % 4]]) for h in halves[halves >= 0].tolist()}
    refusals = []
    for strip in sorted(strips, key=lambda s: (len(links.strip_quads(s)), _place_of(mesh, links, s))):
        try:
            return collapse_strip(mesh, strip, give_way=rank)
        except InfeasibleError as error:
            refusals.append(error)
    raise InfeasibleError(" ".join(dict.fromkeys(str(e) for e in refusals)), places=refusals[0].places)


def _place_of(mesh: QuadMesh, links: QuadLinks, strip: int) -> tuple[float, ...]:
    middle = mesh.positions[links.edges[links.strips.of_edge == strip]].mean(axis=(0, 1))
    return tuple(np.round(middle, 9).tolist())


def _lower(mesh: QuadMesh, place: Place, by: int) -> Change:
    """Take out the strip at a place, or the nearest one beside it that can go, as often as asked for.

    No step may fold quads or turn them away from the surface.
    """
    change = no_change(mesh)
    normals = vertex_normals(mesh)
    poor = count_poor(mesh, normals, 0.0)
    for done in range(by):
        current = change.mesh
        links = link_quads(current.quads, len(current.positions))
        rung = pick_rung(current, links, place)
        if place.across is None and place.along is None:  # later picks take the same direction
            a, b = current.positions[links.edges[rung]]
            place = replace(place, across=b - a)
        most = f"the lowest by possible there is {-done}" if done else "no strip there can go"
        action = f"The count cannot be lowered by {by}, but by {done} at most ({most})"

        def is_sound(step: Change, so_far: Change = change) -> bool:
            return count_poor(step.mesh, so_far.then(step).blend @ normals, 0.0) <= poor

        change = change.then(_take_nearest(current, links, rung, action, is_sound))
    return change


def _take_nearest(
    mesh: QuadMesh, links: QuadLinks, rung: int, action: str, is_sound: Callable[[Change], bool]
) -> Change:
    refusal: InfeasibleError | None = None
    for strip in _parallel_strips(links, rung):
        try:
            change = collapse_strip(mesh, strip, action=action)
        except InfeasibleError as error:
            refusal = refusal or error
            continue
        if is_sound(change):
            return change
        spot = tuple(np.round(mesh.positions[links.edges[rung]].mean(axis=0), 6).tolist())
        text = f"{action}: it would fold faces or turn them off the surface, near {spot}."
        refusal = refusal or InfeasibleError(text, places=[spot])
    if refusal is None:
        raise InternalError("An edge of the mesh has no strip.")
    raise refusal


def _parallel_strips(links: QuadLinks, rung: int) -> list[int]:
    """Return the strips that the line through an edge crosses, the edge's own first, then outwards."""
    line, _ = links.trace_loop(rung)
    place = int(np.flatnonzero(line == rung)[0])
    order = np.argsort(np.abs(np.arange(len(line)) - place), kind="stable")
    return list(dict.fromkeys(links.strips.of_edge[line[order]].tolist()))


def _move_pole(mesh: QuadMesh, place: Place, how: str) -> Change:
    pole = pick_pole(mesh, place)
    toward = place.toward
    if toward is None:
        raise InternalError("A pole cannot be moved without a direction.")
    if how == "pair":
        return move_pole_pair(mesh, pole, toward)
    if how == "rows":
        return move_pole_rows(mesh, pole, toward)
    try:
        return move_pole_pair(mesh, pole, toward)
    except InfeasibleError as pair_error:
        try:
            return move_pole_rows(mesh, pole, toward)
        except InfeasibleError as rows_error:
            raise InfeasibleError(f"{pair_error} {rows_error}", places=pair_error.places) from rows_error


def _turn(mesh: QuadMesh, links: QuadLinks, place: Place, operation: Operation) -> Change:
    steps = -operation.steps if place.is_mirrored else operation.steps
    if operation.what == "edge":
        edge = pick_rail(mesh, links, place)
        if links.is_boundary_edge[edge]:
            raise InfeasibleError("The pattern cannot be turned: the edge lies on the boundary of the mesh.")
        return turn_disc(mesh, links.edge_half_edges[edge] // 4, steps)
    centres = pick_poles(mesh, links, place, operation)
    return turn_disc(mesh, np.flatnonzero(np.isin(mesh.quads, centres).any(axis=1)), steps)


def pick_poles(mesh: QuadMesh, links: QuadLinks, place: Place, operation: Operation) -> tuple[int, ...]:
    """Return the poles that an operation takes for its place; none where it takes an edge or a region.

    Raises
    ------
    MarksError, InfeasibleError
        If there is no such pole near the place, or no partner beside it.
    """
    if operation.op == "move_pole":
        return (pick_pole(mesh, place),)
    if operation.op != "turn" or operation.what == "edge":
        return ()
    pole = pick_pole(mesh, place)
    return (pole, pick_partner(mesh, links, pole, place)) if operation.what == "pair" else (pole,)
