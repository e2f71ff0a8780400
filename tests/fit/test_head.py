"""A hand-made mesh of a real head, spoilt and recovered; runs where the shared data lie beside the project."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from loopwright.fit.fit_limit import fit_limit
from loopwright.fit.link_edges import link_stars, unique_edges
from loopwright.fit.measure_quality import measure_quality
from loopwright.fit.reflect import reflect_half
from loopwright.fit.relax import relax
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.read import read_sculpt
from loopwright.types import BoolArray, Curve, FloatArray, IntArray, MirrorPlane, QuadMesh

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"

pytestmark = pytest.mark.skipif(
    not (DATA / "head_a_160k.ply").exists(), reason="the head's files are not beside the project"
)


def read_quads(path: Path) -> tuple[FloatArray, IntArray]:
    points, quads = [], []
    for line in path.read_text().splitlines():
        words = line.split()
        if words[:1] == ["v"]:
            points.append([float(w) for w in words[1:4]])
        elif words[:1] == ["f"]:
            quads.append([int(w.split("/")[0]) - 1 for w in words[1:]])
    return np.array(points), np.array(quads, np.int32)


def rim_runs(quads: IntArray, on_mirror: BoolArray) -> list[list[int]]:
    """Return the rims of a half as vertex runs; those that meet the plane run from plane to plane."""
    directed = {(a, b) for quad in quads.tolist() for a, b in zip(quad, quad[1:] + quad[:1], strict=True)}
    onward = {a: b for a, b in directed if (b, a) not in directed and not (on_mirror[a] and on_mirror[b])}
    inner = set(onward.values())
    runs = []
    for begin in sorted(onward, key=lambda v: (v in inner, v)):
        if begin not in onward:
            continue
        run = [begin]
        while run[-1] in onward:
            run.append(onward.pop(run[-1]))
        runs.append(run)
    return runs


def hand_made_half() -> QuadMesh:
    points, quads = read_quads(DATA / "head_a_handmade.obj")
    quads = quads[points[quads].mean(axis=1)[:, 0] > 0.0]
    used, inverse = np.unique(quads, return_inverse=True)
    points, quads = points[used], inverse.reshape(-1, 4).astype(np.int32)
    on_mirror = np.abs(points[:, 0]) < 1e-4
    points[on_mirror, 0] = 0.0
    curves: list[Curve] = []
    vertex_curve = np.full(len(points), -1, np.int32)
    for run in rim_runs(quads, on_mirror):
        closed = run[0] == run[-1]
        vertex_curve[run] = len(curves)
        curves.append(Curve(points[run[:-1] if closed else run], closed))
    return QuadMesh(
        points,
        quads,
        np.zeros(len(quads), np.int32),
        (),
        vertex_curve,
        tuple(curves),
        np.zeros(len(points), bool),
        on_mirror,
        MirrorPlane(np.array([1.0, 0.0, 0.0]), 0.0),
    )


def spoil(mesh: QuadMesh) -> QuadMesh:
    """Jitter by 40 % of the edges round about, then shrink by five uniform Laplacian steps."""
    edges = unique_edges(mesh.quads)
    both = np.vstack([edges, edges[:, ::-1]])
    degree = np.bincount(both[:, 0])
    length = np.linalg.norm(mesh.positions[both[:, 0]] - mesh.positions[both[:, 1]], axis=1)
    local = np.bincount(both[:, 0], weights=length) / degree
    points = mesh.positions + 0.4 * local[:, None] * np.random.default_rng(0).uniform(-1, 1, mesh.positions.shape)
    for _ in range(5):
        mean = np.stack([np.bincount(both[:, 0], weights=points[both[:, 1], k]) / degree for k in range(3)], axis=1)
        points = np.where((mesh.vertex_curve >= 0)[:, None], points, mean)
        points[mesh.on_mirror, 0] = 0.0
        points[~mesh.on_mirror, 0] = np.maximum(points[~mesh.on_mirror, 0], 1e-3)
    return replace(mesh, positions=points)


def test_spoilt_hand_made_mesh_is_recovered_and_fitted() -> None:
    sculpt = read_sculpt(DATA / "head_a_160k.ply")
    projector = SurfaceProjector(sculpt.positions, sculpt.triangles)
    mesh = hand_made_half()
    relaxed = relax(spoil(mesh), projector)
    shape = measure_quality(relaxed.positions, relaxed.quads).summary()
    # The hand-made mesh itself: mean 0.964, 5th percentile 0.864.
    assert shape["mean"] >= 0.964
    assert shape["p5"] >= 0.864
    assert shape["p1"] >= 0.7
    assert shape["inverted"] == 0
    fitted, report = fit_limit(relaxed, projector)
    after = measure_quality(fitted.positions, fitted.quads).summary()
    assert after["inverted"] == 0
    assert after["mean"] >= shape["mean"] - 0.01
    # At 10,000 faces: 2.5e-4 of the diagonal; the unfitted cage's limit is several times farther off.
    assert report.after.rms <= 2.5e-4 * report.diagonal
    assert report.after.rms <= 0.4 * report.before.rms
    whole = reflect_half(fitted)
    directed = np.stack([whole.quads, np.roll(whole.quads, -1, axis=1)], axis=2).reshape(-1, 2)
    assert len(np.unique(directed, axis=0)) == len(directed)
    rim = link_stars(whole.quads, len(whole.positions)).is_boundary
    assert np.array_equal(rim[whole.on_mirror], whole.vertex_curve[whole.on_mirror] >= 0)
