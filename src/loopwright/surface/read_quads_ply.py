"""The quads of a PLY file, with the region of each face."""

from __future__ import annotations

import io
import json
import re

import numpy as np
from numpy.typing import NDArray

from loopwright.surface.parts import input_error
from loopwright.surface.ply_header import PlyHeader, read_ply_header
from loopwright.surface.ply_rows import CUT_SHORT, Column, Lists, binary_columns, text_columns
from loopwright.surface.text_lines import read_blocks
from loopwright.types import FloatArray, IntArray, Region

_INDEX_NAMES = ("vertex_indices", "vertex_index")
_WANTED = {"x", "y", "z", "region", *_INDEX_NAMES}
_REGION_LINE = re.compile(rb'^comment region (\d+) ("(?:[^"\\]|\\.)*") #([0-9a-fA-F]{6})\s*$', re.MULTILINE)

Table = dict[str, Column]


def ply_quads(data: bytes, name: str) -> tuple[FloatArray, NDArray[np.int64], IntArray, tuple[Region, ...]]:
    """Return positions, quads, the region of each quad, and the regions that the header names.

    Raises
    ------
    InputError
        If the file breaks the format's rules or a face has not four corners.
    """
    header = read_ply_header(io.BytesIO(data), name)
    tables = _binary_tables(data, header, name) if header.byte_order else _text_tables(data, header, name)
    vertex, face = tables.get("vertex", {}), tables.get("face", {})
    axes = [column for axis in "xyz" if isinstance(column := vertex.get(axis), np.ndarray)]
    corners = next((face[key] for key in _INDEX_NAMES if isinstance(face.get(key), Lists)), None)
    if len(axes) < 3 or not isinstance(corners, Lists):
        raise input_error(name, "the header", "it needs vertices with x, y, z and faces with 'vertex_indices'")
    if (corners.sizes != 4).any():
        row = int(np.argmax(corners.sizes != 4))
        problem = f"the face has {corners.sizes[row]} corners, not four"
        raise input_error(name, f"face {row + 1}", problem, "give a mesh of four-sided faces")
    quads = corners.entries.astype(np.int64).reshape(-1, 4)
    found = face.get("region")
    region = np.asarray(found, np.int64) if isinstance(found, np.ndarray) else np.zeros(len(quads), np.int64)
    regions = _named_regions(data[: header.body_offset])
    if region.size and (region.min() < 0 or region.max() >= max(len(regions), len(quads))):
        raise input_error(name, "the faces", "the property 'region' must count from 0")
    if regions and region.size and region.max() >= len(regions):
        regions = ()
    positions = np.stack(axes, axis=1).astype(np.float64)
    return positions, quads, region.astype(np.int32), regions


def _named_regions(head: bytes) -> tuple[Region, ...]:
    """Return the regions of header comments, if they number them from 0 without a gap."""
    found = {int(number): (label, code) for number, label, code in _REGION_LINE.findall(head)}
    if sorted(found) != list(range(len(found))):
        return ()
    regions = []
    for index in range(len(found)):
        label, code = found[index]
        red, green, blue = bytes.fromhex(code.decode("ascii"))
        regions.append(Region(str(json.loads(label)), (red, green, blue)))
    return tuple(regions)


def _binary_tables(data: bytes, header: PlyHeader, name: str) -> dict[str, Table]:
    tables: dict[str, Table] = {}
    offset = header.body_offset
    for element in header.elements:
        tables[element.name], offset = binary_columns(data, offset, element, _WANTED, name)
    return tables


def _text_tables(data: bytes, header: PlyHeader, name: str) -> dict[str, Table]:
    stream = io.BytesIO(data)
    stream.seek(header.body_offset)
    values: list[FloatArray] = [np.zeros(0)]
    counts: list[NDArray[np.int64]] = [np.zeros(0, np.int64)]
    for block in read_blocks(stream, name, line=header.lines + 1):
        block_values, block_counts = block.line_numbers(block.word_counts > 0, 0)
        values.append(block_values)
        counts.append(block_counts)
    numbers, sizes = np.concatenate(values), np.concatenate(counts)
    if len(sizes) < sum(element.count for element in header.elements):
        raise input_error(name, "the end", "there are fewer rows than the header says", CUT_SHORT)
    ends = np.concatenate([[0], np.cumsum(sizes)])
    tables: dict[str, Table] = {}
    row = 0
    for element in header.elements:
        last = row + element.count
        part = numbers[ends[row] : ends[last]]
        place = header.lines + 1 + row
        tables[element.name] = text_columns(part, sizes[row:last], element, _WANTED, name, place)
        row = last
    return tables
