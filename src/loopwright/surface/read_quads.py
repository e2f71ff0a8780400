"""Read a finished all-quad mesh from OBJ or PLY, with its regions."""

from __future__ import annotations

import colorsys
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from loopwright.errors import InputError
from loopwright.surface.parts import MAX_COORDINATE, input_error, unusable
from loopwright.surface.read_quads_ply import ply_quads
from loopwright.types import FloatArray, IntArray, QuadMesh, Region

_WAY_OUT = "give a mesh of four-sided faces"
_GOLDEN_TURN = 0.618034
_UNNAMED = "all"


@dataclass(frozen=True)
class _Faces:
    """What a file holds: positions, quads, each quad's region, the regions, and each quad's place in the file."""

    positions: FloatArray
    quads: NDArray[np.int64]
    quad_region: IntArray
    regions: tuple[Region, ...]
    places: list[str]


def read_quad_mesh(path: str | os.PathLike[str]) -> QuadMesh:
    """Read an all-quad mesh; vertices and faces keep the file's order.

    Regions are the groups of an OBJ (``g`` lines), or the whole numbers of a PLY's face property
    ``region``. Normals, texture coordinates and materials are passed over. The mesh has no curves and no
    mirror plane: a file does not tell them.

    Parameters
    ----------
    path : an .obj or .ply file.

    Raises
    ------
    InputError
        If the file cannot be read, has a face that is not four-sided, or is no surface: an edge of more
        than two faces, faces that face against each other, faces that touch in a vertex alone.

    Examples
    --------
    >>> mesh = read_quad_mesh("head.obj")  # doctest: +SKIP
    >>> mesh.quads.shape  # doctest: +SKIP
    (4880, 4)
    """
    file = Path(path)
    try:
        if file.is_dir():
            raise InputError(f"{file}: this is a folder; name the mesh file in it.", places=(str(file),))
        data = file.read_bytes()
    except FileNotFoundError as error:
        raise InputError(f"{file}: there is no such file; check the path.", places=(str(file),)) from error
    except OSError as error:
        reason = error.strerror or "it cannot be read"
        raise InputError(f"{file}: {reason}; check the path and its rights.", places=(str(file),)) from error
    if data.startswith((b"ply\n", b"ply\r")):
        positions, quads, region, regions = ply_quads(data, str(file))
        places = [f"face {row}" for row in range(1, len(quads) + 1)]
        found = _Faces(positions, quads, region, regions or number_regions(region), places)
    elif b"\0" in data[:4096]:
        raise input_error(str(file), "", "this is neither an OBJ nor a PLY file", _WAY_OUT)
    else:
        found = _obj_quads(data.decode("utf-8", "replace"), str(file))
    _check(found, str(file))
    n = len(found.positions)
    return QuadMesh(
        positions=np.ascontiguousarray(found.positions, np.float64),
        quads=np.ascontiguousarray(found.quads, np.int32),
        quad_region=np.ascontiguousarray(found.quad_region, np.int32),
        regions=found.regions,
        vertex_curve=np.full(n, -1, np.int32),
        curves=(),
        is_fixed=np.zeros(n, bool),
        on_mirror=np.zeros(n, bool),
    )


def number_regions(region: IntArray) -> tuple[Region, ...]:
    """Return regions for face numbers that have no names."""
    return _color_names([_UNNAMED] if region.max(initial=0) == 0 else [str(k) for k in range(int(region.max()) + 1)])


def _color_names(names: list[str]) -> tuple[Region, ...]:
    """Return regions with colours far from one another."""
    shades = [colorsys.hsv_to_rgb(k * _GOLDEN_TURN % 1.0, 0.45, 0.85) for k in range(len(names))]
    colors = [(round(255 * r), round(255 * g), round(255 * b)) for r, g, b in shades]
    return tuple(Region(name, color) for name, color in zip(names, colors, strict=True))


