"""A ring round a form is none where it leaves a bay of its part that no line from loop to loop reaches."""

from __future__ import annotations

import numpy as np
import pytest
from tests.conftest import compact, rectangle

from loopwright.layout.ring_bays import BayOptions, has_bay, leaves_bay
from loopwright.types import BoolArray, FloatArray, IntArray


def keyhole(bridge: float) -> tuple[FloatArray, IntArray, FloatArray]:
    """A disc of radius 1 with a bridge of a length on it, 0.5 wide, and values positive within radius 0.7."""
    points, triangles = rectangle(100, 120, 2.5, 3.0)
    points = points - np.array([1.25, 1.25, 0.0])
    x, y, _ = points[triangles].mean(axis=1).T
    inside = (np.hypot(x, y) < 1.0) | ((np.abs(x) < 0.25) & (y > 0) & (y < 0.95 + bridge))
    points, triangles = compact(points, triangles, inside)
    return points, triangles, 0.7 - np.linalg.norm(points, axis=1)


def half(
    points: FloatArray, triangles: IntArray, values: FloatArray
) -> tuple[FloatArray, IntArray, FloatArray, BoolArray]:
    keep = points[triangles][:, :, 0].min(axis=1) > -1e-9
    used = np.unique(triangles[keep])
    points, triangles = compact(points, triangles, keep)
    return points, triangles, values[used], np.abs(points[:, 0]) < 1e-9


@pytest.mark.parametrize("is_half", [False, True])
def test_a_ring_that_leaves_a_bridge_as_a_bay_is_found(is_half: bool) -> None:
    # water seeps into a bridge of depth d and width w as exp(-pi d / w) (separation of variables)
    for bridge, told in ((0.0, False), (0.1, False), (0.8, True)):
        points, triangles, values = keyhole(bridge)
        on_mirror = np.zeros(len(points), bool)
        if is_half:
            points, triangles, values, on_mirror = half(points, triangles, values)
        assert leaves_bay(points, triangles, on_mirror, values) == told, bridge


@pytest.mark.parametrize("cells", [40, 57, 80])
@pytest.mark.parametrize(("offset", "radius"), [(0.4, 0.15), (0.6, 0.1), (0.8, 0.08), (0.0, 0.5)])
@pytest.mark.parametrize("longer", [1.0, 2.0])
def test_a_small_form_off_the_middle_of_a_plain_part_keeps_its_ring(
    longer: float, offset: float, radius: float, cells: int
) -> None:
    points, triangles = rectangle(int(cells * longer), cells, 2.0 * longer, 2.0)
    x, y, _ = (points - np.array([longer, 1.0, 0.0])).T
    points, triangles = compact(points, triangles, np.hypot(x / longer, y)[triangles].max(axis=1) < 1.0)
    x, y, _ = (points - np.array([longer, 1.0, 0.0])).T
    values = radius - np.hypot(x - longer * offset, y)
    assert not leaves_bay(points, triangles, np.zeros(len(points), bool), values)


def test_what_is_left_must_be_a_ring_to_have_a_bay() -> None:
    points, triangles, values = keyhole(0.8)
    on_mirror = np.zeros(len(points), bool)
    far = points[triangles].mean(axis=1) - np.array([0.0, 1.4, 0.0])
    holed, rest = compact(points, triangles, np.sqrt((far**2).sum(axis=1)) > 0.1)
    values = 0.7 - np.linalg.norm(holed, axis=1)
    assert not leaves_bay(holed, rest, on_mirror[: len(holed)], values)
    assert not leaves_bay(points, triangles, on_mirror, np.full(len(points), -1.0))
    assert not leaves_bay(points, triangles, on_mirror, np.full(len(points), 1.0))


def test_a_ring_whose_loops_differ_has_a_bay_from_less_on() -> None:
    points, triangles, values = keyhole(0.8)
    ring = triangles[~(values > 0)[triangles].any(axis=1)]
    ends = np.sort(np.concatenate([ring[:, [0, 1]], ring[:, [1, 2]], ring[:, [2, 0]]]), axis=1)
    edges, times = np.unique(ends, axis=0, return_counts=True)
    rim = edges[times == 1]
    is_near = np.linalg.norm(points[rim], axis=2).max(axis=1) < 0.8
    near, far = rim[is_near], rim[~is_near]
    length = [np.linalg.norm(points[e[:, 0]] - points[e[:, 1]], axis=1).sum() for e in (near, far)]
    unlike = abs(np.log(length[0] / length[1]))
    assert unlike > 0.3
    limits = np.arange(0.5, 9.0, 0.05)
    found = [has_bay(points, ring, near, far, BayOptions(slack=limit)) for limit in limits.tolist()]
    assert found == sorted(found, reverse=True) and found[0] and not found[-1]
    # the logarithm of the loops' lengths counts: from a slack that is less by it on
    first = limits[~np.array(found)][0]
    assert first - unlike == pytest.approx(np.pi * 0.78 / 0.5, abs=0.7)  # the bridge is 0.78 deep, from the disc's rim
    swapped = [has_bay(points, ring, far, near, BayOptions(slack=limit)) for limit in limits.tolist()]
    assert swapped == found
    on_mirror = np.zeros(len(points), bool)
    assert not leaves_bay(points, triangles, on_mirror, values, BayOptions(least_wide=99.0))
