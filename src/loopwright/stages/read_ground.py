"""What does not depend on any wish: the sculpt, repaired, and its trees."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from loopwright.shelf import Shelf
from loopwright.stages.clock import Clock
from loopwright.surface.project import SurfaceProjector
from loopwright.surface.read import read_sculpt
from loopwright.surface.repair import repair_sculpt
from loopwright.types import Finding, Sculpt

Source = Sculpt | str | Path


@dataclass(frozen=True)
class Ground:
    """What all wishes for one sculpt have in common.

    Attributes
    ----------
    given : the sculpt as it came, to whose vertices painted sizes belong.
    sculpt : the same after repair.
    findings : what the repair found and did.
    projector : closest points on the repaired sculpt.
    shelf : what stages made for earlier wishes.
    """

    given: Sculpt
    sculpt: Sculpt
    findings: tuple[Finding, ...]
    projector: SurfaceProjector
    shelf: Shelf


def read_ground(source: Source, shelf: Shelf, clock: Clock) -> Ground:
    """Read and repair a sculpt and grow its trees.

    Raises
    ------
    InputError : the file or the sculpt in it cannot be used.
    """
    if isinstance(source, Sculpt):
        given = source
    else:
        with clock.stage("read"):
            given = read_sculpt(source, progress=clock.progress)
    with clock.stage("repair"):
        sculpt, findings = repair_sculpt(given)
    with clock.stage("trees"):
        projector = SurfaceProjector(sculpt.positions, sculpt.triangles)
    return Ground(given, sculpt, tuple(findings), projector, shelf)
