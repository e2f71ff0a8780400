"""The wishes of a build or a plan as plain values, and what became of them in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from loopwright.options import BuildOptions, format_color
from loopwright.wishes import WishOutcome, name_apart

WISH_WORDS = {"lines": "Flow lines", "points": "Held points", "poles": "Wishes for poles"}
"""What wishes with an outcome are called on the page."""


def tell_wishes(options: BuildOptions | None, outcomes: Sequence[WishOutcome]) -> dict[str, object]:
    """Return the wishes by name; of lines, places and wishes for poles also whether they were kept.

    Parameters
    ----------
    outcomes : of the lines, then the places, then the wishes for poles, in the order of the options; may be empty.
    """
    if options is None:
        return {}
    lines, points = name_apart(options.lines, "line"), name_apart(options.points, "point")
    blank = [None] * (len(lines) + len(points) + len(options.poles))
    kept = iter([each.is_kept for each in outcomes] or blank)
    off = iter([each.off for each in outcomes if each.kind == "point"] or blank)
    return {
        "budget": options.budget,
        "leave_open": [format_color(color) for color in options.leave_open],
        "sizes": dict(options.sizes),
        "pins": {pin.name: pin.count for pin in options.pins},
        "lines": [{"name": line.name, "kept": next(kept)} for line in lines],
        "points": [{"name": p.name, "at": list(p.at), "kept": next(kept), "off": next(off)} for p in points],
        "poles": [{"region": pole.region, "wish": pole.wish, "kept": next(kept)} for pole in options.poles],
        "mirror": options.mirror,
        "fit_limit": options.fit_limit,
    }


def tell_kept(entries: object, *, is_plan: bool) -> str:
    """Return lines, places or wishes for poles, as :func:`tell_wishes` gives them, in words."""
    if not isinstance(entries, Sequence):
        return ""
    return ", ".join(_tell(entry, is_plan) for entry in entries if isinstance(entry, Mapping)) or "none"


def _tell(entry: Mapping[str, object], is_plan: bool) -> str:
    name = entry["name"] if "name" in entry else f"{entry['wish']} in {entry['region']}"
    if entry["kept"] is None:
        return f"{name} ({'known once the mesh is made' if is_plan else 'not judged'})"
    off = f", {entry['off']:.3g} off" if entry.get("off") is not None else ""
    return f"{name} ({'kept' if entry['kept'] else 'not kept'}{off})"
