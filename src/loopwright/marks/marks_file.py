"""What a marks file holds: everything an artist may lay down beside the paint."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from loopwright.types import FloatArray
from loopwright.wishes import FixedPoint, FlowLine, Pin, PolePin, SizeDab

RGB: TypeAlias = tuple[int, int, int]

VERSION = 1
VERSION_KEY = "loopwright_marks"


@dataclass(frozen=True)
class Marks:
    """The content of a marks file; what the file leaves out is None or empty.

    Attributes
    ----------
    budget, mirror, mirror_shape : as in :class:`loopwright.options.BuildOptions`, or None.
    region_names : painted colour -> name.
    leave_open : colours whose areas get no faces.
    sizes : region name -> edge length.
    size_dabs : painted sizes, later ones over earlier ones.
    vertex_sizes : (n,) edge length at each vertex of the sculpt's file, 0 where none is wished; or None.
    pins, points, poles, lines : see their classes.
    edits : edits of the finished mesh, as plain data; see :mod:`loopwright.edit_wishes`.
    """

    budget: int | None = None
    mirror: str | None = None
    mirror_shape: bool | None = None
    region_names: Mapping[RGB, str] = field(default_factory=dict)
    leave_open: tuple[RGB, ...] = ()
    sizes: Mapping[str, float] = field(default_factory=dict)
    size_dabs: tuple[SizeDab, ...] = ()
    vertex_sizes: FloatArray | None = field(default=None, compare=False)
    pins: tuple[Pin, ...] = ()
    points: tuple[FixedPoint, ...] = ()
    poles: tuple[PolePin, ...] = ()
    lines: tuple[FlowLine, ...] = ()
    edits: tuple[Mapping[str, object], ...] = ()
