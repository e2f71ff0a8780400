"""What the corridor hands back: a plan, or a finished mesh."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from loopwright.counts.counted_layout import CountedLayout
from loopwright.fit.measure_quality import QualityReport
from loopwright.options import BuildOptions
from loopwright.types import Finding, QuadMesh, RegionSurface, Sculpt
from loopwright.wishes import WishOutcome


@dataclass(frozen=True)
class PlanResult:
    """A plan: the sculpt, its regions, the layout with counts; nothing is filled yet.

    Attributes
    ----------
    sculpt : the sculpt after repair.
    surface : the proxy with its regions; a half where there is a mirror plane.
    layout : arcs with counts, patches, planned poles.
    findings : what was found and done on the way.
    timings : seconds per stage.
    options : the wishes.
    outcomes : of the lines, the places, the wishes for poles, then the pins, each in the order of the options.
    """

    sculpt: Sculpt
    surface: RegionSurface
    layout: CountedLayout
    findings: tuple[Finding, ...]
    timings: Mapping[str, float]
    options: BuildOptions
    outcomes: tuple[WishOutcome, ...] = field(default=(), kw_only=True)


@dataclass(frozen=True)
class BuildResult(PlanResult):
    """A finished mesh and all that led to it.

    Attributes
    ----------
    mesh : the whole mesh.
    half : the half that was mirrored, or None.
    quality : shape of the quads and poles by valence.
    distances : rms distances by name, as shares of the sculpt's diagonal.
    """

    mesh: QuadMesh
    half: QuadMesh | None
    quality: QualityReport
    distances: Mapping[str, float]
