"""Move a pole by one row: with its partner by turning an edge, or alone by shifting rows."""

from __future__ import annotations

import numpy as np

from loopwright.edit.change import Change
from loopwright.edit.collapse_strip import collapse_strip
from loopwright.edit.quad_links import Ids, QuadLinks, link_quads
from loopwright.edit.split_strips import split_strips
from loopwright.edit.turn_disc import disc_rim, turn_disc
from loopwright.errors import InfeasibleError
from loopwright.types import FloatArray, QuadMesh

_LEAST_COSINE = 0.5  # between the direction asked for and the move
_LEAST_BEHIND = 0.1  # between the way back and the edge behind: a pole of three edges has none straight behind it


def find_poles(mesh: QuadMesh) -> Ids:
    """Return the inner vertices whose valence is not four; those in the plane of a half are judged in the whole."""
    links = link_quads(mesh.quads, len(mesh.positions))
    whole = links.valence.copy()
    inner = ~links.is_boundary
    if mesh.mirror is not None:
        rim = links.edges[links.is_boundary_edge & ~mesh.on_mirror[links.edges].all(axis=1)]
        on_rim = np.zeros(links.count, bool)
        on_rim[rim.ravel()] = True
        plane = links.is_boundary & mesh.on_mirror & ~on_rim
        whole[plane] = 2 * whole[plane] - 2
        inner |= plane
    return np.flatnonzero(inner & (whole > 0) & (whole != 4))


