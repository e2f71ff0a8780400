"""Read OBJ: positions, the colours of six-number ``v`` lines, and polygons."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loopwright.progress import Progress
from loopwright.surface.parts import (
    MAX_COORDINATE,
    WAY_OUT,
    LongArray,
    Part,
    bytes_from_numbers,
    fan_triangulate,
    input_error,
    unusable,
)
from loopwright.surface.text_lines import LineBlock, read_blocks
from loopwright.types import FloatArray

_MAX_DIGITS = 10
_LONGEST_INDEX = 12


def read_obj(path: Path, progress: Progress) -> list[Part]:
    """Read every object of an OBJ file as one part.

    Normals, texture coordinates, groups, materials, lines and curves are
    passed over.  A fourth number of a ``v`` line is a weight and ignored.

    Raises
    ------
    InputError
        For words that are no numbers, faces of fewer than three corners and indices that point nowhere.
    """
    name, size = path.name, max(path.stat().st_size, 1)
    points: list[FloatArray] = []
    colors: list[FloatArray | None] = []
    faces: list[NDArray[Any]] = []
    vertex_count = 0
    highest = (0, "")
    with path.open("rb") as stream:
        if stream.read(3) != b"\xef\xbb\xbf":
            stream.seek(0)
        for block in read_blocks(stream, name, comment=b"#"):
            is_vertex = block.starts_with("v")
            block_points, block_colors = _vertices(block, is_vertex)
            triangles, block_highest = _faces(block, is_vertex, vertex_count)
            faces.append(triangles)
            highest = max(highest, block_highest, key=lambda found: found[0])
            points.append(block_points)
            colors.append(block_colors)
            vertex_count += len(block_points)
            progress("read", min(block.end_offset / size, 1.0))
    positions = np.concatenate(points) if points else np.zeros((0, 3))
    if highest[0] > vertex_count > 0:
        problem = f"a face uses vertex {highest[0]}, but the file has only {vertex_count} (counted from 1)"
        raise input_error(name, highest[1], problem, f"the file is damaged or cut short; {WAY_OUT}")
    triangles = np.concatenate(faces) if faces else np.zeros((0, 3), np.int64)
    return [Part(positions, triangles, _join_colors(points, colors))]


def _join_colors(points: list[FloatArray], colors: list[FloatArray | None]) -> Any:
    if all(block is None for block in colors):
        return None
    full = [
        np.full((len(block_points), 3), np.nan) if block is None else block
        for block_points, block in zip(points, colors, strict=True)
    ]
    joined = np.concatenate(full)
    is_bare = np.isnan(joined).any(axis=1)
    result = bytes_from_numbers(joined)
    result[is_bare] = 255
    return result


def _vertices(block: LineBlock, is_vertex: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray | None]:
    """Return (n, 3) positions and (n, 3) colours as written, NaN where a line has none."""
    lines = np.flatnonzero(is_vertex)
    if lines.size == 0:
        return np.zeros((0, 3)), None
    numbers, counts = block.line_numbers(is_vertex, 1)
    if counts.min() < 3:
        line = int(lines[np.argmax(counts < 3)])
        raise input_error(block.name, block.place(line), "a vertex needs three numbers")
    starts = np.cumsum(counts) - counts
    positions = numbers[starts[:, None] + np.arange(3)]
    is_good = (np.abs(positions) <= MAX_COORDINATE).all(axis=1)
    if not is_good.all():
        bad = int(np.argmin(is_good))
        raise input_error(block.name, block.place(int(lines[bad])), unusable(positions[bad]))
    has_color = counts >= 6
    if not has_color.any():
        return positions, None
    colors = np.full((len(lines), 3), np.nan)
    colors[has_color] = numbers[starts[has_color, None] + np.arange(3, 6)]
    return positions, colors


def _faces(
    block: LineBlock, is_vertex: NDArray[np.bool_], vertices_before: int
) -> tuple[NDArray[Any], tuple[int, str]]:
    """Return (m, 3) triangles, counted from 0 over the whole file, and the highest vertex, from 1, with its place."""
    is_face = block.starts_with("f")
    lines = np.flatnonzero(is_face)
    if lines.size == 0:
        return np.zeros((0, 3), np.int64), (0, "")
    sizes = block.word_counts[lines] - 1
    if sizes.min() < 3:
        line = int(lines[np.argmax(sizes < 3)])
        raise input_error(block.name, block.place(line), f"a face needs three corners, it has {sizes.min()}")
    word_line = np.repeat(np.arange(len(is_face)), block.word_counts)
    is_corner = is_face[word_line]
    is_corner[block.first_word[lines]] = False
    corners = _leading_integers(block, np.flatnonzero(is_corner), word_line)
    corner_line, written = word_line[is_corner], corners.copy()
    negative = corners < 0
    if negative.any():
        vertices_so_far = vertices_before + np.cumsum(is_vertex)
        corners[negative] += vertices_so_far[corner_line[negative]] + 1
        if corners.min() <= 0:
            worst = int(np.argmin(corners))
            problem = f"the index {written[worst]} counts back to before the first vertex"
            raise input_error(block.name, block.place(int(corner_line[worst])), problem)
    top = int(np.argmax(corners))
    triangles = fan_triangulate(sizes, (corners - 1).astype(np.int64 if corners[top] > 2**31 - 2 else np.int32))
    return triangles, (int(corners[top]), block.place(int(corner_line[top])))


def _leading_integers(block: LineBlock, words: LongArray, word_line: LongArray) -> LongArray:
    """Read the whole number that each word starts with, up to its first slash."""
    data, at = block.data, block.word_starts[words].copy()
    is_negative = data[at] == ord("-")
    at += is_negative
    first = at.copy()
    values = np.zeros(len(words), np.int64)
    for _ in range(_MAX_DIGITS + 1):
        digit = data[at] - np.uint8(48)
        is_digit = digit <= 9
        if not is_digit.any():
            break
        np.multiply(values, 10, out=values, where=is_digit)
        np.add(values, digit, out=values, where=is_digit)
        at += is_digit
    ends_well = (at == block.word_ends[words]) | (data[at] == ord("/"))
    is_good = ends_well & (at > first) & (at - first <= _MAX_DIGITS) & (values > 0)
    if not is_good.all():
        bad = int(np.argmin(is_good))
        word = words[bad]
        text = data[block.word_starts[word] : block.word_ends[word]].tobytes()[: 2 * _LONGEST_INDEX]
        problem = f"{text.decode('utf-8', 'replace')!r} is not a usable vertex index (they count from 1)"
        raise input_error(block.name, block.place(int(word_line[word])), problem)
    return np.where(is_negative, -values, values)
