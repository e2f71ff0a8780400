"""What a marks file holds: everything an artist may lay down beside the paint."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from loopwright.types import FloatArray

RGB: TypeAlias = tuple[int, int, int]
Point: TypeAlias = tuple[float, float, float]
PoleWish: TypeAlias = Literal["none", "some"]

VERSION = 1
VERSION_KEY = "loopwright_marks"


@dataclass(frozen=True)
class Pin:
    """A wish for ``count`` segments on the border between two regions, in either order.

    With ``near``, only the border piece between two junctions that is nearest to that point is meant.
    """

    region_a: str
    region_b: str
    count: int
    near: Point | None = None

    @property
    def name(self) -> str:
        """The border as it is called in messages."""
        at = "" if self.near is None else " near ({:g}, {:g}, {:g})".format(*self.near)
        return f"{self.region_a}/{self.region_b}{at}"


@dataclass(frozen=True)
class FlowLine:
    """A line drawn on the sculpt that edges shall follow.

    Attributes
    ----------
    points : at least 2 points (3 if closed), on the sculpt or near it; a closed line does not repeat its first.
    closed : whether it runs back to its first point.
    name : for messages.
    """

    points: tuple[Point, ...]
    closed: bool = False
    name: str = ""


@dataclass(frozen=True)
class FixedPoint:
    """A place where the mesh shall have a vertex."""

    at: Point
    name: str = ""


@dataclass(frozen=True)
class PolePin:
    """Whether poles are wished for inside a region: ``none`` or ``some``."""

    region: str
    wish: PoleWish


@dataclass(frozen=True)
class SizeDab:
    """One dab of painted size: the wished edge length within a radius of a place; the latest dab wins."""

    at: Point
    radius: float
    length: float


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
