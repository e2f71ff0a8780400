"""The weakest that the report asks of a layout and of a result: enough to draw and to count."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from loopwright.counts.count_borders import BorderCount
from loopwright.types import Finding, FloatArray, QuadMesh, RegionSurface, Sculpt


class ArcLike(Protocol):
    """A piece of border, cut or rim with its segment count."""

    @property
    def points(self) -> FloatArray:
        """(k, 3) points along the arc; a closed one repeats its first."""

    @property
    def kind(self) -> str:
        """One of border, cut, flow, mirror and rim."""

    @property
    def count(self) -> int:
        """Number of segments."""


class PatchLike(Protocol):
    """A part of a region with three to five sides, or a ring."""

    @property
    def region(self) -> int:
        """Index into the surface's regions."""

    @property
    def side_counts(self) -> Sequence[int]:
        """Segments on each side."""

    @property
    def faces(self) -> int:
        """Quads that fill it."""


class LayoutLike(Protocol):
    """The planned arcs, patches and poles."""

    @property
    def arcs(self) -> Sequence[ArcLike]:
        """All arcs."""

    @property
    def patches(self) -> Sequence[PatchLike]:
        """All patches."""

    @property
    def poles(self) -> Sequence[tuple[FloatArray, int]]:
        """Position and valence of every planned pole; those of one half, where the other mirrors it."""

    @property
    def borders(self) -> Sequence[BorderCount]:
        """The borders between regions with their segments in the whole mesh."""

    @property
    def openings(self) -> Sequence[int]:
        """The segments round each opening of the whole mesh."""


class PlanLike(Protocol):
    """What a plan gives."""

    @property
    def sculpt(self) -> Sculpt:
        """The sculpt as read."""

    @property
    def surface(self) -> RegionSurface:
        """The proxy with its regions."""

    @property
    def layout(self) -> LayoutLike:
        """The layout."""

    @property
    def findings(self) -> Sequence[Finding]:
        """What was found and done on the way."""

    @property
    def timings(self) -> Mapping[str, float]:
        """Seconds by stage."""


class BuildLike(PlanLike, Protocol):
    """What a build gives."""

    @property
    def mesh(self) -> QuadMesh:
        """The whole mesh."""

    @property
    def distances(self) -> Mapping[str, float]:
        """Distances by name, in diagonals of the sculpt."""

    @property
    def quality(self) -> Any:
        """Figures by name."""
