"""The rows of one PLY element, from binary or ASCII, as flat columns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loopwright.surface.parts import LongArray, input_error
from loopwright.surface.ply_header import PlyElement, PlyProperty

CUT_SHORT = "it is damaged or cut short; copy or export it again"
_WALK_BYTES = 1 << 14
_HUGE = 1 << 40


@dataclass(frozen=True)
class Lists:
    """A list property: (rows,) sizes and all entries in one row."""

    sizes: LongArray
    entries: NDArray[Any]


Column = NDArray[Any] | Lists


def binary_columns(
    data: bytes, start: int, element: PlyElement, wanted: set[str], name: str
) -> tuple[dict[str, Column], int]:
    """Cut the wanted properties of an element out of a binary body.

    Returns
    -------
    The columns by property name, and the offset behind the element's last row.

    Raises
    ------
    InputError
        If the rows do not fit into the file.
    """
    least = element.count * element.min_row_bytes
    if start + least > len(data):
        problem = f"the PLY says {element.count} rows of '{element.name}', but the file ends before them"
        raise input_error(name, f"byte {len(data)}", problem, CUT_SHORT)
    rows = _row_starts(data, start, element, name)
    columns: dict[str, Column] = {}
    offset: Any = rows[:-1]
    for prop in element.properties:
        if prop.count_dtype is None:
            if prop.name in wanted:
                columns[prop.name] = _gather(data, prop.dtype, offset)
            offset = offset + prop.dtype.itemsize
            continue
        sizes = _gather(data, prop.count_dtype, offset).astype(np.int64)
        offset = offset + prop.count_dtype.itemsize
        if prop.name in wanted:
            columns[prop.name] = Lists(sizes, _gather_lists(data, prop.dtype, offset, sizes))
        offset = offset + sizes * prop.dtype.itemsize
    return columns, int(rows[-1])


def _row_starts(data: bytes, start: int, element: PlyElement, name: str) -> LongArray:
    """Return (count + 1,) offsets of the rows and of the end."""
    count = element.count
    if not element.has_lists or count == 0:
        return start + np.arange(count + 1) * element.min_row_bytes
    first = int(_row_bytes(data, element, np.array([start]))[0])
    if start + count * first <= len(data):
        rows = start + np.arange(count + 1) * first
        if (_row_bytes(data, element, rows[:-1]) == first).all():
            return rows
    rows = _walk(data, start, element)
    is_out = rows[1:] > len(data)
    if len(rows) <= count or is_out.any():
        row = int(np.argmax(is_out)) if is_out.any() else len(rows) - 1
        place = f"byte {rows[row]}, row {row + 1} of '{element.name}'"
        raise input_error(name, place, "the row does not fit into the file", CUT_SHORT)
    return rows


def _walk(data: bytes, start: int, element: PlyElement) -> LongArray:
    """Follow rows of differing size: in windows, by doubling the step, so that no loop runs over rows."""
    found: list[LongArray] = []
    missing, at = element.count, start
    while missing > 0 and at < len(data):
        length = min(_WALK_BYTES, len(data) - at)
        next_row = np.arange(length) + _row_bytes(data, element, at + np.arange(length))
        jump = np.append(np.minimum(next_row, length), length)
        reached = np.zeros(1, np.int64)
        while reached[-1] < length:
            reached = np.concatenate([reached, jump[reached]])
            jump = jump[jump]
        reached = np.unique(reached[reached < length])[:missing]
        found.append(at + reached)
        missing -= len(reached)
        at += int(next_row[reached[-1]])
    return np.append(np.concatenate(found), at)


def _row_bytes(data: bytes, element: PlyElement, starts: LongArray) -> LongArray:
    """Return the size of the row that would start at each offset; a negative count is huge."""
    offset = starts.astype(np.int64)
    for prop in element.properties:
        if prop.count_dtype is None:
            offset = offset + prop.dtype.itemsize
        else:
            size = _gather(data, prop.count_dtype, offset).astype(np.int64)
            size = np.where((size < 0) | (size > _HUGE), _HUGE, size)
            offset = offset + prop.count_dtype.itemsize + size * prop.dtype.itemsize
    return offset - starts


def _gather(data: bytes, dtype: np.dtype[Any], offsets: LongArray) -> NDArray[Any]:
    """Read one value at every byte offset, aligned or not; beyond the end the last bytes are read."""
    last = len(data) - dtype.itemsize
    if last < 0:
        return np.zeros(len(offsets), dtype)
    step = int(offsets[1] - offsets[0]) if len(offsets) > 1 else 1
    if len(offsets) > 1 and offsets[-1] <= last and (np.diff(offsets) == step).all():
        return np.ndarray((len(offsets),), dtype, data, int(offsets[0]), (step,)).astype(dtype.newbyteorder("="))
    every = np.ndarray((last + 1,), dtype, data, 0, (1,))
    return every[np.minimum(offsets, last)].astype(dtype.newbyteorder("="))


def _gather_lists(data: bytes, dtype: np.dtype[Any], offsets: LongArray, sizes: LongArray) -> NDArray[Any]:
    if sizes.size == 0:
        return np.zeros(0, dtype.newbyteorder("="))
    if sizes.min() == sizes.max():
        columns = [_gather(data, dtype, offsets + k * dtype.itemsize) for k in range(int(sizes[0]))]
        return np.stack(columns, axis=1).reshape(-1) if columns else np.zeros(0, dtype.newbyteorder("="))
    within = np.arange(int(sizes.sum())) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    return _gather(data, dtype, np.repeat(offsets, sizes) + within * dtype.itemsize)


def text_columns(
    numbers: NDArray[np.float64], counts: LongArray, element: PlyElement, wanted: set[str], name: str, line: int
) -> dict[str, Column]:
    """Cut the wanted properties out of rows of numbers.

    Parameters
    ----------
    numbers, counts : all numbers in one row, and how many each line has.
    line : the number of the first line, for messages.

    Raises
    ------
    InputError
        If a line has fewer numbers than its properties need.
    """
    ends = np.cumsum(counts)
    at = ends - counts
    columns: dict[str, Column] = {}
    for prop in element.properties:
        _refuse_short(at < ends, element, name, line)
        values = numbers[at]
        if prop.count_dtype is None:
            columns[prop.name] = _in_range(_typed(values, prop, name, line), prop)
            at = at + 1
            continue
        sizes = np.where(np.abs(values) < _HUGE, values, -1.0).astype(np.int64)
        _refuse_short((sizes == values) & (sizes >= 0) & (at + sizes < ends), element, name, line)
        if prop.name in wanted:
            within = np.arange(int(sizes.sum())) - np.repeat(np.cumsum(sizes) - sizes, sizes)
            entries = numbers[np.repeat(at + 1, sizes) + within]
            columns[prop.name] = Lists(sizes, _typed(entries, prop, name, line))
        at = at + 1 + sizes
    return columns


def _refuse_short(is_good: NDArray[np.bool_], element: PlyElement, name: str, line: int) -> None:
    if not is_good.all():
        row = int(np.argmin(is_good))
        problem = f"the line does not hold what a row of '{element.name}' needs"
        raise input_error(name, f"line {line + row}", problem, CUT_SHORT)


def _in_range(values: NDArray[Any], prop: PlyProperty) -> NDArray[Any]:
    """Bring whole numbers to the property's own type."""
    if prop.dtype.kind == "f":
        return values
    limits = np.iinfo(prop.dtype.str)
    clipped: NDArray[Any] = np.clip(values, limits.min, limits.max).astype(prop.dtype.newbyteorder("="))
    return clipped


def _typed(values: NDArray[np.float64], prop: PlyProperty, name: str, line: int) -> NDArray[Any]:
    """Turn numbers of a whole-number property into int64."""
    if prop.dtype.kind == "f":
        return values
    if not (np.abs(values) < _HUGE).all() or (values != np.rint(values)).any():
        raise input_error(name, f"lines from {line}", f"'{prop.name}' must hold whole numbers")
    return values.astype(np.int64)
