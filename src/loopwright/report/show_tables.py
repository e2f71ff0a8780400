"""The figures of a summary as HTML tables."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape

from loopwright.report.summarize import Summary
from loopwright.report.tell_wishes import SIZE_WORDS, WISH_WORDS, tell_kept, tell_painted_sizes

_QUALITY_WORDS = {
    "mean": "Scaled Jacobian, mean",
    "p5": "Scaled Jacobian, 5 % are below",
    "p1": "Scaled Jacobian, 1 % are below",
    "min": "Scaled Jacobian, smallest",
    "below_0.2": "Quads below 0.2",
    "inverted": "Folded quads",
    "min_angle": "Smallest angle, degrees",
    "max_angle": "Largest angle, degrees",
    "aspect_mean": "Longest over shortest edge, mean",
    "aspect_p95": "Longest over shortest edge, 5 % are above",
}
_COUNTED = ("below_0.2", "inverted")
_SYMMETRY_WORDS = {
    "vertices_matched": "Vertices with their exact image",
    "faces_matched": "Faces with their exact image",
    "largest_gap": "Largest gap, of the diagonal",
}
_LAYOUT_WORDS = {"is_half": "One half is planned, the other mirrored"}
_DISTANCE_WORDS = {"rms": "root mean square", "p95": "5 % are farther", "p99": "1 % are farther", "max": "farthest"}


def show_tables(summary: Summary) -> str:
    """Return all tables that have something in them, side by side."""
    tables = [
        _show_regions(summary),
        _show_borders(summary),
        _show_poles(summary),
        _show_pairs("Shape of the quads", _quality_rows(summary.quality)),
        _show_pairs("Shape of the quads before", _quality_rows(summary.quality_before)),
        _show_distances(summary),
        _show_pairs("Symmetry", _symmetry_rows(summary.symmetry)),
        _show_pairs("Layout", _layout_rows(summary)),
        _show_timings(summary.timings),
        _show_pairs("Wishes", _wish_rows(summary)),
    ]
    return f'<div class="tables">{"".join(f"<div>{table}</div>" for table in tables if table)}</div>'


def _table(title: str, head: Sequence[str], rows: Iterable[Sequence[str]], *, has_sum: bool = False) -> str:
    """Return a table; cells are HTML."""
    body = [f"<tr>{''.join(f'<td>{cell}</td>' for cell in row)}</tr>" for row in rows]
    if has_sum and body:
        body[-1] = body[-1].replace("<tr>", '<tr class="sum">', 1)
    heading = f"<thead><tr>{''.join(f'<th>{cell}</th>' for cell in head)}</tr></thead>" if any(head) else ""
    return f"<h3>{title}</h3><table>{heading}<tbody>{''.join(body)}</tbody></table>"


def _show_pairs(title: str, pairs: Sequence[tuple[str, str]]) -> str:
    if not pairs:
        return ""
    return _table(title, (), [(escape(name), escape(value)) for name, value in pairs])


def _show_regions(summary: Summary) -> str:
    if not summary.faces:
        return ""
    rows = [
        (
            f'<span class="chip" style="background:{escape(row.color)}"></span>{escape(row.name)}',
            f"{row.faces:,}",
            f"{row.faces / summary.faces:.1%}",
            f"{row.edge_length:.3g}",
        )
        for row in summary.regions
    ]
    rows.append(("All", f"{summary.faces:,}", "", ""))
    title = "Expected faces by region" if summary.is_plan else "Faces by region"
    return _table(title, ("region", "faces", "share", "mean edge, units"), rows, has_sum=True)


def _show_borders(summary: Summary) -> str:
    rows = [
        (escape(" / ".join(border.between)), f"{border.segments:,}", "on each side" if border.times == 2 else "")
        for border in summary.borders
    ]
    rows += [("opening", f"{segments:,}", "") for segments in summary.openings]
    return _table("Segments on borders and openings", (), rows) if rows else ""


def _show_poles(summary: Summary) -> str:
    if summary.is_plan:
        return ""
    valences = list(summary.poles)
    head = ("where", *(f"valence {valence}" for valence in valences))
    rows: list[tuple[str, ...]] = [
        (escape(place), *(str(counts.get(valence, "")) for valence in valences))
        for place, counts in summary.poles_by_place.items()
    ]
    rows.append(("All", *(str(count) for count in summary.poles.values())))
    return _table("Poles by valence and place", head, rows, has_sum=True) + _tell_rim(summary.rim_turns)


def _tell_rim(rim_turns: Mapping[int, int]) -> str:
    if not rim_turns:
        return '<p class="soft">Every vertex on a rim is regular.</p>'
    told = ", ".join(f"{count} of valence {valence}" for valence, count in rim_turns.items())
    return f'<p class="soft">On rims, where 3 is regular: {told}.</p>'


def _show_distances(summary: Summary) -> str:
    if not summary.distances:
        return ""
    rows = [
        (escape(_distance_words(name)), f"{value:.2e}", f"{value * summary.diagonal:.3g}")
        for name, value in summary.distances.items()
    ]
    return _table("Distance", ("", "of the diagonal", "units"), rows)


def _show_timings(timings: Mapping[str, float]) -> str:
    longest = max(timings.values(), default=0.0) or 1.0
    rows = "".join(
        f'<tr><td>{escape(stage)}</td><td class="bars"><span class="bar" style="width:{seconds / longest:.1%}">'
        f"</span></td><td>{seconds:.1f} s</td></tr>"
        for stage, seconds in timings.items()
    )
    total = f'<tr class="sum"><td>All</td><td></td><td>{sum(timings.values()):.1f} s</td></tr>'
    return f"<h3>Time by stage</h3><table><tbody>{rows}{total}</tbody></table>" if timings else ""


def _quality_rows(quality: Mapping[str, float]) -> list[tuple[str, str]]:
    return [
        (_QUALITY_WORDS.get(name, _words(name)), f"{value:.0f}" if name in _COUNTED else f"{value:.3g}")
        for name, value in sorted(quality.items(), key=lambda pair: _place_of(pair[0]))
    ]


def _place_of(name: str) -> int:
    names = list(_QUALITY_WORDS)
    return names.index(name) if name in names else len(names)


def _symmetry_rows(symmetry: Mapping[str, float]) -> list[tuple[str, str]]:
    return [
        (_SYMMETRY_WORDS.get(name, _words(name)), f"{value:.1e}" if name == "largest_gap" else _percent(value))
        for name, value in symmetry.items()
    ]


def _percent(share: float) -> str:
    """Return a share in percent that says 100 % only when it is all."""
    return "100 %" if share == 1 else f"{min(share * 100, 99.99):.2f} %"


def _layout_rows(summary: Summary) -> list[tuple[str, str]]:
    return [(_LAYOUT_WORDS.get(name, _words(name)), _tell(value)) for name, value in summary.layout.items()]


def _wish_rows(summary: Summary) -> list[tuple[str, str]]:
    return [_wish_row(name, value, summary.is_plan) for name, value in summary.wishes.items()]


def _wish_row(name: str, value: object, is_plan: bool) -> tuple[str, str]:
    if name in WISH_WORDS:
        return WISH_WORDS[name], tell_kept(value, is_plan=is_plan)
    if name in ("size_dabs", "vertex_sizes"):
        return SIZE_WORDS[name], tell_painted_sizes(name, value)
    return SIZE_WORDS.get(name, _words(name)), _tell(value)


def _distance_words(name: str) -> str:
    stem, _, last = name.rpartition("_")
    return f"{_words(stem)}, {_DISTANCE_WORDS[last]}" if last in _DISTANCE_WORDS and stem else _words(name)


def _words(name: str) -> str:
    plain = name.replace("_", " ")
    return plain[:1].upper() + plain[1:]


def _tell_part(name: object, value: object) -> str:
    """Return ``24 border`` for a kind, ``8 of 3`` for a number, ``lips: 0.2`` for a region's length."""
    if isinstance(value, float):
        return f"{name}: {_tell(value)}"
    return f"{_tell(value)} of {name}" if isinstance(name, int) else f"{_tell(value)} {name}"


def _tell(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(_tell_part(name, part) for name, part in value.items()) or "none"
    if isinstance(value, (list, tuple)):
        return ", ".join(str(part) for part in value) or "none"
    if isinstance(value, int):
        return f"{value:,}"
    return f"{value:.4g}" if isinstance(value, float) else str(value)
