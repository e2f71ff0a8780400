"""Pieces of a file on their way to one sculpt: polygons to triangles, colours to bytes, parts joined and checked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loopwright.errors import InputError
from loopwright.types import ByteArray, FloatArray, Sculpt

MAX_VERTICES = 2**31 - 1
MAX_TRIANGLES = 2**27
MAX_COORDINATE = 1e60
WAY_OUT = "export the sculpt again"

LongArray = NDArray[np.int64]


@dataclass(frozen=True)
class Part:
    """One object of a file.

    Attributes
    ----------
    positions : (n, 3) float64.
    triangles : (m, 3) signed integers of any width, not yet checked.
    colors : (n, 3) uint8 sRGB, or None.
    label : where it is in the file, for messages.
    """

    positions: FloatArray
    triangles: NDArray[Any]
    colors: ByteArray | None = None
    label: str = ""


def input_error(name: str, place: str, problem: str, way_out: str = WAY_OUT) -> InputError:
    """Build the one sentence that names the file, the place, the problem and the way out."""
    where = f"{name}, {place}" if place else name
    return InputError(f"{where}: {problem}; {way_out}.", places=(name, place))


def unusable(position: FloatArray) -> str:
    """Say that three numbers are no place: not finite, or too large to reckon with."""
    return f"its position ({', '.join(f'{value:g}' for value in position)}) is not a usable number"


def fan_triangulate(sizes: LongArray, corners: NDArray[Any]) -> NDArray[Any]:
    """Split polygons into triangles that all start at the polygon's first corner.

    Parameters
    ----------
    sizes : (p,) corners per polygon, each at least 3.
    corners : (sum of sizes,) vertex ids, polygon after polygon.

    Returns
    -------
    (sum of sizes - 2, 3) triangles in the polygons' order and orientation.
    """
    if sizes.size == 0:
        return np.zeros((0, 3), np.int64)
    if sizes.min() == sizes.max():
        rows = corners.reshape(len(sizes), -1)
        fans = [rows[:, [0, k, k + 1]] for k in range(1, rows.shape[1] - 1)]
        return np.ascontiguousarray(np.stack(fans, axis=1).reshape(-1, 3))
    starts = np.cumsum(sizes) - sizes
    counts = sizes - 2
    step = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    first = np.repeat(starts, counts)
    return np.stack([corners[first], corners[first + step + 1], corners[first + step + 2]], axis=1)


def bytes_from_fractions(values: NDArray[Any]) -> ByteArray:
    """Turn numbers from 0 to 1 into bytes; what lies outside is clipped, NaN is 0."""
    fractions = np.clip(np.nan_to_num(values, nan=0.0), 0.0, 1.0)
    rounded: ByteArray = np.rint(fractions * 255.0).astype(np.uint8)
    return rounded


def bytes_from_numbers(values: NDArray[Any]) -> ByteArray:
    """Turn colours of unsaid range into bytes: above 1 anywhere means 0 to 255, else 0 to 1."""
    top = float(np.nanmax(values, initial=0.0))
    return bytes_from_fractions(values / 255.0 if top > 1.0 else values)


def srgb_from_linear(values: NDArray[Any]) -> FloatArray:
    """Encode linear light from 0 to 1 with the transfer curve of IEC 61966-2-1 (sRGB)."""
    light = np.clip(np.nan_to_num(values.astype(np.float64), nan=0.0), 0.0, 1.0)
    curved: FloatArray = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1.0 / 2.4) - 0.055)
    return curved


def linear_from_srgb(values: NDArray[Any]) -> FloatArray:
    """Decode sRGB fractions from 0 to 1 to linear light (IEC 61966-2-1)."""
    code = values.astype(np.float64)
    light: FloatArray = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return light


def sculpt_from_parts(name: str, parts: Sequence[Part]) -> Sculpt:
    """Check every part and join them.

    Raises
    ------
    InputError
        If there is nothing to join, an index points outside its part or a position is no finite number.
    """
    for part in parts:
        _check_part(name, part)
    vertex_count = sum(len(part.positions) for part in parts)
    triangle_count = sum(len(part.triangles) for part in parts)
    if vertex_count == 0:
        raise input_error(name, "", "there are no vertices in it", "export the sculpt as a triangle mesh")
    if triangle_count == 0:
        raise input_error(
            name, "", f"it has {vertex_count} vertices but no faces, a point cloud", "export it as a triangle mesh"
        )
    if vertex_count > MAX_VERTICES or triangle_count > MAX_TRIANGLES:
        raise input_error(name, "", f"{triangle_count} triangles are too many", "export a coarser level")
    positions = np.empty((vertex_count, 3), np.float64)
    triangles = np.empty((triangle_count, 3), np.int32)
    has_colors = any(part.colors is not None for part in parts)
    colors = np.full((vertex_count, 3), 255, np.uint8) if has_colors else None
    vertex, triangle = 0, 0
    for part in parts:
        vertex_end, triangle_end = vertex + len(part.positions), triangle + len(part.triangles)
        positions[vertex:vertex_end] = part.positions
        np.add(part.triangles, vertex, out=triangles[triangle:triangle_end], casting="unsafe")
        if colors is not None and part.colors is not None:
            colors[vertex:vertex_end] = part.colors
        vertex, triangle = vertex_end, triangle_end
    if (np.ptp(positions, axis=0) == 0.0).all():
        raise input_error(name, "", "all its vertices lie in one point")
    return Sculpt(positions, triangles, colors, name)


def _check_part(name: str, part: Part) -> None:
    """Refuse positions that are no usable numbers and indices that point nowhere."""
    prefix = f"{part.label}, " if part.label else ""
    limit = np.abs(part.positions).max(initial=0.0)
    if not limit <= MAX_COORDINATE:
        row = int(np.argmax(~(np.abs(part.positions) <= MAX_COORDINATE).all(axis=1)))
        raise input_error(name, f"{prefix}vertex {row} (counted from 0)", unusable(part.positions[row]))
    if part.triangles.size == 0:
        return
    low, high, count = int(part.triangles.min()), int(part.triangles.max()), len(part.positions)
    if low < 0 or high >= count:
        bad = (part.triangles < 0) | (part.triangles >= count)
        row = int(np.argmax(bad.any(axis=1)))
        index = int(part.triangles[row][bad[row]][0])
        problem = f"it uses vertex {index}, but there are only {count}"
        raise input_error(
            name, f"{prefix}triangle {row} (counted from 0)", problem, f"the file is damaged or cut short; {WAY_OUT}"
        )
