"""Laws of flow lines: they stay manifold, lie where they were drawn, end nowhere and meet in shared vertices."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest

from loopwright.errors import MarksError
from loopwright.layout.promise_lines import Promise, promise_lines
from loopwright.layout.tell_astray import surface_chains, tell_astray
from loopwright.marks.add_flow_lines import add_flow_lines
from loopwright.surface.half_edges import directed_edges, twin_corners
from loopwright.types import FloatArray, IntArray, MirrorPlane, Region, RegionSurface
from loopwright.wishes import FlowLine

REACH = float(np.sqrt(4 * np.pi / 600))


@pytest.fixture(scope="module")
def ball(tools: Any) -> RegionSurface:
    positions, triangles = tools.icosphere(4)
    return make_surface(positions, triangles)


def make_surface(positions: FloatArray, triangles: IntArray, top: float = 2.0) -> RegionSurface:
    """A sphere as one region, or as two with a border at height ``top``."""
    region = (positions[triangles].mean(axis=1)[:, 2] > top).astype(np.int32)
    names = (Region("all", (200, 200, 200)), Region("top", (200, 60, 60)))[: int(region.max()) + 1]
    return RegionSurface(positions, triangles, region, names, None, np.zeros(len(positions), bool))


def circle(count: int, normal: tuple[float, float, float], height: float = 0.0) -> tuple[Any, ...]:
    n = np.array(normal) / np.linalg.norm(normal)
    a = np.cross(n, [0.3, 0.5, 0.8])
    a /= np.linalg.norm(a)
    b = np.cross(n, a)
    t = 2 * np.pi * np.arange(count) / count
    ring = np.sqrt(1 - height**2) * (np.outer(np.cos(t), a) + np.outer(np.sin(t), b)) + height * n
    return tuple(tuple(float(x) for x in p) for p in ring)


def flow_degree(surface: RegionSurface) -> IntArray:
    return np.bincount(surface.flow_edges.ravel(), minlength=len(surface.positions)).astype(np.int32)


def held_before(surface: RegionSurface) -> set[tuple[float, ...]]:
    """Places of vertices on borders and rims."""
    edges, twin = directed_edges(surface.triangles), twin_corners(surface.triangles)
    region = np.repeat(surface.triangle_region, 3)
    on = edges[(twin < 0) | (region != region[np.maximum(twin, 0)])]
    return {tuple(p) for p in surface.positions[np.unique(on)]}


def assert_cut_well(before: RegionSurface, after: RegionSurface) -> None:
    """Manifold as before, nothing folded, the same area region by region, and no line that ends nowhere."""
    assert ((twin_corners(after.triangles) < 0).sum() > 0) == ((twin_corners(before.triangles) < 0).sum() > 0)
    assert len(np.unique(after.triangles)) == len(after.positions)
    p = after.positions[after.triangles]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    assert ((normal * p.mean(axis=1)).sum(axis=1) > 0).all(), "a triangle is folded over"
    q = before.positions[before.triangles]
    old = np.linalg.norm(np.cross(q[:, 1] - q[:, 0], q[:, 2] - q[:, 0]), axis=1)
    for k in range(len(before.regions)):
        share = np.linalg.norm(normal, axis=1)[after.triangle_region == k].sum()
        assert share == pytest.approx(old[before.triangle_region == k].sum(), rel=5e-3)
    edges = np.sort(directed_edges(after.triangles), axis=1)
    known = {tuple(e) for e in edges.tolist()}
    assert all(tuple(sorted(e)) in known for e in after.flow_edges.tolist()), "a flow edge is no edge"
    ends = np.flatnonzero(flow_degree(after) == 1)
    held = held_before(after)
    assert all(tuple(after.positions[v]) in held for v in ends), "a line ends nowhere"


@pytest.mark.parametrize("count", [5, 12, 200])
def test_a_great_circle_becomes_one_ring_in_its_plane(ball: RegionSurface, count: int) -> None:
    normal = np.array([1.0, 0.4, -0.3])
    after, findings = add_flow_lines(ball, [FlowLine(circle(count, tuple(normal)), True, "ring")], reach=REACH)
    assert_cut_well(ball, after)
    assert not findings
    degree = flow_degree(after)
    assert set(degree[degree > 0]) == {2}
    on = after.positions[degree > 0]
    edge = np.sqrt(4 * np.pi / len(ball.triangles) * 4 / np.sqrt(3))
    assert np.abs(on @ normal / np.linalg.norm(normal)).max() < 0.5 * edge
    length = np.linalg.norm(after.positions[after.flow_edges[:, 0]] - after.positions[after.flow_edges[:, 1]], axis=1)
    # Source: the length of a great circle of the unit sphere is 2 pi; a jagged chain would be longer
    assert length.sum() == pytest.approx(2 * np.pi, rel=0.02)


def test_three_circles_share_the_vertices_where_they_cross(ball: RegionSurface) -> None:
    normals = [(1.0, 0.1, 0.2), (0.0, 1.0, 0.1), (0.1, -0.2, 1.0)]
    lines = [FlowLine(circle(12, n), True, f"ring {i}") for i, n in enumerate(normals)]
    after, _ = add_flow_lines(ball, lines, reach=REACH)
    assert_cut_well(ball, after)
    degree = flow_degree(after)
    # Source: three great circles in general position cross in 3 * 2 points
    assert (degree == 4).sum() == 6 and set(degree[degree > 0]) == {2, 4}


def test_a_loose_line_is_carried_on_until_it_meets_something(ball: RegionSurface) -> None:
    lines = [
        FlowLine(circle(12, (0.0, 0.0, 1.0)), True, "equator"),
        FlowLine(((0.7, 0.1, 0.7), (0.3, 0.1, 0.95), (-0.1, 0.1, 0.99)), False, "open"),
    ]
    after, findings = add_flow_lines(ball, lines, reach=REACH)
    assert_cut_well(ball, after)
    assert {f.kind for f in findings} == {"line_carried_on"}
    ends = np.array(lines[1].points)[[0, -1]]
    for finding in findings:  # from an end to the equator
        at, met = (
            np.array([float(x) for x in found.split(",")]) for found in re.findall(r"at \((.*?)\)", finding.text)
        )
        assert np.linalg.norm(ends / np.linalg.norm(ends, axis=1)[:, None] - at, axis=1).min() < 0.5 * REACH
        assert abs(met[2]) < 0.1 * REACH
    assert (flow_degree(after) == 3).sum() == 2


def test_a_line_alone_closes_on_itself(ball: RegionSurface) -> None:
    line = FlowLine(((0.7, 0.1, 0.7), (0.0, 0.1, 1.0), (-0.7, 0.1, 0.7)), False, "open")
    after, _ = add_flow_lines(ball, [line], reach=REACH)
    assert_cut_well(ball, after)
    assert set(flow_degree(after)) <= {0, 2, 3, 4}


def test_lines_run_over_borders_and_snap_to_near_ones(tools: Any) -> None:
    positions, triangles = tools.icosphere(4)
    two = make_surface(positions, triangles, 0.5)
    across = FlowLine(circle(16, (1.0, 0.2, 0.1)), True, "across")
    height = 0.5 - 0.6 * REACH
    out = float(np.sqrt(1 - height**2))
    near = FlowLine(((0.0, 0.9, -0.4), (0.0, 1.0, 0.0), (0.0, out, height)), False, "near")
    after, _ = add_flow_lines(two, [across, near], reach=REACH)
    assert_cut_well(two, after)
    assert (flow_degree(after) > 0).sum() > 20


def test_what_lies_on_a_border_adds_nothing(tools: Any) -> None:
    positions, triangles = tools.icosphere(4)
    two = make_surface(positions, triangles, 0.5)
    after, findings = add_flow_lines(two, [FlowLine(circle(24, (0.0, 0.0, 1.0), 0.5), True, "double")], reach=REACH)
    assert len(after.flow_edges) == 0
    assert [(f.kind, f.text) for f in findings] == [
        ("line_adds_nothing", "double lies along a border: it adds nothing.")
    ]
    assert findings[0].names == ("double",)


def half_ball(tools: Any) -> RegionSurface:
    """The half x >= 0 of a sphere whose vertices near the plane are drawn into it."""
    positions, triangles = tools.icosphere(4)
    positions = positions.copy()
    kept = triangles[(positions[triangles].mean(axis=1)[:, 0]) > 0]
    rim = np.unique(directed_edges(kept)[twin_corners(kept) < 0])
    positions[rim, 0] = 0.0
    positions[rim] /= np.linalg.norm(positions[rim], axis=1, keepdims=True)
    used, local = np.unique(kept, return_inverse=True)
    plane = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)
    on_mirror = np.isin(used, rim)
    return RegionSurface(
        np.ascontiguousarray(positions[used]),
        local.reshape(-1, 3).astype(np.int32),
        np.zeros(len(kept), np.int32),
        (Region("all", (200, 200, 200)),),
        plane,
        on_mirror,
    )


def test_lines_on_the_other_side_are_mirrored(tools: Any) -> None:
    half = half_ball(tools)
    points = circle(10, (0.6, 0.8, 0.0), 0.8)
    mirrored = tuple((-x, y, z) for x, y, z in points)
    here, _ = add_flow_lines(half, [FlowLine(points, True, "a")], reach=REACH)
    there, _ = add_flow_lines(half, [FlowLine(mirrored, True, "a")], reach=REACH)
    both, findings = add_flow_lines(half, [FlowLine(points, True, "a"), FlowLine(mirrored, True, "b")], reach=REACH)
    assert len(here.flow_edges) > 10
    np.testing.assert_array_equal(here.positions, there.positions)
    np.testing.assert_array_equal(here.flow_edges, both.flow_edges)
    assert [f.text for f in findings] == ["b lies along a: it adds nothing."]


def test_lines_across_the_plane_end_in_it_and_lines_in_it_add_nothing(tools: Any) -> None:
    half = half_ball(tools)
    after, _ = add_flow_lines(half, [FlowLine(circle(12, (0.0, 0.1, 1.0), 0.2), True, "belt")], reach=REACH)
    ends = np.flatnonzero(flow_degree(after) == 1)
    assert len(ends) == 2 and after.on_mirror[ends].all()
    assert (after.positions[after.on_mirror, 0] == 0.0).all()
    centre = FlowLine(tuple((0.01, y, z) for _, y, z in circle(12, (1.0, 0.0, 0.0))), True, "middle")
    same, findings = add_flow_lines(half, [centre], reach=REACH)
    assert len(same.flow_edges) == 0 and findings[0].kind == "line_adds_nothing"
    assert findings[0].text == "middle lies along the mirror plane: it adds nothing."


def test_of_the_reasons_why_a_line_adds_nothing_the_one_that_holds_is_told(ball: RegionSurface, tools: Any) -> None:
    positions, triangles = tools.icosphere(4)
    kept = triangles[positions[triangles].mean(axis=1)[:, 2] < 0.6]
    used, local = np.unique(kept, return_inverse=True)
    bowl = make_surface(positions[used], local.reshape(-1, 3).astype(np.int32), 0.0)
    rim = positions[used][np.unique(directed_edges(bowl.triangles)[twin_corners(bowl.triangles) < 0])]
    order = np.argsort(np.arctan2(rim[:, 1], rim[:, 0]))
    on_rim = tuple((float(x), float(y), float(z)) for x, y, z in rim[order])
    stub = ((0.0, 0.0, 1.0), (0.4 * REACH, 0.0, 1.0))

    def why(surface: RegionSurface, line: FlowLine) -> str:
        (finding,) = add_flow_lines(surface, [line], reach=REACH)[1]
        assert finding.kind == "line_adds_nothing" and finding.text.endswith(": it adds nothing.")
        return finding.text.removesuffix(": it adds nothing.")

    assert why(bowl, FlowLine(on_rim, True, "lip")) == "lip lies along the rim of an opening"
    assert why(bowl, FlowLine(circle(24, (0.0, 0.0, 1.0)), True, "band")) == "band lies along a border"
    told = why(ball, FlowLine(stub, False, "stub"))
    assert re.fullmatch(r"stub is too short \(0\.4\d* of an edge of the mesh, where 1\.5 are needed\)", told)


def test_lines_far_from_the_sculpt_or_across_parts_are_refused(ball: RegionSurface) -> None:
    with pytest.raises(MarksError, match="away from the sculpt"):
        add_flow_lines(ball, [FlowLine(((0.0, 0.0, 1.0), (0.0, 0.0, 3.0)), False, "far")], reach=REACH)
    count = len(ball.positions)
    shifted = ball.positions + [2.5, 0.0, 0.0]
    two = RegionSurface(
        np.concatenate([ball.positions, shifted]),
        np.concatenate([ball.triangles, ball.triangles + count]).astype(np.int32),
        np.zeros(2 * len(ball.triangles), np.int32),
        ball.regions,
        None,
        np.zeros(2 * count, bool),
    )
    with pytest.raises(MarksError, match="another part"):
        add_flow_lines(two, [FlowLine(((0.0, 0.0, 1.0), (2.5, 0.0, 1.0)), False, "jump")], reach=REACH)


def test_the_same_lines_give_the_same_bytes_and_the_input_stays(ball: RegionSurface) -> None:
    before = ball.positions.tobytes(), ball.triangles.tobytes()
    line = FlowLine(circle(9, (0.2, 1.0, 0.4)), True, "ring")
    first, _ = add_flow_lines(ball, [line], reach=REACH)
    second, _ = add_flow_lines(ball, [line], reach=REACH)
    assert first.positions.tobytes() == second.positions.tobytes()
    assert first.flow_edges.tobytes() == second.flow_edges.tobytes()
    assert before == (ball.positions.tobytes(), ball.triangles.tobytes())


def test_a_line_leaves_no_pocket_beside_a_border(tools: Any) -> None:
    """A wave that touches a border again and again shuts in slivers; they are opened, and no line end is left."""
    positions, triangles = tools.icosphere(4)
    two = make_surface(positions, triangles, 0.5)
    t = 2 * np.pi * np.arange(90) / 90
    height = 0.5 + 0.55 * REACH * np.cos(7 * t)
    wave = np.stack([np.sqrt(1 - height**2) * np.cos(t), np.sqrt(1 - height**2) * np.sin(t), height], axis=1)
    line = FlowLine(tuple((float(x), float(y), float(z)) for x, y, z in wave), True, "wave")
    after, _ = add_flow_lines(two, [line], reach=REACH)
    assert_cut_well(two, after)
    areas = piece_areas(after)
    assert min(areas) >= (0.5 * REACH) ** 2


def piece_areas(surface: RegionSurface) -> list[float]:
    """Areas of the parts that borders and flow lines cut a surface into."""
    edges, twin = directed_edges(surface.triangles), twin_corners(surface.triangles)
    flow = {tuple(e) for e in np.sort(surface.flow_edges, axis=1).tolist()}
    parent = list(range(len(surface.triangles)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    for e, other in enumerate(twin.tolist()):
        a, b = e // 3, other // 3
        is_border = other < 0 or surface.triangle_region[a] != surface.triangle_region[b]
        if not is_border and tuple(sorted(edges[e].tolist())) not in flow:
            parent[root(a)] = root(b)
    p = surface.positions[surface.triangles]
    area = 0.5 * np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1)
    total: dict[int, float] = {}
    for i, value in enumerate(area.tolist()):
        total[root(i)] = total.get(root(i), 0.0) + value
    return list(total.values())


def flow_gap(surface: RegionSurface, points: FloatArray) -> FloatArray:
    """How far points lie from the nearest middle or end of a flow edge, in edges of the mesh to come."""
    ends = surface.positions[surface.flow_edges]
    samples = np.concatenate([ends[:, 0], ends[:, 1], ends.mean(axis=1)])
    gap: FloatArray = np.linalg.norm(points[:, None] - samples[None], axis=2).min(axis=1) / REACH
    return gap


def half_cylinder() -> RegionSurface:
    """The part x >= 0 of a cylinder of radius 1 about the x axis that ends at x = 2 and x = -2."""
    around, along = 90, 32
    t, x = 2 * np.pi * np.arange(around) / around, np.linspace(0.0, 2.0, along)
    points = np.array([(b, np.cos(a), np.sin(a)) for b in x for a in t])
    i, j = (k.ravel() for k in np.meshgrid(np.arange(along - 1), np.arange(around), indexing="ij"))
    a, b = i * around + j, i * around + (j + 1) % around
    c, d = a + around, b + around
    triangles = np.concatenate([np.stack([a, b, c], 1), np.stack([b, d, c], 1)]).astype(np.int32)
    plane = MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0)
    names = (Region("all", (200, 200, 200)),)
    return RegionSurface(points, triangles, np.zeros(len(triangles), np.int32), names, plane, points[:, 0] == 0.0)


def test_two_points_far_apart_cross_the_mirror_plane_where_the_shortest_way_does() -> None:
    half = half_cylinder()
    turn = 2.2
    ends = ((1.5, 1.0, 0.0), (-0.75, float(np.cos(turn)), float(np.sin(turn))))
    after, _ = add_flow_lines(half, [FlowLine(ends, False, "across")], reach=REACH)
    # the shortest way on a cylinder is a helix (closed form: straight in the unrolled plane)
    share = np.linspace(0.1, 0.9, 60)
    helix = np.stack([1.5 - 2.25 * share, np.cos(turn * share), np.sin(turn * share)], axis=1)
    kept = helix[helix[:, 0] > REACH]
    assert len(kept) > 20
    assert flow_gap(after, kept).max() < 0.2


def test_a_line_of_three_points_runs_by_the_middle_one(ball: RegionSurface) -> None:
    corners = np.array([[1.0, 0.0, 0.1], [0.2, 1.0, 0.1], [0.1, 0.2, 1.0]])
    corners /= np.linalg.norm(corners, axis=1, keepdims=True)
    points = tuple((float(x), float(y), float(z)) for x, y, z in corners)
    after, _ = add_flow_lines(ball, [FlowLine(points, False, "bent")], reach=REACH)
    assert flow_gap(after, corners[1:2]).max() < 0.35


def test_many_lines_that_cross_are_all_followed_to_their_ends(ball: RegionSurface) -> None:
    rng = np.random.default_rng(13)
    lines = [
        FlowLine(circle(int(rng.integers(5, 30)), tuple(rng.normal(size=3)), float(rng.uniform(0, 0.7))), True, f"l{k}")
        for k in range(8)
    ]
    after, findings = add_flow_lines(ball, lines, reach=REACH)
    assert_cut_well(ball, after)
    assert "line_broken" not in {f.kind for f in findings}


@pytest.mark.parametrize("seed", range(6))
def test_a_line_that_crosses_itself_stays_whole(ball: RegionSurface, seed: int) -> None:
    rng = np.random.default_rng(seed)
    t = 2 * np.pi * (np.arange(40) + rng.random()) / 40
    flat = 0.6 * np.stack([np.cos(t), np.sin(2 * t) * rng.uniform(0.5, 1.0)], axis=1) + rng.uniform(-0.1, 0.1, 2)
    points = np.column_stack([flat, np.sqrt(np.maximum(1.0 - (flat**2).sum(axis=1), 0.05))])
    points = points @ np.linalg.qr(rng.normal(size=(3, 3)))[0]
    listed = tuple((float(x), float(y), float(z)) for x, y, z in points)
    after, findings = add_flow_lines(ball, [FlowLine(listed, True, "eight")], reach=REACH)
    assert_cut_well(ball, after)
    assert not findings
    degree = flow_degree(after)
    assert set(degree[degree > 0].tolist()) == {2, 4}
    assert (degree == 4).sum() == 1


def test_a_chain_away_from_its_line_is_told_with_the_place_and_the_way_out() -> None:
    line = np.column_stack([np.linspace(0, 10, 101), np.zeros(101), np.zeros(101)])
    bowed = line + np.maximum(0.0, 1.0 - np.abs(line[:, :1] - 5.0)) * [[0.0, 0.6, 0.0]]
    none = np.zeros(101, bool)
    edges = np.ones(101)
    free = np.full(101, -1, np.int32)
    assert not tell_astray([Promise("jaw", line, none, free)], line + [0.0, 0.2, 0.0], edges)
    (told,) = tell_astray([Promise("jaw", line, none, free)], bowed, edges)
    assert told.kind == "line_astray"
    assert told.text.startswith("jaw ") and "(5, 0, 0)" in told.text and "more points" in told.text
    (sharp,) = tell_astray([Promise("jaw", line, ~none, free)], bowed, edges)
    assert "sharply" in sharp.text
    (beside,) = tell_astray([Promise("jaw", line, none, free + 2, ("a border", "brow"))], bowed, edges)
    assert ": brow runs beside it" in beside.text
    assert not tell_astray([Promise("jaw", line, none, free)], bowed, edges, told=["jaw"])


def test_what_runs_beside_a_line_is_named(ball: RegionSurface) -> None:
    first, second = circle(24, (0.0, 0.0, 1.0)), circle(24, (0.0, 0.3 * REACH, 1.0))
    lines = (FlowLine(first, closed=True, name="brow"), FlowLine(second, closed=True, name="lid"))
    brow, lid = promise_lines(ball, lines, reach=REACH)
    assert (brow.beside < 0).all()
    assert {lid.things[k] for k in lid.beside.tolist() if k >= 0} == {"brow"}


def test_points_far_off_the_surface_are_told_once_with_the_furthest(ball: RegionSurface) -> None:
    ring = np.array(circle(24, (0.0, 0.0, 1.0)))
    ring[3] *= 1.0 + 1.2 * REACH
    ring[9] *= 1.0 + 1.5 * REACH
    points = tuple((float(x), float(y), float(z)) for x, y, z in ring)
    _, findings = add_flow_lines(ball, [FlowLine(points, True, "belt")], reach=REACH)
    (told,) = findings
    assert told.kind == "line_off_surface" and told.count == 2
    assert "2 points of belt" in told.text and "point 10 at" in told.text  # ring[9], counted from 1


def test_what_is_drawn_is_followed_to_a_quarter_of_an_edge(ball: RegionSurface) -> None:
    """Also where a line is wavy, its loose end is carried on, and edges are finer than elsewhere."""
    sizes = np.where(ball.positions[:, 2] > 0.3, 0.5 * REACH, REACH)
    t = np.linspace(0.2, 2.2, 40)
    height = 0.45 + 0.1 * np.sin(6 * t)
    wave = np.stack([np.sqrt(1 - height**2) * np.cos(t), np.sqrt(1 - height**2) * np.sin(t), height], axis=1)
    lines = [
        FlowLine(circle(12, (0.0, 0.1, 1.0)), True, "belt"),
        FlowLine(tuple((float(x), float(y), float(z)) for x, y, z in wave), False, "wave"),
    ]
    after, findings = add_flow_lines(ball, lines, reach=sizes)
    assert_cut_well(ball, after)
    promises = promise_lines(ball, lines, reach=sizes)
    assert {p.name for p in promises} == {"belt", "wave"}
    assert not tell_astray(promises, *surface_chains(after, REACH * np.ones(len(after.positions))))
    samples = surface_chains(after, REACH)[0]
    gap = np.linalg.norm(wave[4:-4, None] - samples[None], axis=2).min(axis=1)
    assert gap.max() < 0.25 * 0.5 * REACH


def test_a_line_over_an_opening_ends_at_its_rim_and_goes_on_behind(tools: Any) -> None:
    """A slit is cut out of a ball: no edge of the line runs along the rim from one side to the other."""
    positions, triangles = tools.icosphere(4)
    middle = positions[triangles].mean(axis=1)
    slit = (np.abs(middle[:, 2]) < 0.06) & (middle[:, 0] > 0.6)
    kept = triangles[~slit]
    used, local = np.unique(kept, return_inverse=True)
    open_ball = make_surface(positions[used], local.reshape(-1, 3).astype(np.int32))
    height = np.linspace(-0.7, 0.7, 60)
    arc = np.stack([np.sqrt(1 - height**2), np.zeros(60), height], axis=1)
    lines = [FlowLine(tuple((float(x), float(y), float(z)) for x, y, z in arc), False, "across")]
    after, findings = add_flow_lines(open_ball, lines, reach=REACH)
    assert_cut_well(open_ball, after)
    assert "line_broken" not in {f.kind for f in findings}
    flow = after.positions[after.flow_edges.ravel()]
    near = flow[np.abs(flow[:, 2]) < 0.1]
    near = near[near[:, 0] > 0.6]
    assert (near[:, 2] > 0).any() and (near[:, 2] < 0).any()
    assert np.abs(near[:, 1]).max() < 0.5 * REACH
