"""A sculpt that stays open, so that a change of wishes costs only what the change touches."""

from __future__ import annotations

from collections.abc import Mapping

from loopwright.options import BuildOptions
from loopwright.pipeline import build_on, plan_on
from loopwright.progress import Progress, silent
from loopwright.results import BuildResult, PlanResult
from loopwright.shelf import Shelf
from loopwright.stages.clock import Clock
from loopwright.stages.read_ground import Ground, Source, read_ground
from loopwright.types import Finding, Sculpt

_DEPTH = 3  # results of each stage that are kept: the newest, and two to go back to


class OpenSculpt:
    """One sculpt, repaired and with its trees, that is planned and built again and again.

    Each stage keeps what it made of its newest inputs. Where a change of wishes leaves all that a stage
    reads as it was, the stage does not run again: another count on a border keeps the layout; a flow line
    keeps the regions; a name keeps both. The results are those of a build from the file, to the last bit.

    What is kept is bounded: three results of each stage, one of those as large as the sculpt.
    Results share arrays with what is kept and with one another: copy an array before you change it.
    Use it from one thread at a time.

    Attributes
    ----------
    sculpt : the sculpt after repair.
    findings : what the repair found and did.
    timings : seconds that opening took, per stage.
    """

    def __init__(self, ground: Ground, timings: Mapping[str, float]) -> None:
        self._ground = ground
        self.timings = dict(timings)

    @property
    def sculpt(self) -> Sculpt:
        """The sculpt after repair."""
        return self._ground.sculpt

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the repair found and did."""
        return self._ground.findings

    def plan(self, options: BuildOptions | None = None, *, progress: Progress = silent) -> PlanResult:
        """Plan as :func:`loopwright.plan` does; ``timings`` are those of this call, without opening.

        Raises
        ------
        MarksError, InfeasibleError : see :mod:`loopwright.errors`; the sculpt stays open and usable.
        """
        return plan_on(self._ground, options or BuildOptions(), Clock(progress))

    def build(self, options: BuildOptions | None = None, *, progress: Progress = silent) -> BuildResult:
        """Make the mesh as :func:`loopwright.build` does; ``timings`` are those of this call, without opening.

        Raises
        ------
        MarksError, InfeasibleError : see :mod:`loopwright.errors`; the sculpt stays open and usable.
        """
        return build_on(self._ground, options or BuildOptions(), Clock(progress))

    def forget(self) -> None:
        """Give back the memory of all results that are kept; the sculpt and its trees stay."""
        self._ground.shelf.clear()


def open_sculpt(source: Source, *, progress: Progress = silent) -> OpenSculpt:
    """Read a sculpt, repair it and grow its trees, ready for plans and builds.

    Parameters
    ----------
    source : a sculpt, or the path of a file with one.

    Raises
    ------
    InputError : the file or the sculpt in it cannot be used.

    Examples
    --------
    >>> from loopwright import BuildOptions, Pin, open_sculpt
    >>> sculpt = open_sculpt("bust.ply")  # doctest: +SKIP
    >>> first = sculpt.build(BuildOptions(budget=4000))  # doctest: +SKIP
    >>> pins = (Pin("lips", "cheeks", 24),)  # doctest: +SKIP
    >>> again = sculpt.build(BuildOptions(budget=4000, pins=pins))  # quicker  # doctest: +SKIP
    """
    clock = Clock(progress)
    return OpenSculpt(read_ground(source, Shelf(_DEPTH), clock), clock.timings)
