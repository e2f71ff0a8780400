"""Handles, weights and poses on a tube."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from loopwright.errors import MarksError
from loopwright.rehearse.poses import Handle, Motion, Pose, bend, tell_wide_turns
from loopwright.rehearse.read_poses import read_poses
from loopwright.rehearse.rehearse import rehearse
from loopwright.rehearse.weights import HandleWeights, bounded_biharmonic, find_weights
from loopwright.types import FloatArray, IntArray, QuadMesh, Region, Sculpt

LENGTH = 6.0


def tube(around: int, along: int, *, twist: bool = False) -> tuple[FloatArray, IntArray]:
    """An open tube of radius 1 along y, from 0 to LENGTH; twisted, its edges run askew."""
    angle, y = np.meshgrid(2 * np.pi * np.arange(around) / around, np.linspace(0, LENGTH, along + 1))
    angle = angle + (y if twist else 0.0)
    points = np.stack([np.cos(angle).ravel(), y.ravel(), -np.sin(angle).ravel()], axis=1)
    ids = np.arange(around * (along + 1)).reshape(along + 1, around)
    right = np.roll(ids, -1, axis=1)
    quads = np.stack([ids[:-1], right[:-1], right[1:], ids[1:]], axis=-1).reshape(-1, 4)
    return points, quads.astype(np.int32)


def tube_mesh(*, twist: bool = False) -> QuadMesh:
    points, quads = tube(16, 16, twist=twist)
    n, height = len(points), points[quads].mean(axis=1)[:, 1]
    region = np.where(height < 1.5, 0, np.where(height > 4.5, 2, 1)).astype(np.int32)
    none = np.zeros(n, bool)
    regions = (Region("foot", (200, 0, 0)), Region("knee", (0, 200, 0)), Region("hip", (0, 0, 200)))
    return QuadMesh(points, quads, region, regions, np.full(n, -1, np.int32), (), none, none)


@pytest.fixture(scope="module")
def sculpt() -> Sculpt:
    points, quads = tube(48, 60)
    return Sculpt(points, np.ascontiguousarray(np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])))


HANDLES = (Handle("low", regions=("foot",)), Handle("high", boxes=((np.array([-2, 4.6, -2]), np.array([2, 7, 2])),)))
POSE = Pose("bent", {"high": Motion(np.array([0.0, 3.0, 0.0]), np.array([0.0, 0.0, 1.0]), 40.0)})


@pytest.fixture(scope="module")
def weights(sculpt: Sculpt) -> HandleWeights:
    return find_weights(sculpt, tube_mesh(), HANDLES, proxy_triangles=1500)


def test_weights_are_bounded_and_sum_to_one(weights: HandleWeights) -> None:
    values = weights.values
    assert values.min() >= 0.0 and values.max() <= 1.0
    assert np.allclose(values.sum(axis=1), 1.0)
    high = weights.coarse.positions[:, 1] > 4.7
    low = weights.coarse.positions[:, 1] < 1.2
    assert np.array_equal(values[high], np.tile([0.0, 1.0], (int(high.sum()), 1)))
    assert np.array_equal(values[low], np.tile([1.0, 0.0], (int(low.sum()), 1)))


def test_weights_of_a_tube_are_the_clamped_beam() -> None:
    """Round a tube nothing changes, so w'''' = 0 between the held rings: with two rings held on each side, whose
    slope is zero, w = 3 t^2 - 2 t^3 (the clamped beam; derived)."""
    points, quads = tube(40, 60)
    triangles = np.ascontiguousarray(np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]))
    held = np.where(points[:, 1] <= 1.5, 0, np.where(points[:, 1] >= 4.5, 1, -1)).astype(np.int32)
    found = bounded_biharmonic(points, triangles, held, 2)[:, 1]
    t = np.clip((points[:, 1] - 1.5) / 3.0, 0.0, 1.0)
    assert np.abs(found - (3 * t**2 - 2 * t**3)).max() <= 0.02


def test_equal_motions_of_all_handles_are_that_motion() -> None:
    rng = np.random.default_rng(0)
    points, share = rng.normal(size=(50, 3)), rng.uniform(size=(50, 1))
    motion = Motion(np.array([1.0, 2, 3]), np.array([0.0, 2, 1]), 70.0, np.array([0.5, 0, 0]))
    pose = Pose("both", {"a": motion, "b": motion})
    moved = bend(points, np.hstack([share, 1 - share]), ("a", "b"), pose)
    assert np.allclose(moved, motion.apply(points))
    assert np.allclose(motion.apply(motion.through[None]), motion.through + motion.shift)


def test_a_quarter_turn_is_right_handed() -> None:
    turn = Motion(axis=np.array([0.0, 0.0, 5.0]), degrees=90.0)
    assert np.allclose(turn.apply(np.array([[1.0, 0, 0]])), [[0, 1, 0]])


def test_cage_and_sculpt_stay_together_and_straight_edges_follow_the_strain(
    sculpt: Sculpt, weights: HandleWeights
) -> None:
    both = rehearse(sculpt, [tube_mesh(), tube_mesh(twist=True)], weights, [POSE, Pose("rest", {})])
    (straight, still), (askew, _) = both.meshes
    assert straight.newly_inverted == 0
    assert still.rms <= 0.01 and straight.rms <= still.rms + 0.005
    assert np.isnan(still.strain.mean_angle)
    assert np.allclose(both.sculpts[1], sculpt.positions)
    assert straight.strain.mean_angle < askew.strain.mean_angle - 5.0
    held = sculpt.positions[:, 1] < 1.2
    assert np.allclose(both.sculpts[0][held], sculpt.positions[held])


@pytest.mark.parametrize(
    ("handles", "message"),
    [
        ((HANDLES[0], Handle("x", regions=("tail",))), 'There is no region "tail"; the regions are'),
        ((HANDLES[0], Handle("x", balls=((np.array([99.0, 0, 0]), 1.0),))), "holds no part of the sculpt"),
        ((HANDLES[0], Handle("x", regions=("foot",))), "hold the same place"),
    ],
)
def test_handles_that_do_not_fit_are_told(sculpt: Sculpt, handles: tuple[Handle, ...], message: str) -> None:
    with pytest.raises(MarksError, match=message):
        find_weights(sculpt, tube_mesh(), handles, proxy_triangles=800)


def good_file() -> dict[str, Any]:
    return {
        "loopwright_poses": 1,
        "handles": {"low": {"regions": ["foot"]}, "high": {"boxes": [{"low": [-2, 4.6, -2], "high": [2, 7, 2]}]}},
        "poses": [{"name": "bent", "move": {"high": {"through": [0, 3, 0], "axis": [0, 0, 1], "degrees": 40}}}],
    }


def write(folder: Path, content: dict[str, Any]) -> Path:
    path = folder / "poses.json"
    path.write_text(json.dumps(content), encoding="utf-8")
    return path


def test_a_poses_file_is_read(tmp_path: Path) -> None:
    found = read_poses(write(tmp_path, good_file()))
    assert [handle.name for handle in found.handles] == ["low", "high"]
    assert found.poses[0].motions["high"].degrees == 40.0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"handles": {"low": {"regions": ["foot"]}}}, 'at least two "handles"'),
        ({"handles": {"low": {}, "high": {"regions": ["hip"]}}}, "handles/low: the handle is nowhere"),
        ({"poses": []}, 'no "poses"'),
        ({"poses": [{"name": "a", "move": {"head": {}}}]}, 'there is no handle "head"'),
        ({"poses": [{"name": "a", "move": {"low": {"degrees": 3}}}]}, '"through" is missing'),
        ({"poses": [{"name": "a", "move": {}}]}, "moves nothing"),
        ({"poses": [{"name": "a", "move": {"low": {"axis": [0, 0, 0]}}}]}, "no length"),
    ],
)
def test_mistakes_in_a_poses_file_are_told(tmp_path: Path, change: dict[str, Any], message: str) -> None:
    with pytest.raises(MarksError, match=message):
        read_poses(write(tmp_path, {**good_file(), **change}))


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (0.0, 90.0, None),
        (0.0, 120.0, "turns high by 120 degrees against low"),
        (80.0, -80.0, "turns low by 160 degrees against high"),
        (120.0, 120.0, None),
        (0.0, 360.0, None),
        (0.0, 240.0, "turns high by 120 degrees against low"),
        (-100.0, 170.0, None),  # 270 degrees one way are 90 the other
    ],
)
def test_turns_of_handles_against_each_other_are_told_if_wide(low: float, high: float, told: str | None) -> None:
    axis = np.array([0.0, 0.0, 2.0])
    turns = {"low": low, "high": high}
    motions = {name: Motion(np.zeros(3), axis, degrees) for name, degrees in turns.items() if degrees}
    findings = tell_wide_turns([Pose("bent", motions)], ["low", "high"])
    assert [f.kind for f in findings] == (["wide_turn"] if told else [])
    assert all(told is not None and told in f.text for f in findings)


def test_two_handles_that_turn_about_other_axes_are_compared_by_what_is_between_them() -> None:
    x, y = np.eye(3)[0], np.eye(3)[1]
    pose = Pose("bent", {"a": Motion(np.zeros(3), x, 90.0), "b": Motion(np.zeros(3), y, 90.0)})
    (finding,) = tell_wide_turns([pose], ["still", "a", "b"])
    # Two quarter turns about axes at a right angle lie a third of a full turn apart; cos 60 degrees is a half.
    assert "turns a by 120 degrees against b" in finding.text and "to 0.50 of its width" in finding.text
