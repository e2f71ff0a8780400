"""What a picture shows: plain values, so that another process can draw them."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from loopwright.types import ByteArray, FloatArray, IntArray

_SCENE, _JOB = "scene.npz", "job.json"


@dataclass(frozen=True)
class Solid:
    """A surface to draw: (n, 3) positions, (m, 3) or (m, 4) faces, uint8 colours per vertex (n) or face (m).

    Through the openings of one that ``is_open`` its inner side is seen in dark grey.
    """

    positions: FloatArray
    faces: IntArray
    colors: ByteArray
    is_smooth: bool = True
    color_of: str = "vertex"
    is_open: bool = False


@dataclass(frozen=True)
class Lines:
    """Polylines to draw: (k, 3) points, the first point of each line in ``starts``, one colour and width in pixels."""

    points: FloatArray
    starts: IntArray
    color: tuple[int, int, int]
    width: float


@dataclass(frozen=True)
class View:
    """A parallel view: from ``direction`` towards ``focus``; the picture is twice ``half_height`` high."""

    direction: tuple[float, float, float]
    up: tuple[float, float, float]
    focus: tuple[float, float, float]
    half_height: float


@dataclass(frozen=True)
class Layer:
    """One solid or bundle of lines in a picture.

    ``push`` moves it towards the camera, in diagonals of the subject, which decides who wins where two surfaces
    coincide; a parallel view shows no other effect.
    """

    name: str
    has_edges: bool = False
    push: float = 0.0


@dataclass(frozen=True)
class Mark:
    """Something that the page draws over the picture at a place in space, or at the first visible of several."""

    kind: str
    text: str
    positions: tuple[tuple[float, float, float], ...]


@dataclass(frozen=True)
class Picture:
    """A picture to draw: its name (also of the file), title, view, layers from back to front, and marks."""

    name: str
    title: str
    view: View
    layers: tuple[Layer, ...]
    marks: tuple[Mark, ...] = ()
    edge_width: float = 1.0


@dataclass(frozen=True)
class PlacedMark:
    """A mark where it is seen: from the left and the top, as shares of the picture's width."""

    kind: str
    text: str
    left: float
    top: float


@dataclass(frozen=True)
class DrawnPicture:
    """A picture that was drawn: JPEG bytes and the marks that are visible in it."""

    picture: Picture
    jpeg: bytes
    marks: tuple[PlacedMark, ...]


@dataclass(frozen=True)
class Scene:
    """All that the pictures of one report show; ``diagonal`` is that of the subject."""

    diagonal: float
    solids: Mapping[str, Solid] = field(default_factory=dict)
    lines: Mapping[str, Lines] = field(default_factory=dict)
    pictures: Sequence[Picture] = ()


def save_scene(folder: Path, scene: Scene) -> None:
    """Write a scene into a folder for :func:`load_scene`."""
    arrays: dict[str, FloatArray | IntArray | ByteArray] = {}
    for name, solid in scene.solids.items():
        arrays |= {f"{name}.positions": solid.positions, f"{name}.faces": solid.faces, f"{name}.colors": solid.colors}
    for name, lines in scene.lines.items():
        arrays |= {f"{name}.points": lines.points, f"{name}.starts": lines.starts}
    with (folder / _SCENE).open("wb") as file:
        np.savez(file, **arrays)  # type: ignore[arg-type]
    job = {
        "diagonal": scene.diagonal,
        "solids": {name: [solid.is_smooth, solid.color_of, solid.is_open] for name, solid in scene.solids.items()},
        "lines": {name: [lines.color, lines.width] for name, lines in scene.lines.items()},
        "pictures": [asdict(picture) for picture in scene.pictures],
    }
    (folder / _JOB).write_text(json.dumps(job, allow_nan=False), encoding="utf-8")


def load_scene(folder: Path) -> Scene:
    """Read the scene that :func:`save_scene` wrote."""
    job = json.loads((folder / _JOB).read_text(encoding="utf-8"))
    with np.load(folder / _SCENE, allow_pickle=False) as arrays:
        solids = {
            name: Solid(arrays[f"{name}.positions"], arrays[f"{name}.faces"], arrays[f"{name}.colors"], *looks)
            for name, looks in job["solids"].items()
        }
        lines = {
            name: Lines(arrays[f"{name}.points"], arrays[f"{name}.starts"], tuple(color), width)
            for name, (color, width) in job["lines"].items()
        }
    pictures = tuple(_read_picture(values) for values in job["pictures"])
    return Scene(job["diagonal"], solids, lines, pictures)


def _read_view(values: dict[str, Any]) -> View:
    return View(tuple(values["direction"]), tuple(values["up"]), tuple(values["focus"]), values["half_height"])


def _read_picture(plain: dict[str, Any]) -> Picture:
    return Picture(
        name=plain["name"],
        title=plain["title"],
        view=_read_view(plain["view"]),
        layers=tuple(Layer(**layer) for layer in plain["layers"]),
        marks=tuple(Mark(mark["kind"], mark["text"], tuple(map(tuple, mark["positions"]))) for mark in plain["marks"]),
        edge_width=plain["edge_width"],
    )