def move_pole_pair(mesh: QuadMesh, pole: int, toward: FloatArray) -> Change:
    """Move a pole and its partner by one row, by turning one edge beside them.

    The edge is one whose turn gives the same valences to other vertices: the
    pole becomes regular, and another vertex takes its valence.

    Parameters
    ----------
    pole : an inner vertex whose valence is not four.
    toward : (3,) the direction to move in.

    Raises
    ------
    InfeasibleError
        If no such turn moves the pole that way.
    """
    links = link_quads(mesh.quads, len(mesh.positions))
    choices = []
    for edge in _edges_near(links, pole):
        for steps in (1, 2):
            target = _target(links, edge, steps, pole)
            if target is not None:
                cosine = _cosine(mesh.positions[target] - mesh.positions[pole], toward)
                choices.append((-round(cosine, 9), tuple(mesh.positions[links.edges[edge]].mean(axis=0)), edge, steps))
    refusal = "there is no partner beside it"
    for negative, _, edge, steps in sorted(choices):
        if -negative < _LEAST_COSINE:
            refusal = "its partner does not allow a move that way"
            break
        try:
            return turn_disc(mesh, links.edge_half_edges[edge] // 4, steps)
        except InfeasibleError as error:
            refusal = str(error)
    spot = _spot(mesh, pole)
    raise InfeasibleError(
        f"The pole near {spot} cannot be moved by turning an edge: {refusal.rstrip('.')}.", places=[spot]
    )


def move_pole_rows(mesh: QuadMesh, pole: int, toward: FloatArray) -> Change:
    """Move a pole by one row: the row ahead of it is taken out, and one is put in behind it.

    Both rows are moved along their whole length.

    Raises
    ------
    InfeasibleError
        If there is no row ahead or behind, they are one and the same, or it cannot be taken out; or the pole is fixed.
    """
    links = link_quads(mesh.quads, len(mesh.positions))
    spot = _spot(mesh, pole)
    if mesh.is_fixed[pole]:
        raise InfeasibleError(
            f"The pole near {spot} is held, or lies where borders meet: it stays there when rows are shifted, and "
            "moves with the paint alone.",
            places=[spot],
        )
    ahead = _rung(mesh, links, pole, toward, _LEAST_COSINE)
    behind = _rung(mesh, links, pole, -toward, _LEAST_BEHIND)
    if ahead is None or behind is None:
        raise InfeasibleError(f"The pole near {spot} has no row on that side to be moved over.", places=[spot])
    strip_ahead, strip_behind = (int(links.strips.of_edge[e]) for e in (ahead, behind))
    if strip_ahead == strip_behind:
        raise InfeasibleError(f"The rows on both sides of the pole near {spot} are one and the same.", places=[spot])
    first = split_strips(mesh, np.array([strip_behind]))
    inner = link_quads(first.mesh.quads, len(first.mesh.positions))
    # The strip ahead keeps its old edges, except where the split one crosses it: look for one of them.
    kept = _edge_between(inner, *links.edges[ahead].tolist())
    if kept is None:
        raise InfeasibleError(f"The rows on both sides of the pole near {spot} are one and the same.", places=[spot])
    rank = _rail_rank(inner, kept, pole)
    action = f"The pole near {spot} cannot be moved by shifting rows"
    second = collapse_strip(first.mesh, int(inner.strips.of_edge[kept]), give_way=rank, action=action)
    return first.then(second)


def _spot(mesh: QuadMesh, pole: int) -> tuple[float, ...]:
    return tuple(np.round(mesh.positions[pole], 6).tolist())


def _edges_near(links: QuadLinks, pole: int) -> list[int]:
    """Return the inner edges of the quads round a vertex."""
    quads = np.flatnonzero((links.quads == pole).any(axis=1))
    edges = np.unique(links.quad_edge[quads])
    found: list[int] = edges[~links.is_boundary_edge[edges]].tolist()
    return found


def _target(links: QuadLinks, edge: int, steps: int, pole: int) -> int | None:
    """Return the vertex to which turning an edge moves the pole, or None where it does something else."""
    rim = disc_rim(links, links.edge_half_edges[edge] // 4)
    if rim is None or len(rim) != 6 or links.is_boundary[rim].any():
        return None
    old = links.edges[edge]
    place = int(np.flatnonzero(rim == old[0])[0])
    new = rim[[(place + steps) % 6, (place + steps + 3) % 6]]
    before = links.valence[np.concatenate([old, new])]
    after = before + np.array([-1, -1, 1, 1])
    if sorted(before.tolist()) != sorted(after.tolist()):
        return None
    changed = np.concatenate([old, new])
    gained = changed[(after == links.valence[pole]) & (before != after) & (before == 4)]
    lost = changed[(before == links.valence[pole]) & (after == 4)]
    if pole not in lost or len(gained) == 0:
        return None
    order = rim.tolist()
    way = np.abs(np.array([order.index(v) for v in gained.tolist()]) - order.index(pole))
    return int(gained[np.minimum(way, 6 - way).argmin()])  # where two poles move, each to its neighbour on the rim


def _cosine(step: FloatArray, toward: FloatArray) -> float:
    size = float(np.linalg.norm(step) * np.linalg.norm(toward))
    return float(step @ toward) / size if size > 0.0 else -1.0


def _rung(mesh: QuadMesh, links: QuadLinks, pole: int, toward: FloatArray, least: float) -> int | None:
    """Return the edge at a pole that leads most that way."""
    edges = np.flatnonzero((links.edges == pole).any(axis=1))
    other = links.edges[edges].sum(axis=1) - pole
    cosines = [_cosine(mesh.positions[v] - mesh.positions[pole], toward) for v in other.tolist()]
    best = int(np.argmax(cosines))
    return int(edges[best]) if cosines[best] >= least else None


def _rail_rank(links: QuadLinks, rung: int, vertex: int) -> Ids:
    """Return (n,) 1 for the vertices on that side of the strip where ``vertex`` is, else 0."""
    strips = links.strips
    rungs = np.flatnonzero(strips.of_edge == strips.of_edge[rung])
    way = int(links.edges[rung, 1] == vertex) ^ int(strips.side[rung])
    rank = np.zeros(links.count, np.int64)
    rank[links.edges[rungs, strips.side[rungs] ^ way]] = 1
    return rank


def _edge_between(links: QuadLinks, a: int, b: int) -> int | None:
    found = np.flatnonzero((links.edges[:, 0] == min(a, b)) & (links.edges[:, 1] == max(a, b)))
    return int(found[0]) if len(found) else None
