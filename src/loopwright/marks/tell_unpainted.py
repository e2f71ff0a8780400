"""Tell that a sculpt has no paint, and what that means for its mesh."""

from __future__ import annotations

from collections.abc import Sequence

from loopwright.options import RGB, format_color
from loopwright.types import Finding

KIND = "no_paint"
_WAY = "To say where loops run, paint regions, or draw flow lines in a marks file."


def tell_unpainted() -> Finding:
    """Return the finding on a sculpt without vertex colours."""
    text = "The sculpt has no vertex colours, so there is no paint, and its shape alone defines the layout."
    return Finding(KIND, f"{text} {_WAY}")


def tell_one_color(colors: Sequence[RGB]) -> list[Finding]:
    """Return a finding where the colours that were found on a sculpt part it nowhere: none, or one alone."""
    if not colors:
        return [tell_unpainted()]
    if len(colors) > 1:
        return []
    text = f"The sculpt is painted {format_color(colors[0])} all over, so there is no border that edges would follow"
    return [Finding(KIND, f"{text}; ridges of the shape are followed where there are no colours at all. {_WAY}")]
