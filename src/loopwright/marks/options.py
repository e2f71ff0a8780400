"""What the marks stage may be told, and what it reports."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from loopwright.types import MirrorPlane, Paint

RGB: TypeAlias = tuple[int, int, int]


@dataclass(frozen=True)
class MarksOptions:
    """How paint becomes regions; every field has a default."""

    open_colors: tuple[RGB, ...] = ()
    """Colours whose areas stay without faces."""
    color_tolerance: float = 14.0
    """How far a wished colour may lie from a painted one, as distance in RGB: as near as colours that count as one."""
    proxy_faces: int = 60_000
    """Triangles of the whole kept surface's proxy; a half gets half of them."""
    mirror: str | MirrorPlane = "auto"
    """"auto", "none", an axis "x", "y" or "z", or a plane."""
    smoothing: float = 2.0
    """Width over which borders are smoothed, in edges of the proxy."""
    min_share: float = 0.0002
    """Painted pieces smaller than this share of the area are specks, unless one is all there is of its colour
    and holds at least half as much."""
    min_width: float = 0.003
    """Painted pieces thinner than this share of the diagonal everywhere are stray strokes."""
    region_names: Mapping[RGB, str] = field(default_factory=dict)
    """Names for painted colours; a colour without one is named by its hex code."""


@dataclass(frozen=True)
class RegionShare:
    """How much of the sculpt a painted colour covers."""

    name: str
    color: RGB
    share: float
    is_open: bool


@dataclass(frozen=True)
class MarksReport:
    """What was found in the paint.

    Attributes
    ----------
    regions : the colours found, the largest first, open ones too.
    mirror : the plane used, or None.
    mirror_rms, mirror_far : how far the halves differ, and all but 2 % of them, relative to the diagonal; 0 without a
        mirror.
    paint_apart : how far their paint is apart, as :func:`loopwright.marks.paint_apart.paint_apart` measures it.
    dropped_specks : painted pieces that were too small or too thin to be meant.
    unlabelled_share : share of the area whose colour belonged to no region and was decided by its surroundings.
    proxy_edge : the proxy's wished edge length where no region is narrow, in the sculpt's unit.
    seconds : time of each step.
    paint : the colour of each vertex of the sculpt.
    """

    regions: tuple[RegionShare, ...]
    mirror: MirrorPlane | None
    mirror_rms: float
    mirror_far: float
    paint_apart: float
    dropped_specks: int
    unlabelled_share: float
    proxy_edge: float
    seconds: Mapping[str, float]
    paint: Paint
