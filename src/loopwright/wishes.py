"""The single wishes of an artist: pins, lines, places, poles and sizes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias, TypeVar

Point: TypeAlias = tuple[float, float, float]
PoleWish: TypeAlias = Literal["none", "some"]


@dataclass(frozen=True)
class Pin:
    """A wish for ``count`` segments on the border between two regions, in either order, or round openings.

    Where a region ends at an opening, ``opening`` stands for the other name, unless a region is called so. Each
    stretch, whole openings or the parts of them that the region ends at, has ``count`` then.

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
class WishOutcome:
    """What became of a drawn line, a held place, a wish for poles or a pin.

    Attributes
    ----------
    kind : what it is.
    name : the line's, place's or border's, as in messages, or the region's.
    is_kept : None where that is not known: in a plan, for a line so short that nothing is promised of it, for poles
        and pins of a region that an edit merged away, and for pins with a place where there are edits.
    off : of a place, how far the nearest vertex of the mesh (with the fit, its limit) is from it; else None.
    """

    kind: Literal["line", "point", "poles", "pin"]
    name: str
    is_kept: bool | None
    off: float | None = None


Named = TypeVar("Named", FlowLine, FixedPoint)


def name_apart(wishes: Sequence[Named], word: str) -> tuple[Named, ...]:
    """Return lines or places with names that tell them apart, for messages.

    One without a name is called by its place in the list, from 1; where several have one name, their places are added.

    Parameters
    ----------
    word : what one of them is called, such as ``line``.

    Examples
    --------
    >>> [point.name for point in name_apart([FixedPoint((0, 0, 0), "chin"), FixedPoint((0, 1, 0))], "point")]
    ['chin', 'point 2']
    """
    names = [wish.name or f"{word} {place}" for place, wish in enumerate(wishes, 1)]
    while len(set(names)) < len(names):
        uses = Counter(names)
        names = [f"{name} ({word} {place})" if uses[name] > 1 else name for place, name in enumerate(names, 1)]
    return tuple(replace(wish, name=name) for wish, name in zip(wishes, names, strict=True))
