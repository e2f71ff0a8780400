"""Read PLY, ASCII and binary of both byte orders: positions, colours and polygons."""

from __future__ import annotations

from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from loopwright.progress import Progress
from loopwright.surface.parts import Part, bytes_from_fractions, bytes_from_numbers, fan_triangulate, input_error
from loopwright.surface.ply_header import PlyElement, PlyHeader, read_ply_header
from loopwright.surface.ply_rows import CUT_SHORT, Column, Lists, binary_columns, text_columns
from loopwright.surface.text_lines import LineBlock, read_blocks
from loopwright.types import ByteArray

AXES = ("x", "y", "z")
COLOR_NAMES = (("red", "green", "blue"), ("diffuse_red", "diffuse_green", "diffuse_blue"), ("r", "g", "b"))
INDEX_NAMES = ("vertex_indices", "vertex_index")
_WANTED = {*AXES, *INDEX_NAMES, *(word for names in COLOR_NAMES for word in names)}

Columns = dict[str, Column]


def read_ply(path: Path, progress: Progress) -> list[Part]:
    """Read the vertices and faces of a PLY file; other elements are passed over.

    Raises
    ------
    InputError
        If the header breaks the rules, or counts and content do not fit the file.
    """
    name = path.name
    with path.open("rb") as stream:
        header = read_ply_header(stream, name)
        _check_elements(header, name)
        stream.seek(header.body_offset)
        if header.byte_order:
            tables = _binary_tables(stream.read(), header, name)
        else:
            tables = _text_tables(stream, path.stat().st_size, header, name, progress)
    progress("read", 1.0)
    return [_part(tables, name)]


def _check_elements(header: PlyHeader, name: str) -> None:
    by_name = {element.name: element for element in header.elements}
    if len(by_name) < len(header.elements):
        raise input_error(name, "the header", "two elements have the same name")
    if "vertex" not in by_name:
        raise input_error(name, "the header", "there is no element 'vertex'")
    scalars = {prop.name for prop in by_name["vertex"].properties if prop.count_dtype is None}
    if not scalars.issuperset(AXES):
        raise input_error(name, "the header", "a vertex needs the properties x, y and z")
    for element in header.elements:
        if len({prop.name for prop in element.properties}) < len(element.properties):
            raise input_error(name, "the header", f"'{element.name}' has the same property twice")
        if element.count and not element.properties:
            raise input_error(name, "the header", f"'{element.name}' has rows but no properties")
    for prop in by_name["face"].properties if "face" in by_name else ():
        if prop.name in INDEX_NAMES and prop.count_dtype is not None and prop.dtype.kind != "f":
            return
    if "face" in by_name and by_name["face"].count:
        raise input_error(name, "the header", "a face needs a list of whole numbers 'vertex_indices'")


def _binary_tables(data: bytes, header: PlyHeader, name: str) -> dict[str, Columns]:
    tables: dict[str, Columns] = {}
    offset = 0
    for element in header.elements:
        wanted = _WANTED if element.name in ("vertex", "face") else set()
        tables[element.name], offset = binary_columns(data, offset, element, wanted, name)
        if {"vertex", "face"} <= tables.keys():
            break
    return tables


def _text_tables(stream: BinaryIO, size: int, header: PlyHeader, name: str, progress: Progress) -> dict[str, Columns]:
    pieces: dict[str, list[Columns]] = {element.name: [] for element in header.elements}
    ends = np.cumsum([element.count for element in header.elements], dtype=object)
    done, line = 0, header.lines + 1
    for block in read_blocks(stream, name, line=line):
        rows = np.flatnonzero(block.word_counts)
        for element, end in zip(header.elements, ends, strict=True):
            begin = end - element.count
            inside = rows[max(begin - done, 0) : max(end - done, 0)]
            if inside.size and element.properties and element.name in ("vertex", "face"):
                pieces[element.name].append(_block_columns(block, inside, element, name))
        done += len(rows)
        line = block.first_line + len(block.line_ends) - 1
        progress("read", min(block.end_offset / max(size, 1), 1.0))
    if done < ends[-1]:
        problem = f"the PLY says {ends[-1]} rows in all, but the file ends after {done}"
        raise input_error(name, f"line {line}", problem, CUT_SHORT)
    return {key: _join(blocks) for key, blocks in pieces.items()}


def _block_columns(block: LineBlock, rows: NDArray[np.int64], element: PlyElement, name: str) -> Columns:
    chosen = np.zeros(len(block.line_ends), np.bool_)
    chosen[rows] = True
    numbers, counts = block.line_numbers(chosen, 0)
    return text_columns(numbers, counts, element, _WANTED, name, block.first_line + int(rows[0]))


def _join(blocks: list[Columns]) -> Columns:
    if not blocks:
        return {}
    joined: Columns = {}
    for key in blocks[0]:
        columns = [block[key] for block in blocks]
        lists = [column for column in columns if isinstance(column, Lists)]
        if lists:
            sizes = np.concatenate([column.sizes for column in lists])
            joined[key] = Lists(sizes, np.concatenate([column.entries for column in lists]))
        else:
            joined[key] = np.concatenate([column for column in columns if not isinstance(column, Lists)])
    return joined


def _part(tables: dict[str, Columns], name: str) -> Part:
    vertex, face = tables["vertex"], tables.get("face", {})
    scalars = {key: column for key, column in vertex.items() if not isinstance(column, Lists)}
    if not scalars:
        return Part(np.zeros((0, 3)), np.zeros((0, 3), np.int64))
    positions = np.stack([scalars[axis].astype(np.float64) for axis in AXES], axis=1)
    triangles: NDArray[Any] = np.zeros((0, 3), np.int64)
    for key in INDEX_NAMES:
        lists = face.get(key)
        if isinstance(lists, Lists) and lists.sizes.size:
            if lists.sizes.min() < 3:
                row = int(np.argmax(lists.sizes < 3))
                raise input_error(name, f"face {row + 1}", f"a face needs three corners, it has {lists.sizes[row]}")
            entries = lists.entries.astype(np.int64) if lists.entries.dtype.kind == "u" else lists.entries
            triangles = fan_triangulate(lists.sizes, entries)
            break
    return Part(positions, triangles, _colors(scalars))


def _colors(scalars: dict[str, NDArray[Any]]) -> ByteArray | None:
    """Return (n, 3) bytes: whole numbers by their type's range, fractions by their own."""
    for names in COLOR_NAMES:
        if all(word in scalars for word in names):
            values = np.stack([scalars[word] for word in names], axis=1)
            if values.dtype == np.uint8:
                exact: ByteArray = np.ascontiguousarray(values, np.uint8)
                return exact
            if values.dtype == np.uint16:
                return bytes_from_fractions(values / 65535.0)
            if values.dtype.kind == "f":
                return bytes_from_numbers(values)
            clipped: ByteArray = np.clip(values, 0, 255).astype(np.uint8)
            return clipped
    return None
