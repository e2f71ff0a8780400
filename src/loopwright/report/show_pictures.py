"""Pictures as HTML: the image inside the page, numbers and poles drawn over it, and their legends."""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable, Sequence
from html import escape

from loopwright.report.find_places import KIND
from loopwright.report.pick_colors import ARC_COLORS, ARC_WIDTHS, HEAT_STOPS, POLE_COLORS
from loopwright.report.picture import DrawnPicture, PlacedMark
from loopwright.report.show_findings import show_findings

_BOX = 1000
_ARC_WORDS = {
    "border": "border between regions",
    "cut": "cut inside a region",
    "flow": "flow line that edges follow",
    "rim": "rim of an opening",
    "mirror": "mirror line",
}


def show_pictures(drawn: Sequence[DrawnPicture], prefixes: Iterable[str], *, grid: str = "") -> str:
    """Return a grid of the pictures whose name starts with one of ``prefixes``; nothing if there are none.

    ``grid`` is a class of the page's style: ``large`` for big pictures, ``four`` for rows of two or four.
    """
    starts = tuple(prefixes)
    chosen = [picture for picture in drawn if picture.picture.name.startswith(starts)]
    if not chosen:
        return ""
    figures = "\n".join(_show_picture(picture) for picture in chosen)
    return f'<div class="pictures{f" {grid}" if grid else ""}">\n{figures}\n</div>'


def show_pole_legend(valences: Iterable[int]) -> str:
    """Return the legend of the poles that occur."""
    kinds = sorted({valence if valence in (3, 5) else 0 for valence in valences}, key=lambda kind: (kind == 0, kind))
    words = {3: "pole where three edges meet", 5: "pole where five edges meet", 0: "pole of another valence"}
    items = [
        f'<li><svg viewBox="-11 -11 22 22" aria-hidden="true">{_pole_shape(kind, 0, 0, 9)}</svg>{words[kind]}</li>'
        for kind in kinds
    ]
    return f'<ul class="legend">{"".join(items)}</ul>' if items else ""


def show_arc_legend(kinds: Iterable[str]) -> str:
    """Return the legend of the kinds of arc that occur."""
    present = {kind if kind in ARC_COLORS else "cut" for kind in kinds}
    items = [_show_stroke(kind) for kind in ARC_COLORS if kind in present]
    return f'<ul class="legend">{"".join(items)}<li class="soft">numbers: segments on the arc</li></ul>'


def _show_stroke(kind: str) -> str:
    look = f"background:rgb{ARC_COLORS[kind]};height:{ARC_WIDTHS[kind] + 1:.1f}px"
    return f'<li><i class="stroke" style="{look}"></i>{_ARC_WORDS[kind]}</li>'


def show_region_legend(regions: Iterable[tuple[str, str]]) -> str:
    """Return the legend of regions, given as name and colour."""
    items = [f'<li><i style="background:{escape(color)}"></i>{escape(name)}</li>' for name, color in regions]
    return f'<ul class="legend">{"".join(items)}</ul>'


def show_heat_scale(limit: float, diagonal: float) -> str:
    """Return the scale of the heat maps, from 0 to ``limit`` diagonals of the sculpt."""
    stops = ", ".join(f"rgb{color} {place:.0%}" for place, color in HEAT_STOPS)
    return (
        f'<div class="scale"><div style="background:linear-gradient(90deg, {stops})"></div>'
        f"<p><span>0</span><span>{limit * 50:.2g} %</span>"
        f"<span>{limit * 100:.2g} % of the diagonal ({limit * diagonal:.2g} units) and more</span></p></div>"
    )


def _show_picture(drawn: DrawnPicture) -> str:
    title = escape(drawn.picture.title)
    data = base64.b64encode(drawn.jpeg).decode("ascii")
    marks = "".join(_show_mark(mark) for mark in drawn.marks if mark.kind != KIND)
    marks += show_findings(drawn.marks)
    overlay = f'<svg viewBox="0 0 {_BOX} {_BOX}" aria-hidden="true">{marks}</svg>' if marks else ""
    return (
        f'<figure id="{escape(drawn.picture.name)}"><button class="plate" type="button" title="larger or smaller">'
        f'<img alt="{title}" src="data:image/jpeg;base64,{data}">{overlay}</button>'
        f"<figcaption>{title}</figcaption></figure>"
    )


def _show_mark(mark: PlacedMark) -> str:
    x, y = mark.left * _BOX, mark.top * _BOX
    if mark.kind == "count":
        return _show_count(mark.text, x, y)
    valence = {"pole3": 3, "pole5": 5}.get(mark.kind, 0)
    return _pole_shape(valence, x, y, 9)


def _show_count(text: str, x: float, y: float) -> str:
    width = 10 + 11.5 * len(text)
    return (
        f'<rect x="{x - width / 2:.1f}" y="{y - 11:.1f}" width="{width:.1f}" height="22" rx="6" fill="#16191d" '
        f'fill-opacity="0.86"/><text x="{x:.1f}" y="{y + 6.4:.1f}" text-anchor="middle" font-size="18" '
        f'font-weight="600" fill="#ffffff">{escape(text)}</text>'
    )


def _pole_shape(valence: int, x: float, y: float, radius: float) -> str:
    """Return a triangle, a pentagon or, for other valences, a disc."""
    look = f'fill="{POLE_COLORS[valence]}" stroke="#ffffff" stroke-width="1.6"'
    if valence == 0:
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius}" {look}/>'
    angles = [2 * math.pi * k / valence - math.pi / 2 for k in range(valence)]
    points = " ".join(f"{x + radius * math.cos(a):.1f},{y + radius * math.sin(a):.1f}" for a in angles)
    return f'<polygon points="{points}" {look} stroke-linejoin="round"/>'
