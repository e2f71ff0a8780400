"""A stack comes back from its file as it was; damaged ones are refused by name."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from loopwright.detail.make_levels import make_levels
from loopwright.detail.rebuild_level import rebuild_level
from loopwright.detail.stack_file import read_stack, stack_bytes
from loopwright.detail.types import Creases, Levels
from loopwright.errors import InputError
from loopwright.surface.project import SurfaceProjector
from loopwright.types import QuadMesh

Maker = Callable[..., QuadMesh]
SculptMaker = Callable[..., SurfaceProjector]


@pytest.fixture(scope="module")
def levels(make_sphere: Maker, sculpt_sphere: SculptMaker) -> Levels:
    mesh = make_sphere(4, half=True)
    creases = Creases(np.sort(mesh.quads[:1, :2], axis=1), np.array([1.5]))
    return make_levels(mesh, sculpt_sphere(bumps=0.03), 2, creases=creases)


def test_it_comes_back_as_it_was(levels: Levels, tmp_path: Path) -> None:
    path = tmp_path / "stack.npz"
    path.write_bytes(stack_bytes(levels))
    back = read_stack(path)
    for level in range(3):
        one, two = rebuild_level(levels, level), rebuild_level(back, level)
        assert np.array_equal(one.positions, two.positions)
        assert np.array_equal(one.quads, two.quads)
    assert back.cage.regions == levels.cage.regions
    assert back.creases.sharpness.tolist() == [1.5]


def test_the_same_stack_gives_the_same_bytes(levels: Levels) -> None:
    assert stack_bytes(levels) == stack_bytes(levels)


def test_it_is_a_plain_archive_of_arrays(levels: Levels) -> None:
    with np.load(io.BytesIO(stack_bytes(levels)), allow_pickle=False) as archive:
        assert archive["offsets"].shape == (len(rebuild_level(levels, 2, whole=False).positions), 3)


@pytest.mark.parametrize("content", [b"", b"nothing", b"PK\x03\x04 cut"])
def test_other_files_are_refused(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "bad.npz"
    path.write_bytes(content)
    with pytest.raises(InputError, match="bad.npz"):
        read_stack(path)


def test_a_cut_stack_and_a_missing_one_are_refused(levels: Levels, tmp_path: Path) -> None:
    path = tmp_path / "cut.npz"
    path.write_bytes(stack_bytes(levels)[:-200])
    with pytest.raises(InputError, match="cut.npz"):
        read_stack(path)
    with pytest.raises(InputError, match="no such file"):
        read_stack(tmp_path / "none.npz")