def _obj_quads(text: str, name: str) -> _Faces:
    points: list[list[float]] = []
    quads: list[list[int]] = []
    region: list[int] = []
    places: list[str] = []
    names: dict[str, int] = {}
    group = _UNNAMED
    for number, line in enumerate(text.replace("\\\r\n", " ").replace("\\\n", " ").splitlines(), 1):
        words = line.split("#", 1)[0].split()
        if not words:
            continue
        try:
            if words[0] == "v":
                points.append([float(word) for word in words[1:4]])
                if len(points[-1]) < 3:
                    raise input_error(name, f"line {number}", "a vertex needs three numbers", _WAY_OUT)
                if not all(abs(value) <= MAX_COORDINATE for value in points[-1]):
                    raise input_error(name, f"line {number}", unusable(np.array(points[-1])), _WAY_OUT)
            elif words[0] == "g":
                group = " ".join(words[1:]) or _UNNAMED
            elif words[0] == "f":
                quads.append([_corner(word, len(points)) for word in words[1:]])
                region.append(names.setdefault(group, len(names)))
                places.append(f"line {number}")
                if len(quads[-1]) != 4:
                    problem = f"the face has {len(quads[-1])} corners, not four"
                    raise input_error(name, places[-1], problem, _WAY_OUT)
        except ValueError as error:
            raise input_error(name, f"line {number}", f"{line.strip()[:40]!r} is not to be read as numbers") from error
    return _Faces(
        np.array(points, np.float64).reshape(-1, 3),
        np.array(quads, np.int64).reshape(-1, 4),
        np.array(region, np.int32),
        _color_names(list(names)),
        places,
    )


def _corner(word: str, count: int) -> int:
    index = int(word.split("/", 1)[0])
    if index == 0:
        raise ValueError("indices count from one")
    return index - 1 if index > 0 else count + index


def _check(found: _Faces, name: str) -> None:
    """Refuse what is no surface of quads; the message names the first face that is at fault."""
    positions, quads, places = found.positions, found.quads, found.places
    if len(quads) == 0:
        raise input_error(name, "", "there are no faces in it", _WAY_OUT)
    good = (np.abs(positions) <= MAX_COORDINATE).all(axis=1)
    if not good.all():
        raise input_error(name, f"vertex {int(np.argmin(good)) + 1}", "its position is not a usable number")
    out = ((quads < 0) | (quads >= len(positions))).any(axis=1)
    if out.any():
        problem = f"it uses a vertex that is not there; there are {len(positions)}"
        raise input_error(name, places[int(np.argmax(out))], problem, "the file is damaged; write it again")
    ordered = np.sort(quads, axis=1)
    twice = (ordered[:, 1:] == ordered[:, :-1]).any(axis=1)
    if twice.any():
        raise input_error(name, places[int(np.argmax(twice))], "a face uses a vertex twice", _WAY_OUT)
    start, end = quads.ravel(), np.roll(quads, -1, axis=1).ravel()
    keys = start * len(positions) + end
    _, first, inverse, count = np.unique(keys, return_index=True, return_inverse=True, return_counts=True)
    repeated = (count[inverse] > 1) & (first[inverse] != np.arange(len(keys)))
    if repeated.any():
        problem = "it shares an edge with a face that faces the other way, or with two other faces"
        raise input_error(name, places[int(np.argmax(repeated)) // 4], problem, "turn or take out faces there")
    _check_fans(start, end, name)


def _check_fans(start: NDArray[np.int64], end: NDArray[np.int64], name: str) -> None:
    """Refuse vertices whose faces are not one fan: corners that share an edge must join up to one piece a vertex."""
    size, count = len(start), int(start.max()) + 1
    keys = start * count + end
    order = np.argsort(keys)
    at = np.minimum(np.searchsorted(keys[order], end * count + start), size - 1)
    mate = order[at]
    own = np.flatnonzero(keys[mate] == end * count + start)
    onward = mate[own] - mate[own] % 4 + (mate[own] + 1) % 4
    graph = csr_matrix((np.ones(len(own)), (own, onward)), shape=(size, size))
    _, fan = connected_components(graph, directed=False)
    _, seen = np.unique(start * size + fan, return_index=True)
    fans = np.bincount(start[seen], minlength=count)
    if (fans > 1).any():
        problem = "faces touch in this vertex alone"
        raise input_error(name, f"vertex {int(np.argmax(fans > 1)) + 1}", problem, "part them or join them by an edge")
