"""The landmarks file: what it may hold, and a clear word for each mistake."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from loopwright.errors import InputError, MarksError
from loopwright.reuse.read_landmarks import read_landmarks

VERTICES = np.arange(12.0).reshape(4, 3)


def write(folder: Path, content: Any) -> Path:
    path = folder / "places.json"
    path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return path


def test_pairs_and_names(tmp_path: Path) -> None:
    content = {
        "loopwright_landmarks": 1,
        "pairs": [{"mesh": [0, 0, 1], "sculpt": [0, 0, 2]}, {"name": "chin", "mesh": 3, "sculpt": [1, 1, 1]}],
        "mesh": {"nose": [5, 6, 7], "ear": 0},
        "sculpt": {"ear": [9, 9, 9], "nose": [8, 8, 8]},
    }
    found = read_landmarks(write(tmp_path, content), VERTICES)
    assert found.names == ("pair 0", "chin", "nose", "ear")
    assert found.mesh.tolist() == [[0, 0, 1], [9, 10, 11], [5, 6, 7], [0, 1, 2]]
    assert found.sculpt.tolist() == [[0, 0, 2], [1, 1, 1], [8, 8, 8], [9, 9, 9]]


def test_a_name_alone_is_refused_on_either_side(tmp_path: Path) -> None:
    for side, other in (("mesh", "sculpt"), ("sculpt", "mesh")):
        content = {"loopwright_landmarks": 1, side: {"nose": [1, 2, 3]}, other: {}}
        with pytest.raises(MarksError, match=f'{side}/nose: "nose" has no partner in "{other}"'):
            read_landmarks(write(tmp_path, content), VERTICES)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("{", "line 1, column 2: this is not JSON"),
        ({}, '"loopwright_landmarks" is missing'),
        ({"loopwright_landmarks": 2}, "version 1 is expected"),
        ({"loopwright_landmarks": 1}, "there is no landmark in it"),
        ({"loopwright_landmarks": 1, "pair": []}, 'did you mean "pairs"'),
        ({"loopwright_landmarks": 1, "pairs": [{"mesh": [1, 2, 3]}]}, 'pairs/0: "sculpt" is missing'),
        (
            {"loopwright_landmarks": 1, "pairs": [{"mesh": [1, 2], "sculpt": [1, 2, 3]}]},
            "pairs/0/mesh: a point is three",
        ),
        ({"loopwright_landmarks": 1, "pairs": [{"mesh": 4, "sculpt": [1, 2, 3]}]}, "vertex 4 is not there"),
        ({"loopwright_landmarks": 1, "pairs": [{"mesh": -1, "sculpt": [1, 2, 3]}]}, "whole number from 0"),
        (
            {"loopwright_landmarks": 1, "pairs": 2 * [{"name": "a", "mesh": 0, "sculpt": [1, 2, 3]}]},
            '"a" is given twice',
        ),
    ],
)
def test_mistakes_are_told_with_their_place(tmp_path: Path, content: Any, message: str) -> None:
    with pytest.raises(MarksError, match=message):
        read_landmarks(write(tmp_path, content), VERTICES)


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_landmarks(tmp_path / "none.json", VERTICES)
