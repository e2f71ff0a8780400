"""Read STL, ASCII and binary; corners that lie exactly on one another become one vertex."""

from __future__ import annotations

from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from loopwright.progress import Progress
from loopwright.surface.parts import Part, input_error
from loopwright.surface.text_lines import read_blocks
from loopwright.surface.weld import weld_exact
from loopwright.types import FloatArray

HEADER_BYTES = 84
FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def is_binary_stl(head: bytes, size: int) -> bool:
    """Tell whether a file of this size that starts with ``head`` has just the facets that its count says."""
    if len(head) < HEADER_BYTES:
        return False
    count = int.from_bytes(head[80:84], "little")
    return count > 0 and size == HEADER_BYTES + count * FACET.itemsize


def read_stl(path: Path, progress: Progress) -> list[Part]:
    """Read all solids of an STL file as one part without colours.

    Raises
    ------
    InputError
        If the facets do not fill the file to its end, or a word is no number.
    """
    size = path.stat().st_size
    with path.open("rb") as stream:
        head = stream.read(HEADER_BYTES)
        is_text = head.lstrip()[:5].lower() == b"solid" and not is_binary_stl(head, size)
        stream.seek(0)
        corners = _read_text(stream, path.name, size, progress) if is_text else _read_binary(stream, path.name, size)
    _refuse_bad_numbers(path.name, corners)
    kept, group = weld_exact(corners)
    progress("read", 1.0)
    return [Part(corners[kept].astype(np.float64), group.reshape(-1, 3))]


def _read_binary(stream: BinaryIO, name: str, size: int) -> NDArray[np.float32]:
    head = stream.read(HEADER_BYTES)
    if len(head) < HEADER_BYTES:
        raise input_error(name, f"byte {size}", "the STL ends inside its header")
    count = int.from_bytes(head[80:84], "little")
    room = (size - HEADER_BYTES) // FACET.itemsize
    if count > room:
        problem = f"the STL says {count} facets, but the file ends after {room}"
        raise input_error(name, f"byte {size}", problem, "it is cut short; copy or export it again")
    facets = np.frombuffer(stream.read(count * FACET.itemsize), FACET)
    return np.ascontiguousarray(facets["corners"].reshape(-1, 3))


def _read_text(stream: BinaryIO, name: str, size: int, progress: Progress) -> FloatArray:
    pieces: list[FloatArray] = []
    facets = corners = 0
    last_word, line = b"", 1
    for block in read_blocks(stream, name):
        is_corner = block.starts_with("vertex")
        facets += int(block.starts_with("endfacet").sum())
        numbers, counts = block.line_numbers(is_corner, 1)
        if (counts != 3).any():
            line = int(np.flatnonzero(is_corner)[np.argmax(counts != 3)])
            raise input_error(name, block.place(line), "a corner needs three numbers")
        corners += len(counts)
        pieces.append(numbers.reshape(-1, 3))
        filled = np.flatnonzero(block.word_counts)
        if filled.size:
            line = block.first_line + int(filled[-1])
            word = block.first_word[filled[-1]]
            last_word = block.data[block.word_starts[word] : block.word_ends[word]].tobytes().lower()
        progress("read", min(block.end_offset / max(size, 1), 1.0))
    if corners != 3 * facets:
        problem = f"{corners} corners do not make {facets} triangles"
        raise input_error(name, f"line {line}", problem, "it is damaged or cut short; copy or export it again")
    if last_word not in (b"endsolid", b"end"):
        problem = f"the STL ends after {facets} triangles without its last line 'endsolid'"
        raise input_error(name, f"line {line}", problem, "it is cut short; copy or export it again")
    return np.concatenate(pieces) if pieces else np.zeros((0, 3))


def _refuse_bad_numbers(name: str, corners: NDArray[Any]) -> None:
    is_good = np.isfinite(corners).all(axis=1)
    if not is_good.all():
        row = int(np.argmin(is_good))
        raise input_error(
            name, f"triangle {row // 3}, corner {row % 3} (counted from 0)", "its position is not a finite number"
        )
