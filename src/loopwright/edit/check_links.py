"""What every mesh must hold after an edit, or the reason why the edit cannot be made."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.edit.quad_links import QuadLinks, link_quads
from loopwright.errors import InfeasibleError, InternalError
from loopwright.types import BoolArray, FloatArray, IntArray, QuadMesh

_FEWEST_RIM_EDGES = 3
_FEWEST_EDGES = 3  # at an inner vertex


def check_links(mesh: QuadMesh, action: str) -> None:
    """Check the whole mesh: all corners apart, two quads an edge, one fan a vertex, no thin poles or rims.

    A mesh with a mirror plane is taken for a half and judged together with its image.

    Parameters
    ----------
    action : what was tried, for the message: "The loop cannot be removed".

    Raises
    ------
    InfeasibleError
        If one of these does not hold; ``places`` are positions.
    """
    quads, positions = whole_quads(mesh)
    if len(quads) == 0:
        raise InfeasibleError(f"{action}: no quad would be left.")
    doubled = np.sort(quads, axis=1)
    folded = (doubled[:, 1:] == doubled[:, :-1]).any(axis=1)
    _refuse(folded, positions[quads].mean(axis=1), f"{action}: a quad would lose a corner")
    _, first, uses = np.unique(doubled, axis=0, return_index=True, return_counts=True)
    _refuse(uses > 1, positions[quads[first]].mean(axis=1), f"{action}: two quads would lie on each other")
    try:
        links = link_quads(quads, len(positions))
    except InternalError as error:
        raise InfeasibleError(f"{action}: more than two quads would meet at an edge.") from error
    thin = ~links.is_boundary & (links.valence > 0) & (links.valence < _FEWEST_EDGES)
    _refuse(thin, positions, f"{action}: a vertex would be left with two edges")
    if fan_count(links) != np.count_nonzero(links.valence):
        raise InfeasibleError(f"{action}: parts of the mesh would touch in a single vertex.")
    _check_rims(links, positions, action)
    lost = np.setdiff1d(np.arange(len(mesh.regions)), mesh.quad_region)
    if len(lost):
        name = mesh.regions[int(lost[0])].name
        raise InfeasibleError(f"{action}: the region {name} would have no quads left.", places=[name])


def whole_quads(mesh: QuadMesh) -> tuple[IntArray, FloatArray]:
    """Return quads and positions of a mesh together with the image of its other half, where it has a mirror."""
    if mesh.mirror is None:
        return mesh.quads, mesh.positions
    count = len(mesh.positions)
    source = np.flatnonzero(~mesh.on_mirror)
    image = np.arange(count)
    image[source] = count + np.arange(len(source))
    quads = np.vstack([mesh.quads, image[mesh.quads][:, [0, 3, 2, 1]]]).astype(np.int32)
    return quads, np.vstack([mesh.positions, mesh.mirror.reflect(mesh.positions[source])])


def fan_count(links: QuadLinks) -> int:
    """Return the number of fans of quads round vertices: one per vertex on a manifold."""
    half = np.arange(len(links.twin))
    inner = links.twin >= 0
    onward = half - half % 4 + (half + 1) % 4
    # The corner at the end of a half-edge is also the corner at the start of its twin.
    rows, columns = onward[inner], links.twin[inner]
    size = len(half)
    fans, _ = connected_components(coo_matrix((np.ones(len(rows)), (rows, columns)), shape=(size, size)), False)
    return int(fans)


def _check_rims(links: QuadLinks, positions: FloatArray, action: str) -> None:
    rim = links.edges[links.is_boundary_edge]
    if len(rim) == 0:
        return
    graph = coo_matrix((np.ones(len(rim)), (rim[:, 0], rim[:, 1])), shape=(links.count, links.count))
    _, label = connected_components(graph, False)
    size = np.bincount(label[rim[:, 0]], minlength=links.count)[label]
    on_rim = links.is_boundary & (size < _FEWEST_RIM_EDGES)
    _refuse(on_rim, positions, f"{action}: an opening would be left with fewer than three edges")


def _refuse(bad: BoolArray, places: FloatArray, message: str) -> None:
    if bad.any():
        spots = [tuple(np.round(p, 6).tolist()) for p in places[np.flatnonzero(bad)[:5]]]
        raise InfeasibleError(f"{message}, near {spots[0]}.", places=spots)
