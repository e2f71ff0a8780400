"""The header of a PLY file: which elements with which properties follow it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import BinaryIO

import numpy as np

from loopwright.surface.parts import WAY_OUT, input_error

MAX_HEADER_BYTES = 1 << 20
SCALARS = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2", "ushort": "u2",
    "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4", "float": "f4", "float32": "f4",
    "double": "f8", "float64": "f8",
}  # fmt: skip
BYTE_ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}


@dataclass(frozen=True)
class PlyProperty:
    """A property: its numpy type, and the type of its count if it is a list."""

    name: str
    dtype: np.dtype[np.generic]
    count_dtype: np.dtype[np.generic] | None = None


@dataclass
class PlyElement:
    """An element: its name, how many rows there are, and the properties of a row."""

    name: str
    count: int
    properties: list[PlyProperty] = field(default_factory=list)

    @property
    def has_lists(self) -> bool:
        """Whether a row's size depends on its content."""
        return any(prop.count_dtype is not None for prop in self.properties)

    @property
    def min_row_bytes(self) -> int:
        """The least bytes that a row of a binary file takes."""
        return sum((prop.count_dtype or prop.dtype).itemsize for prop in self.properties)


@dataclass(frozen=True)
class PlyHeader:
    """``byte_order`` is empty for ASCII; ``lines`` and ``body_offset`` say where the header ends."""

    byte_order: str
    elements: list[PlyElement]
    lines: int
    body_offset: int


def read_ply_header(stream: BinaryIO, name: str) -> PlyHeader:
    """Read up to and with ``end_header``.

    Raises
    ------
    InputError
        If a line breaks the format's rules; the message names the line.
    """
    head = stream.read(MAX_HEADER_BYTES)
    if not head.startswith((b"ply\n", b"ply\r")):
        raise input_error(name, "header line 1", "the file does not start with the word 'ply'")
    line_end = b"\n" if head[3:4] == b"\n" else b"\r\n" if head[4:5] == b"\n" else b"\r"
    byte_order: str | None = None
    elements: list[PlyElement] = []
    line, offset = 1, 3 + len(line_end)
    while (stop := head.find(line_end, offset)) >= 0:
        words = head[offset:stop].decode("utf-8", "replace").split()
        line, offset = line + 1, stop + len(line_end)
        place = f"header line {line}"
        keyword = words[0] if words else ""
        if keyword == "format":
            if len(words) < 2 or words[1] not in BYTE_ORDERS:
                raise input_error(name, place, f"unknown PLY format {' '.join(words[1:2])!r}")
            byte_order = BYTE_ORDERS[words[1]]
        elif keyword == "element":
            elements.append(_element(words, name, place))
        elif keyword == "property":
            if not elements:
                raise input_error(name, place, "a property stands before the first element")
            elements[-1].properties.append(_property(words, byte_order or "", name, place))
        elif keyword == "end_header":
            if byte_order is None:
                raise input_error(name, place, "the header has no 'format' line")
            return PlyHeader(byte_order, elements, line, offset)
    problem = "the PLY header has no end, the word 'end_header' is missing"
    raise input_error(name, f"header line {line}", problem, f"the file is damaged or cut short; {WAY_OUT}")


def _element(words: list[str], name: str, place: str) -> PlyElement:
    if len(words) != 3 or not words[2].isascii() or not words[2].isdecimal() or len(words[2]) > 18:
        raise input_error(name, place, "an element line reads 'element NAME COUNT' with a whole count")
    return PlyElement(words[1], int(words[2]))


def _property(words: list[str], byte_order: str, name: str, place: str) -> PlyProperty:
    is_list = len(words) == 5 and words[1] == "list"
    types = words[2:4] if is_list else words[1:2]
    unknown = [word for word in types if word not in SCALARS]
    if (len(words) != 3 and not is_list) or unknown:
        problem = f"unknown type {unknown[0][:40]!r}" if unknown else "a property line reads 'property TYPE NAME'"
        raise input_error(name, place, problem)
    order = byte_order or "<"
    if not is_list:
        return PlyProperty(words[2], np.dtype(order + SCALARS[words[1]]))
    if SCALARS[words[2]][0] == "f":
        raise input_error(name, place, "the count of a list must be a whole number")
    return PlyProperty(words[4], np.dtype(order + SCALARS[words[3]]), np.dtype(order + SCALARS[words[2]]))
