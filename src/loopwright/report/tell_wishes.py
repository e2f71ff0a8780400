"""The wishes of a build or a plan as plain values, and what became of them in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import chain, repeat

from loopwright.options import BuildOptions, format_color
from loopwright.surface.repair_work import plural
from loopwright.wishes import Pin, WishOutcome, name_apart

SIZE_WORDS = {"sizes": "Sizes of regions", "size_dabs": "Dabs of size", "vertex_sizes": "Sizes at vertices"}
"""What sizes are called on the page."""
WISH_WORDS = {"pins": "Pins", "lines": "Flow lines", "points": "Held points", "poles": "Wishes for poles"}
"""What wishes with an outcome are called on the page."""


def tell_wishes(options: BuildOptions | None, outcomes: Sequence[WishOutcome]) -> dict[str, object]:
    """Return the wishes by name; of pins, lines, places and wishes for poles also whether they were kept.

    Parameters
    ----------
    outcomes : of each kind in the order of the options; those of a kind may all be missing.
    """
    if options is None:
        return {}
    lines, points = name_apart(options.lines, "line"), name_apart(options.points, "point")
    kept = {kind: _kept(kind, outcomes) for kind in ("pin", "line", "point", "poles")}
    off = chain((each.off for each in outcomes if each.kind == "point"), repeat(None))
    return {
        "budget": options.budget,
        "leave_open": [format_color(color) for color in options.leave_open],
        "sizes": dict(options.sizes),
        **_painted_sizes(options),
        "pins": [{**_pin(pin), "kept": next(kept["pin"])} for pin in options.pins],
        "lines": [{"name": line.name, "kept": next(kept["line"])} for line in lines],
        "points": [{"name": p.name, "at": list(p.at), "kept": next(kept["point"]), "off": next(off)} for p in points],
        "poles": [{"region": pole.region, "wish": pole.wish, "kept": next(kept["poles"])} for pole in options.poles],
        "mirror": options.mirror,
        "fit_limit": options.fit_limit,
    }


def _painted_sizes(options: BuildOptions) -> dict[str, dict[str, object]]:
    """Return how many dabs of size and vertices with a size there are, and the lengths wished; only what there is.

    There may be thousands, so they are not told one by one.
    """
    at_vertices: list[float] = []
    if options.vertex_sizes is not None:
        at_vertices = options.vertex_sizes[options.vertex_sizes > 0].tolist()
    lengths = {"size_dabs": [dab.length for dab in options.size_dabs], "vertex_sizes": at_vertices}
    return {
        name: {"count": len(each), "shortest": min(each), "longest": max(each)}
        for name, each in lengths.items()
        if len(each)
    }


def tell_painted_sizes(name: str, told: object) -> str:
    """Return ``size_dabs`` or ``vertex_sizes``, as :func:`tell_wishes` gives them, in words."""
    if not isinstance(told, Mapping):
        return ""
    kind = ("dab", "dabs") if name == "size_dabs" else ("vertex", "vertices")
    shortest, longest = f"{told['shortest']:.3g}", f"{told['longest']:.3g}"
    lengths = shortest if shortest == longest else f"{shortest} to {longest}"
    return f"{plural(told['count'], *kind)}, edge length {lengths}"


def _kept(kind: str, outcomes: Sequence[WishOutcome]) -> Iterator[bool | None]:
    return chain((each.is_kept for each in outcomes if each.kind == kind), repeat(None))


def _pin(pin: Pin) -> dict[str, object]:
    """Return a pin in the words of a marks file, with what messages call its border."""
    near = {} if pin.near is None else {"near": list(pin.near)}
    return {"name": pin.name, "between": [pin.region_a, pin.region_b], "count": pin.count, **near}


def tell_kept(entries: object, *, is_plan: bool) -> str:
    """Return pins, lines, places or wishes for poles, as :func:`tell_wishes` gives them, in words."""
    if not isinstance(entries, Sequence):
        return ""
    return ", ".join(_tell(entry, is_plan) for entry in entries if isinstance(entry, Mapping)) or "none"


def list_wishes(told: Mapping[str, object], *, is_plan: bool, missed: bool = False) -> list[str]:
    """Return each wish of :func:`tell_wishes` that has an outcome in words, such as ``pin lips/mouth=24 (kept)``.

    Parameters
    ----------
    missed : only those that are known not to be kept.
    """
    words = {"pins": "pin", "lines": "line", "points": "point", "poles": "poles"}
    listed = []
    for kind, word in words.items():
        entries = told.get(kind)
        for entry in entries if isinstance(entries, Sequence) else ():
            if isinstance(entry, Mapping) and (entry["kept"] is False or not missed):
                listed.append(f"{word} {_tell(entry, is_plan)}")
    return listed


def _tell(entry: Mapping[str, object], is_plan: bool) -> str:
    name = entry["name"] if "name" in entry else f"{entry['wish']} in {entry['region']}"
    if "count" in entry:
        name = f"{name}={entry['count']}"
    if entry["kept"] is None:
        return f"{name} ({'known once the mesh is made' if is_plan else 'not judged'})"
    off = f", {entry['off']:.3g} off" if entry.get("off") is not None else ""
    return f"{name} ({'kept' if entry['kept'] else 'not kept'}{off})"
