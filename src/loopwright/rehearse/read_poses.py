"""Read a file of handles and poses."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from loopwright.marks.checked_json import Checked, load_json
from loopwright.rehearse.poses import Handle, Motion, Pose
from loopwright.types import FloatArray

VERSION = 1
VERSION_KEY = "loopwright_poses"


@dataclass(frozen=True)
class PoseFile:
    """Handles and what the poses do with them."""

    handles: tuple[Handle, ...]
    poses: tuple[Pose, ...]


def read_poses(path: str | Path) -> PoseFile:
    """Read a poses file (JSON, see ``docs/rehearsal.md``).

    Raises
    ------
    InputError
        If the file cannot be read.
    MarksError
        If an entry is wrong; tells the place and the way out.
    """
    top = load_json(Path(path))
    top.only((VERSION_KEY, "handles", "poses"))
    version = top.member(VERSION_KEY)
    if version.whole(1) != VERSION:
        raise version.fail(f"version {VERSION} is expected; a newer file needs a newer program")
    handles = tuple(_handle(name, entry) for name, entry in top.members("handles"))
    if len(handles) < 2:
        raise top.fail('at least two "handles" are needed: one to move and one to hold the rest')
    names = tuple(handle.name for handle in handles)
    poses = tuple(_pose(entry, names) for entry in top.entries("poses"))
    if not poses:
        raise top.fail('there are no "poses"; add at least one')
    if len({pose.name for pose in poses}) < len(poses):
        raise top.fail("two poses have the same name; give each its own")
    return PoseFile(handles, poses)


def _handle(name: str, entry: Checked) -> Handle:
    entry.only(("regions", "balls", "boxes"))
    balls, boxes = [], []
    for ball in entry.entries("balls"):
        ball.only(("at", "radius"))
        balls.append((np.array(ball.member("at").point()), ball.member("radius").length()))
    for box in entry.entries("boxes"):
        box.only(("low", "high"))
        low, high = (np.array(box.member(key).point()) for key in ("low", "high"))
        if (low > high).any():
            raise box.fail('"low" lies above "high"; exchange them')
        boxes.append((low, high))
    regions = tuple(region.text() for region in entry.entries("regions"))
    if not (balls or boxes or regions):
        raise entry.fail('the handle is nowhere; give it "regions", "balls" or "boxes"')
    return Handle(name, regions, tuple(balls), tuple(boxes))


def _pose(entry: Checked, handles: tuple[str, ...]) -> Pose:
    entry.only(("name", "move"))
    motions = {}
    for name, motion in entry.members("move"):
        if name not in handles:
            raise motion.fail(f'there is no handle "{name}"; there are {", ".join(handles)}')
        motions[name] = _motion(motion)
    if not motions:
        raise entry.fail('the pose moves nothing; name a handle in "move"')
    return Pose(entry.member("name").text(), motions)


def _motion(entry: Checked) -> Motion:
    entry.only(("through", "axis", "degrees", "shift"))
    degrees = entry.optional("degrees")
    axis = _vector(entry, "axis", [1.0, 0.0, 0.0])
    if not np.linalg.norm(axis) > 0.0:
        raise entry.fail('"axis" has no length; give a direction')
    for key in ("through", "axis"):
        if degrees is not None:
            entry.member(key)
    turn = degrees.number() if degrees is not None else 0.0
    return Motion(_vector(entry, "through", [0.0] * 3), axis, turn, _vector(entry, "shift", [0.0] * 3))


def _vector(entry: Checked, key: str, default: list[float]) -> FloatArray:
    value = entry.optional(key)
    return np.array(value.point() if value is not None else default, np.float64)
