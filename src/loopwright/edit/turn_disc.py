"""Turn the pattern inside a small disc of quads: an edge, the star of a pole, a pair of poles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.sparse import csr_matrix, identity, lil_matrix

from loopwright.edit.change import Change, blend_positions
from loopwright.edit.check_links import check_links
from loopwright.edit.edge_roles import find_edge_roles
from loopwright.edit.quad_links import Ids, QuadLinks, link_quads
from loopwright.errors import InfeasibleError
from loopwright.surface.repair_work import plural
from loopwright.types import QuadMesh


def turn_disc(mesh: QuadMesh, disc: Ids, steps: int) -> Change:
    """Return the mesh with all links inside a disc turned by ``steps`` vertices along the disc's rim.

    Two quads that share an edge form a hexagon: one or two steps give the
    other two ways to part it. The rim keeps its place; vertices inside are
    put at the mean of their neighbours. Turning back by as many steps gives
    the same links again.

    Parameters
    ----------
    mesh : a half that ends at its mirror plane, or a mesh without one.
    disc : (k,) quads that form a disc.
    steps : counter-clockwise, seen from outside.

    Raises
    ------
    InfeasibleError
        If the quads form no disc of one region, a border or a fixed vertex lies inside, or the outcome would be
        no good mesh.
    """
    action = "The pattern cannot be turned"
    links = link_quads(mesh.quads, len(mesh.positions))
    rim = disc_rim(links, disc)
    if rim is None:
        raise InfeasibleError(
            f"{action}: its {plural(len(disc), 'quad does', 'quads do')} not form a disc.", places=disc.tolist()
        )
    inside = np.setdiff1d(mesh.quads[disc], rim)
    _check_inside(mesh, links, disc, rim, inside, action)
    turned = np.arange(links.count)
    turned[rim] = np.roll(rim, -steps)
    quads = mesh.quads.copy()
    quads[disc] = turned[mesh.quads[disc]]
    change = blend_positions(replace(mesh, quads=quads), mesh, _settle(quads[disc], inside, links.count))
    check_links(change.mesh, action)
    return change


def disc_rim(links: QuadLinks, disc: Ids) -> Ids | None:
    """Return the vertices round a disc of quads, counter-clockwise from the lowest; None where it is no disc."""
    chosen = np.zeros(len(links.quads), bool)
    chosen[disc] = True
    half = np.flatnonzero(np.repeat(chosen, 4))
    twin = links.twin[half]
    outer = half[(twin < 0) | ~chosen[np.maximum(twin, 0) // 4]]
    onward = dict(zip(links.start[outer].tolist(), links.end[outer].tolist(), strict=True))
    if len(onward) < len(outer) or len(outer) == 0:
        return None
    start = min(onward)
    rim = [start]
    while onward[rim[-1]] != start:
        rim.append(onward[rim[-1]])
        if len(rim) > len(outer):
            return None
    edges = len(np.unique(links.quad_edge[disc]))
    vertices = len(np.unique(links.quads[disc]))
    is_disc = len(rim) == len(outer) and vertices - edges + len(np.unique(disc)) == 1
    return np.array(rim, np.int64) if is_disc else None


def _check_inside(mesh: QuadMesh, links: QuadLinks, disc: Ids, rim: Ids, inside: Ids, action: str) -> None:
    if len(np.unique(mesh.quad_region[disc])) > 1:
        raise InfeasibleError(f"{action}: a border between regions runs through the place.")
    if mesh.is_fixed[inside].any():
        raise InfeasibleError(f"{action}: a vertex inside is fixed.")
    edges, uses = np.unique(links.quad_edge[disc], return_counts=True)
    if find_edge_roles(mesh, links).is_held[edges[uses == 2]].any():
        raise InfeasibleError(f"{action}: a line that the mesh follows runs through the place.")


def _settle(disc_quads: np.ndarray[tuple[int, ...], np.dtype[np.int32]], inside: Ids, count: int) -> csr_matrix:
    """Return the matrix that puts each inner vertex at the mean of its neighbours, the rim held."""
    if len(inside) == 0:
        return csr_matrix(identity(count, format="csr"))
    pairs = np.vstack([disc_quads[:, [k, (k + 1) % 4]] for k in range(4)]).astype(np.int64)
    pairs = np.unique(np.sort(pairs, axis=1), axis=0)
    row = np.full(count, -1, np.int64)
    row[inside] = np.arange(len(inside))
    system = np.zeros((len(inside), len(inside)))
    held = lil_matrix((len(inside), count))
    for a, b in np.vstack([pairs, pairs[:, ::-1]]).tolist():
        if row[a] >= 0:
            system[row[a], row[a]] += 1.0
            if row[b] >= 0:
                system[row[a], row[b]] -= 1.0
            else:
                held[row[a], b] = 1.0
    weights = np.linalg.solve(system, held.toarray())
    blend = lil_matrix(identity(count, format="csr"))
    blend[inside] = weights
    return csr_matrix(blend)
