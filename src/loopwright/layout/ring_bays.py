"""Bays of rings: places that lines from one loop to the other do not reach, such as the bridge round a nose's tip."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from loopwright.layout.cross_field import corner_angles
from loopwright.layout.flat_stretch import stiffness
from loopwright.numerics.factorize import factorize
from loopwright.numerics.norms import norms
from loopwright.surface.half_edges import directed_edges, distinct_edges, edge_keys, is_among, twin_corners
from loopwright.types import BoolArray, FloatArray, IntArray

_NO_FLOW = 1e-9


@dataclass(frozen=True)
class BayOptions:
    """When a ring has a bay.

    least_wide : a ring with a bay is at least so many times as wide in one place as in another.
    slack : the logarithm of how much less than elsewhere flows into a bay. A ring whose loops differ in length has a
        bay from less on: that logarithm counts too.
    outer_slack : the same on the outline of a part alone, of what a form's ring leaves of it.
    most_unlike : the logarithm of the loops' lengths up to which a form's ring is judged: one much shorter than the
        outline has room round it.
    """

    least_wide: float = 3.0
    slack: float = 3.5
    outer_slack: float = 3.0
    most_unlike: float = 1.0


def has_bay(
    points: FloatArray, triangles: IntArray, first: IntArray, second: IntArray, options: BayOptions | None = None
) -> bool:
    """Tell whether a ring, or half of one, that is much wider in one place than in another has a bay.

    Where water seeps from one loop to the other (a harmonic function), little does where the ring is wide, but next
    to none at the end of a bay, however near its walls are: that goes down as exp(-pi depth / width).

    Parameters
    ----------
    points : (n, 3). triangles : (m, 3), of which every vertex of the loops is one's corner.
    first, second : (k, 2) and (l, 2) edges of the loops.
    """
    opt = options or BayOptions()
    unlike = abs(_unlike(points, first, second))
    flow = _flow(points, triangles, first, second)
    return any(_slack(points, loop, flow) + unlike > opt.slack for loop in (first, second))


def leaves_bay(
    points: FloatArray, triangles: IntArray, on_mirror: BoolArray, values: FloatArray, options: BayOptions | None = None
) -> bool:
    """Tell whether the line round where values are positive leaves a ring of its part, and that has a bay.

    That is a bay of the part's outline, such as the bridge of a nose round whose tip the line runs. The line itself is
    taken along the triangles' edges, so that nothing can be told from the flow into it.

    Parameters
    ----------
    points : (n, 3) of a part. triangles : (m, 3). on_mirror : (n,) which lie in the mirror plane.
    values : (n,) positive beyond the line.
    """
    beyond = (values > 0)[triangles].any(axis=1)
    rest = triangles[~beyond]
    if not len(rest) or not beyond.any():
        return False
    edges = directed_edges(rest)[twin_corners(rest) < 0]
    in_plane = on_mirror[edges].all(axis=1)
    # the double over the plane: each of its arcs that bounds the part has Euler number 1 and is counted twice
    arcs = len(np.unique(edges[in_plane])) - int(in_plane.sum())
    euler = len(np.unique(rest)) - len(distinct_edges(rest)) + len(rest)
    if 2 * euler != arcs:
        return False
    outline = directed_edges(triangles)[twin_corners(triangles) < 0]
    is_old = is_among(edge_keys(edges, len(points)), edge_keys(outline, len(points)))
    near, far = edges[~in_plane & ~is_old], edges[~in_plane & is_old]
    if not len(near) or not len(far) or len(np.intersect1d(near, far)):
        return False
    opt = options or BayOptions()
    narrow, wide = breadth(points[np.unique(near)], points[np.unique(far)])
    if _unlike(points, far, near) > opt.most_unlike or wide < opt.least_wide * narrow:
        return False
    return _slack(points, far, _flow(points, rest, near, far)) > opt.outer_slack


def gaps(near: FloatArray, far: FloatArray) -> FloatArray:
    """Return (k + l,) how far each of (k, 3) and (l, 3) points is from the nearest of the other ones."""
    return np.concatenate(
        [cKDTree(far, balanced_tree=False).query(near)[0], cKDTree(near, balanced_tree=False).query(far)[0]]
    )


def breadth(near: FloatArray, far: FloatArray) -> tuple[float, float]:
    """Return how wide it is between (k, 3) and (l, 3) points where it is narrow, and where it is wide."""
    narrow, wide = np.quantile(gaps(near, far), [0.05, 0.95])
    return float(narrow), float(wide)


def _unlike(points: FloatArray, first: IntArray, second: IntArray) -> float:
    """Return the logarithm of how much longer the first loop is than the second."""
    lengths = [max(float(_lengths(points, loop).sum()), 1e-300) for loop in (first, second)]
    return float(np.log(lengths[0] / lengths[1]))


def _lengths(points: FloatArray, edges: IntArray) -> FloatArray:
    length: FloatArray = norms(points[edges[:, 0]] - points[edges[:, 1]])
    return length


def _flow(points: FloatArray, triangles: IntArray, first: IntArray, second: IntArray) -> FloatArray:
    """Return (n,) how much seeps out at each vertex of the loops."""
    high = np.zeros(len(points))
    high[second] = 1.0
    is_free = np.zeros(len(points), bool)
    is_free[triangles] = True
    is_free[first] = is_free[second] = False
    free = np.flatnonzero(is_free)
    matrix = stiffness(corner_angles(points, triangles), triangles, len(points))
    if len(free):
        high[free] = factorize(matrix[free][:, free]).solve(-(matrix[free] @ high))
    flow: FloatArray = np.abs(matrix @ high)
    return flow


def _slack(points: FloatArray, loop: IntArray, flow: FloatArray) -> float:
    """Return the logarithm of how much more flows through the middling place of a loop than through its most idle."""
    used, at = np.unique(loop, return_inverse=True)
    ends = np.bincount(at.reshape(-1), minlength=len(used))
    length = np.repeat(_lengths(points, loop) / 2, 2)
    share, through = np.bincount(at.reshape(-1), length, len(used)), flow[used]
    # nothing flows to a vertex whose triangles have all corners here; where a loop ends there are corners
    told = (through > _NO_FLOW * through.max(initial=0.0)) & (ends > 1)
    if not told.any():
        return 0.0
    share, density = share[told], through[told] / share[told]
    order = np.argsort(density, kind="stable")
    place = np.cumsum(share[order]) / share.sum()
    idle, middling = density[order][np.searchsorted(place, [0.05, 0.5])]
    return float(np.log(middling / max(idle, 1e-300)))
