"""Loopwright: a painted sculpt in, an all-quad mesh with planned loops out.

The public names load on first use, so that ``import loopwright`` is quick.
"""

from __future__ import annotations

TYPE_CHECKING = False  # type checkers take it for true; the module of this name would be one more to load
if TYPE_CHECKING:  # they see the names that load lazily
    from typing import Any

    from loopwright.errors import (
        Cancelled,
        ConvergenceError,
        InfeasibleError,
        InputError,
        InternalError,
        LoopwrightError,
        MarksError,
    )
    from loopwright.options import BuildOptions, Pin
    from loopwright.pipeline import build, plan
    from loopwright.report.write_report import write_report
    from loopwright.results import BuildResult, PlanResult
    from loopwright.session import OpenSculpt, open_sculpt
    from loopwright.types import Curve, Finding, MirrorPlane, QuadMesh, Region, RegionSurface, Sculpt
    from loopwright.wishes import FixedPoint, FlowLine, PolePin, SizeDab, WishOutcome

__version__ = "0.1.0"

_HOME_OF_NAME = {
    "build": "loopwright.pipeline",
    "plan": "loopwright.pipeline",
    "open_sculpt": "loopwright.session",
    "OpenSculpt": "loopwright.session",
    "BuildResult": "loopwright.results",
    "PlanResult": "loopwright.results",
    "BuildOptions": "loopwright.options",
    "Pin": "loopwright.options",
    "FlowLine": "loopwright.wishes",
    "FixedPoint": "loopwright.wishes",
    "PolePin": "loopwright.wishes",
    "SizeDab": "loopwright.wishes",
    "WishOutcome": "loopwright.wishes",
    "Sculpt": "loopwright.types",
    "MirrorPlane": "loopwright.types",
    "Region": "loopwright.types",
    "RegionSurface": "loopwright.types",
    "Curve": "loopwright.types",
    "QuadMesh": "loopwright.types",
    "Finding": "loopwright.types",
    "LoopwrightError": "loopwright.errors",
    "InputError": "loopwright.errors",
    "MarksError": "loopwright.errors",
    "InfeasibleError": "loopwright.errors",
    "ConvergenceError": "loopwright.errors",
    "InternalError": "loopwright.errors",
    "Cancelled": "loopwright.errors",
    "write_report": "loopwright.report.write_report",
}

__all__ = [
    "__version__",
    "build",
    "plan",
    "open_sculpt",
    "OpenSculpt",
    "BuildResult",
    "PlanResult",
    "BuildOptions",
    "Pin",
    "FlowLine",
    "FixedPoint",
    "PolePin",
    "SizeDab",
    "WishOutcome",
    "Sculpt",
    "MirrorPlane",
    "Region",
    "RegionSurface",
    "Curve",
    "QuadMesh",
    "Finding",
    "LoopwrightError",
    "InputError",
    "MarksError",
    "InfeasibleError",
    "ConvergenceError",
    "InternalError",
    "Cancelled",
    "write_report",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME_OF_NAME:
        raise AttributeError(f"module 'loopwright' has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(_HOME_OF_NAME[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
