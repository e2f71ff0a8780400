"""Read a landmarks file: places on a mesh and the same places on a sculpt."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from loopwright.marks.checked_json import Checked, load_json
from loopwright.types import FloatArray

VERSION = 1
VERSION_KEY = "loopwright_landmarks"


@dataclass(frozen=True)
class Landmarks:
    """Pairs of places.

    Attributes
    ----------
    names : for messages.
    mesh : (l, 3) on the mesh that is carried.
    sculpt : (l, 3) on the sculpt that it is carried to.
    """

    names: tuple[str, ...]
    mesh: FloatArray
    sculpt: FloatArray


NO_LANDMARKS = Landmarks((), np.zeros((0, 3)), np.zeros((0, 3)))


def read_landmarks(path: str | Path, vertices: FloatArray) -> Landmarks:
    """Read a landmarks file (JSON, see ``docs/refit.md``).

    Parameters
    ----------
    vertices : (n, 3) positions of the mesh, for landmarks given by the number of a vertex, counted from 0.

    Raises
    ------
    InputError
        If the file cannot be read.
    MarksError
        If a name stands on one side only, or a vertex is not there; tells the place.
    """
    top = load_json(Path(path))
    top.only((VERSION_KEY, "pairs", "mesh", "sculpt"))
    version = top.member(VERSION_KEY)
    if version.whole(1) != VERSION:
        raise version.fail(f"version {VERSION} is expected; a newer file needs a newer program")
    names, mesh, sculpt = [], [], []
    for index, entry in enumerate(top.entries("pairs")):
        entry.only(("name", "mesh", "sculpt"))
        name = entry.optional("name")
        names.append(name.text() if name else f"pair {index}")
        mesh.append(_place(entry.member("mesh"), vertices))
        sculpt.append(entry.member("sculpt").point())
    there = dict(top.members("sculpt"))
    for name_text, place in top.members("mesh"):
        if name_text not in there:
            raise place.fail(f'"{name_text}" has no partner in "sculpt"; add it there or leave it out here')
        names.append(name_text)
        mesh.append(_place(place, vertices))
        sculpt.append(there.pop(name_text).point())
    for name_text, place in there.items():
        raise place.fail(f'"{name_text}" has no partner in "mesh"; add it there or leave it out here')
    _check_distinct(names, top)
    if not names:
        raise top.fail('there is no landmark in it; add "pairs", or "mesh" and "sculpt" with the same names')
    return Landmarks(tuple(names), np.array(mesh, np.float64), np.array(sculpt, np.float64))


def _place(value: Checked, vertices: FloatArray) -> tuple[float, float, float]:
    if isinstance(value.value, list):
        return value.point()
    index = value.whole(0)
    if index >= len(vertices):
        raise value.fail(f"vertex {index} is not there: the mesh has {len(vertices)}, counted from 0")
    x, y, z = vertices[index].tolist()
    return x, y, z


def _check_distinct(names: list[str], top: Checked) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise top.fail(f'the landmark "{name}" is given twice; keep one of them')
        seen.add(name)
